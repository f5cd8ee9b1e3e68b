"""``gas-netplan recheck``: whether an issued plan still holds on the morning of the work."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import (
    AirTemp,
    AnySize,
    Cache,
    Hours,
    MappingFile,
    Network,
    Rank,
    Start,
    Units,
    WindowGiven,
    Within,
    air_temp_note,
    check_forecast,
    check_inputs,
    mapping_given,
    window_given,
)
from netplan.core.input_paths import check_plan_folder

if TYPE_CHECKING:
    from netplan.planning.request import PlanRequest
    from netplan.recheck import IssuedPlan

DOES_NOT_HOLD: Final = 3
"""Exit code of a plan that does not hold: the same as that of no plan."""


def command(
    plan_dir: Annotated[Path, typer.Argument(help="Plan folder; page and JSON are added as new files.")],
    network: Network,
    forecast: Annotated[
        Path | None,
        typer.Option(
            help="CSV of today's hourly air temperatures, instead of the plan's: time,air_temp_c and a line "
            "for each hour, as for plan."
        ),
    ] = None,
    start: Start = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    option: Rank = 1,
    rules: Annotated[
        Path | None, typer.Option(help="Your planning rules (TOML), instead of the plan's.")
    ] = None,
    mapping: MappingFile = None,
    no_papers: Annotated[bool, typer.Option("--no-papers", help="Make no page as PDF: quicker.")] = False,
    units: Units = "metric",
    within: Within = None,
    cache: Cache = None,
    any_size: AnySize = False,
) -> int:
    """Say whether a plan still holds on the day.

    With today's records, closures and weather the same stops and feeds are solved again in every state of
    the work, by the plan's own rules, window and orders unless others are given. The answer names the
    records that changed near the work, who is affected, and the readings that differ. Exit code 0: it
    holds; 3: it does not, or it is superseded.
    """
    from netplan.outputs.number_format import figures_of

    figures = figures_of(units)
    check_inputs(network, texts=(rules, mapping, forecast), polygons=(within,))
    check_plan_folder(plan_dir)
    window = window_given(start, hours, air_temp, units)
    check_forecast(forecast, air_temp)

    from netplan.cli.terminal import console, progress
    from netplan.outputs.recheck_files import write_recheck
    from netplan.outputs.terminal.recheck_summary import print_recheck
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.recheck import recheck_plan

    terminal = console()
    with progress(terminal) as tell:
        tell("reading the plan")
        issued = _issued(plan_dir, option)
        tell("reading the network")
        request = _request(
            plan_dir,
            issued,
            network,
            window=window,
            forecast=forecast,
            rules=rules,
            mapping=mapping,
            within=within,
            cache=cache,
            any_size=any_size,
        )
        answer = recheck_plan(issued, request, tell)
        tell("setting the page")
        written = write_recheck(plan_dir, answer, issued.plan, units=figures, papers=not no_papers)
    print_recheck(answer, issued.plan, terminal, units=figures)
    note = air_temp_note(air_temp, units)
    print_lines(terminal, (*([note] if note else []), *(f"Written: {path.resolve()}" for path in written)))
    return 0 if answer.holds else DOES_NOT_HOLD


def _issued(folder: Path, option: int) -> IssuedPlan:
    """Read the plan of a folder, its option's state and what supersedes it."""
    from netplan.outputs.layers import read_plan_layers
    from netplan.planfile import read_state
    from netplan.planfile.plan_json import option_of_rank, read_plan
    from netplan.planfile.revision import revision_code
    from netplan.planfile.superseded import read_superseded
    from netplan.recheck import IssuedPlan

    plan = read_plan(folder)
    option_of_rank(plan, option)
    known = read_superseded(folder)
    with from_plan_folder(folder):
        state = read_state(read_plan_layers(folder), option)
    by = "" if known is None else f"plan {known.by_revision} ({known.by_folder})"
    return IssuedPlan(plan, state, by, revision_code(plan))


def _request(
    folder: Path,
    issued: IssuedPlan,
    network: str,
    *,
    window: WindowGiven,
    forecast: Path | None,
    rules: Path | None,
    mapping: Path | None,
    within: Path | None,
    cache: Path | None,
    any_size: bool,
) -> PlanRequest:
    from netplan.demand import read_forecast
    from netplan.outputs.keep_out_file import KEEP_OUT_FILE
    from netplan.readers import open_source, read_network, read_polygons
    from netplan.readers.sources.areas import read_area
    from netplan.readers.sources.file_limits import LIMITS, UNLIMITED
    from netplan.recheck import todays_request
    from netplan.rules import read_rules

    joined = read_network(
        open_source(network, UNLIMITED if any_size else LIMITS),
        mapping=mapping_given(mapping),
        within=None if within is None else read_area(within),
        cache=cache,
        set_aside=True,
    )
    keep_out = folder / KEEP_OUT_FILE
    return todays_request(
        issued.plan,
        joined,
        rules=None if rules is None else read_rules(rules),
        start=window.start,
        hours=window.hours,
        air_temp_c=window.air_temp_c,
        forecast=None if forecast is None else read_forecast(forecast),
        keep_out=read_polygons(keep_out, joined.crs) if keep_out.is_file() else (),
    )
