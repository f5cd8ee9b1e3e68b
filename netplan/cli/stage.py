"""``gas-netplan stage``: a long renewal split into stages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.options import (
    AirTemp,
    Cache,
    Hours,
    MappingFile,
    Network,
    RulesFile,
    Start,
    Units,
    air_temp_note,
    check_inputs,
    window_given,
)
from netplan.core.errors import BadWorkError

if TYPE_CHECKING:
    from netplan.outputs.number_format import Figures
    from netplan.staging import Renewal, Staging


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    street: Annotated[str | None, typer.Option(help="Renew all mains that record this street.")] = None,
    main: Annotated[list[str] | None, typer.Option(help="Renew this main; may be repeated.")] = None,
    rules: RulesFile = None,
    mapping: MappingFile = None,
    start: Start = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing stages.")] = False,
    units: Units = "metric",
    cache: Cache = None,
) -> None:
    """Split a long renewal into stages.

    Fewest customers off at any one time, then the lowest burden (the price by the rules).
    """
    if (street is None) == (not main):
        raise BadWorkError("renewal: give --street, or --main once or more, not both")
    from netplan.outputs.output_folders import check_stages_target

    check_inputs(network, texts=(mapping, rules))
    target = check_stages_target(out, overwrite=overwrite)
    window = window_given(start, hours, air_temp, units)

    from netplan.cli.networks import whole_network
    from netplan.cli.terminal import console, progress
    from netplan.outputs.number_format import figures_of
    from netplan.outputs.stage_folder import write_stages_folder
    from netplan.outputs.terminal.findings_report import print_unread
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.planning.request import PlanRequest
    from netplan.rules import read_rules
    from netplan.staging import renewal_of_mains, renewal_of_street, stage_renewal

    figures, terminal = figures_of(units), console()
    with progress(terminal) as tell:
        tell("reading the network")
        joined = whole_network(network, "stage", mapping=mapping, cache=cache)
        renewal = (
            renewal_of_mains(joined, main or []) if street is None else renewal_of_street(joined, street)
        )
        request = PlanRequest(
            joined,
            (),
            read_rules(rules),
            start=window.start,
            hours=window.hours,
            air_temp_c=window.air_temp_c,
            weather=False,
        )
        staging = stage_renewal(request, renewal, tell)
        write_stages_folder(staging, out, overwrite=overwrite, target=target, units=figures)
    print_unread(joined.findings, terminal)
    note = air_temp_note(air_temp, units)
    lines = [_summary(renewal, staging, figures), f"Table and maps: {out.resolve()}"]
    print_lines(terminal, [note, *lines] if note else lines)


def _summary(renewal: Renewal, staging: Staging, units: Figures) -> str:
    from netplan.isolation import MINOR_PER_UNIT

    return (
        f"{units.length(renewal.length_m)} in {len(staging.stages)} stages: at most {staging.most_off} "
        f"customers off at any one time, burden {staging.burden_minor / MINOR_PER_UNIT:,.2f} "
        f"{staging.rules.price.currency} without feeds. "
        f"{staging.borders_tried} borders, {staging.sections_tried} lengths tried."
    )
