"""``gas-netplan screen``: what the isolation of each main means."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from netplan.cli.options import (
    LENGTH,
    AirTemp,
    Cache,
    Hours,
    MappingFile,
    Network,
    RulesFile,
    Start,
    Units,
    Within,
    air_temp_note,
    check_inputs,
    metres,
    window_given,
)
from netplan.core.errors import BadInputError, StoppedError, quoted
from netplan.network.work_part import check_work_of_mains

if TYPE_CHECKING:
    from rich.progress import Progress

    from netplan.network.model import Network as JoinedNetwork
    from netplan.outputs.screen_emergency import EmergencyView
    from netplan.rules import Rules
    from netplan.screening import Screen, ScreenSettings, Workers
    from netplan.screening.best_measures import BestMeasures
    from netplan.screening.link_candidates import NewLink
    from netplan.screening.valve_candidates import ValvePlaces

LINK_REACH_M = 60.0
"""Longest gap that is proposed for a link (own) [m]."""

FIGURES: Final = (
    "ends_customers",
    "customers",
    "priority",
    "stranded",
    "weak",
    "stops",
    "gas_m3",
    "burden_least",
    "burden_without_feeds",
    "least_pressure_mbar",
)
"""Columns of a screen that it can be ranked and coloured by."""
FULL_FIGURES: Final = (
    "plan_burden",
    "plan_customers",
    "plan_meters",
    "plan_stops",
    "plan_bypasses",
    "plan_hoses",
    "plan_feeds_m",
    "plan_opened",
    "plan_least_pressure_mbar",
    "plan_gas_back_h",
    "plan_relit_h",
)
"""The same of the best option of every main."""
EMERGENCY_FIGURES: Final = (
    "valves_minutes",
    "valves_needed",
    "valves_meters",
    "valves_stations",
    "fastest_minutes",
    "fastest_stops",
    "fastest_meters",
    "fastest_stations",
)
"""The same of the emergency at every main."""


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    by: Annotated[
        str | None,
        typer.Option(
            help=f"Figure to rank and colour by: {', '.join(FIGURES)}; with --full "
            f"{', '.join(FULL_FIGURES)}; with --emergency {', '.join(EMERGENCY_FIGURES)}."
        ),
    ] = None,
    work: Annotated[
        str, typer.Option(help="Work section of a main: middle (a short length) or whole.")
    ] = "middle",
    length: Annotated[
        str, typer.Option(metavar=LENGTH, help="Length in the middle to make gas-free [m], or with its unit.")
    ] = "0.5 m",
    rules: RulesFile = None,
    mapping: MappingFile = None,
    start: Start = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    emergency: Annotated[
        bool,
        typer.Option(
            "--emergency",
            help="A hit in the middle of every main: minutes to shut, meters off, valves to shut, to prove.",
        ),
    ] = False,
    crews: Annotated[
        int | None,
        typer.Option(min=1, max=100, help="Crews of the emergency; by default as in the rules."),
    ] = None,
    stops: Annotated[
        bool | None,
        typer.Option(
            "--stops/--no-stops",
            help="Look for the stops of planned work; with --emergency only if given.",
        ),
    ] = None,
    full: Annotated[
        bool,
        typer.Option(
            "--full",
            help="Price the best option of every main with feeds, pressures and hours, as the command plan "
            "does: most of a second a main.",
        ),
    ] = False,
    no_pressure: Annotated[
        bool, typer.Option("--no-pressure", help="Connectivity and stops only: much quicker.")
    ] = False,
    no_places: Annotated[
        bool, typer.Option("--no-places", help="Do not look where one more valve or link would help.")
    ] = False,
    workers: Annotated[int, typer.Option(min=1, help="Processes on this machine.")] = 1,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a running Dask scheduler to use instead.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Continue an interrupted run.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing screen.")] = False,
    units: Units = "metric",
    within: Within = None,
    cache: Cache = None,
) -> None:
    """Work out for every main what stopping it means.

    Customers off, stops, gas, burden (the price by the rules) and pressure.
    """
    with_stops = (full or not emergency) if stops is None else stops
    if full and (no_pressure or not with_stops):
        other = "--no-pressure" if no_pressure else "--no-stops"
        raise BadInputError(f"--full with {other}: a plan has stops and pressures; leave one of the two out")
    by = _figure_of(by, stops=with_stops, emergency=emergency, full=full)
    if crews is not None and not emergency:
        raise BadInputError("--crews: only for an emergency; give --emergency too")
    from netplan.outputs.output_folders import check_screen_target

    check_inputs(network, texts=(mapping, rules), polygons=(within,))
    target = check_screen_target(out, overwrite=overwrite)
    work_m = metres(length, "--length")
    check_work_of_mains(work, work_m)
    window = window_given(start, hours, air_temp, units)

    from netplan.cli.networks import whole_network
    from netplan.cli.terminal import console
    from netplan.outputs.measures_table import best_measure_text
    from netplan.outputs.number_format import figures_of
    from netplan.outputs.screen_folder import write_screen_folder
    from netplan.outputs.terminal.findings_report import print_unread
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.rules import read_rules
    from netplan.screening import ScreenSettings, Workers

    who = Workers(workers, scheduler)
    kind: Any = work
    asked = ScreenSettings(
        kind,
        work_m,
        window.start,
        window.hours,
        window.air_temp_c,
        pressure=with_stops and not no_pressure,
        stops=with_stops,
        full=full,
    )
    joined = whole_network(network, "screen", mapping=mapping, within=within, cache=cache)
    blocks = out.parent / f"{out.name}.blocks"
    planning_rules, places = read_rules(rules), not no_places
    result, valves, links, measures = _screened(
        joined, planning_rules, asked, who, blocks, resume=resume, places=places and with_stops
    )
    view = _emergency_view(joined, planning_rules, crews, places=places) if emergency else None
    if view is not None:
        result = result.with_columns(view.every.table)
    write_screen_folder(
        result,
        out,
        by,
        valves=valves,
        links=links,
        measures=measures,
        emergency=view,
        overwrite=overwrite,
        target=target,
        units=figures_of(units),
    )
    if with_stops:
        for path in blocks.glob("*"):
            path.unlink()
        blocks.rmdir()
    terminal = console()
    print_unread(joined.findings, terminal)
    said = [f"{result.table.num_rows} mains"]
    if with_stops:
        said.append(_outcomes(result))
    if emergency:
        rings = sum(ring == "yes" for ring in result.table["valve_ring"].to_pylist())
        said.append(f"{rings} with a ring of valves that shuts no station")
    note = air_temp_note(air_temp, units)
    lines = [f"{', '.join(said)}."]
    if measures is not None and measures.ranked:
        lines.append(best_measure_text(measures, planning_rules))
    lines.append(f"Report, table and map: {out.resolve()}")
    print_lines(terminal, [note, *lines] if note else lines)


def _outcomes(screen: Screen) -> str:
    """Return for how many mains there are stops, or plans where they were made."""
    from netplan.screening.main_evaluator import STOPS_FOUND
    from netplan.screening.plan_outcomes import NO_PLAN, NOT_SETTLED, PLAN_STANDS

    if screen.settings.full:
        plans = screen.table["plan_outcome"].to_pylist()
        stand, none, open_ = (plans.count(one) for one in (PLAN_STANDS, NO_PLAN, NOT_SETTLED))
        return f"a plan stands for {stand}, none is possible for {none}, {open_} are not settled"
    found = screen.table["outcome"].to_pylist().count(STOPS_FOUND)
    return f"stops are found for {found} (whether a plan stands, the command plan says)"


def _figure_of(by: str | None, *, stops: bool, emergency: bool, full: bool) -> str:
    """Return the figure to rank by, where what it is a figure of is asked for.

    Raises
    ------
    BadInputError
    """
    ends = tuple(name for name in FIGURES if name.startswith("ends_"))
    known = (
        *(FIGURES if stops else ends),
        *(FULL_FIGURES if full else ()),
        *(EMERGENCY_FIGURES if emergency else ()),
    )
    if by is None:
        if stops:
            return "plan_burden" if full else "customers"
        return "valves_minutes" if emergency else "ends_customers"
    if by not in known:
        every = (*FIGURES, *FULL_FIGURES, *EMERGENCY_FIGURES)
        of = "figure" if by not in every else "figure of what is asked"
        raise BadInputError(f"--by: {quoted(by)} is no {of}; write one of {', '.join(known)}")
    return by


def _emergency_view(
    network: JoinedNetwork, rules: Rules, crews: int | None, *, places: bool
) -> EmergencyView:
    """Ask for the emergency at every main and the valves that would help, with a bar on the terminal.

    Raises
    ------
    StoppedError
        When somebody stops it.
    """
    from netplan.emergency.every_main import emergency_at_every_main
    from netplan.emergency.maintenance_list import maintenance_lists
    from netplan.outputs.screen_emergency import EmergencyView

    try:
        with _bar() as bar:
            mains = bar.add_task("emergency at every main", total=network.pipes.n_mains)
            every = emergency_at_every_main(
                network, rules, crews, lambda done, count: bar.update(mains, completed=done, total=count)
            )
            if not places:
                return EmergencyView(every, None)
            found = bar.add_task("valves to prove and to add", total=None)
            return EmergencyView(every, maintenance_lists(every, lambda n: bar.update(found, completed=n)))
    except KeyboardInterrupt:
        raise StoppedError("stopped; nothing was written") from None


def _bar() -> Progress:
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from netplan.cli.terminal import console

    terminal = console()
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=terminal,
        transient=True,
        disable=not terminal.is_terminal,
    )


def _screened(
    network: JoinedNetwork,
    rules: Rules,
    settings: ScreenSettings,
    workers: Workers,
    blocks: Path,
    *,
    resume: bool,
    places: bool,
) -> tuple[Screen, ValvePlaces | None, tuple[NewLink, ...] | None, BestMeasures | None]:
    """Screen the mains and look for what would help most, with a bar on the terminal.

    Raises
    ------
    StoppedError
        When somebody stops it; `blocks` keeps what is finished.
    """
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.screening import screen
    from netplan.screening.best_measures import best_measures
    from netplan.screening.link_candidates import best_links

    try:
        with _bar() as bar:
            mains = bar.add_task("mains", total=network.pipes.n_mains)
            result = screen(
                network,
                rules,
                settings,
                folder=blocks,
                resume=resume,
                workers=workers,
                tell=lambda done, count: bar.update(mains, completed=done, total=count),
                foresee=lambda duration: print_lines(bar.console, [duration.words()]),
            )
            if not places:
                return result, None, None, None
            found = bar.add_task("where money helps most", total=None)
            valves, measures = best_measures(
                result, LINK_REACH_M, tell=lambda n: bar.update(found, completed=n)
            )
            return result, valves, best_links(network, result.loss.tree, LINK_REACH_M), measures
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; finished mains are kept in {blocks}; continue with --resume") from None
