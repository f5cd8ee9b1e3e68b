"""``gas-netplan screen``: what the isolation of each main means."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.text import Text as RichText

from netplan.cli.choices import MappingFile
from netplan.cli.exit_codes import console
from netplan.cli.quantities import LENGTH, AirTempCelsius, Hours, air_temp_c, hours_of, metres
from netplan.cli.start import start_of
from netplan.cli.whole import whole_network
from netplan.core.errors import BadInputError, StoppedError, quoted
from netplan.outputs.screen_folder import check_screen_target, write_screen_folder
from netplan.outputs.terminal.findings_report import print_unread
from netplan.readers import read_mapping
from netplan.readers.sources.areas import read_area
from netplan.rules import read_rules
from netplan.screening import ScreenSettings, Workers, screen
from netplan.screening.link_candidates import best_links
from netplan.screening.screen_columns import FIGURES
from netplan.screening.valve_candidates import best_valves

LINK_REACH_M = 60.0
"""Longest gap that is proposed for a link (own) [m]."""


def command(
    network: Annotated[
        str,
        typer.Argument(
            help="GeoPackage, FileGDB, folder of files named after layers, or postgresql://HOST/DATABASE?schema=NAME."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    by: Annotated[
        str, typer.Option(help=f"Figure to rank and colour by: {', '.join(FIGURES)}.")
    ] = "customers",
    work: Annotated[
        str, typer.Option(help="Work section of a main: middle (a short length) or whole.")
    ] = "middle",
    length: Annotated[
        str, typer.Option(metavar=LENGTH, help="Length in the middle to be gas-free [m], or with its unit.")
    ] = "0.5 m",
    rules: Annotated[Path | None, typer.Option(help="Planning rules (TOML) over the shipped ones.")] = None,
    mapping: MappingFile = None,
    start: Annotated[str | None, typer.Option(help="Start of the window, ISO 8601 local time.")] = None,
    hours: Hours = None,
    air_temp: AirTempCelsius = None,
    no_pressure: Annotated[
        bool, typer.Option("--no-pressure", help="Connectivity and stops alone: much quicker.")
    ] = False,
    no_places: Annotated[
        bool, typer.Option("--no-places", help="Do not look where one more valve or link would help.")
    ] = False,
    workers: Annotated[int, typer.Option(min=1, help="Processes on this machine.")] = 1,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a running Dask scheduler: work there instead.")
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with what an interrupted run has finished.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing screen.")] = False,
    within: Annotated[
        Path | None, typer.Option(help="File with a polygon: read what touches it, and nothing else.")
    ] = None,
    cache: Annotated[
        Path | None,
        typer.Option(help="Folder that keeps joined networks for the next run on the same data."),
    ] = None,
) -> None:
    """Ask for every main what its isolation means: who is lost, stops, gas, burden, pressure."""
    if by not in FIGURES:
        raise BadInputError(f"--by: {quoted(by)} is no figure; write one of {', '.join(FIGURES)}")
    who = Workers(workers, scheduler)
    target = check_screen_target(out, overwrite=overwrite)
    settings: dict[str, Any] = {"work": work, "work_m": metres(length, "--length"), "start": start_of(start)}
    asked = ScreenSettings(
        **settings, hours=hours_of(hours), air_temp_c=air_temp_c(air_temp), pressure=not no_pressure
    )
    joined = whole_network(
        network,
        "screen",
        mapping=None if mapping is None else read_mapping(mapping),
        within=None if within is None else read_area(within),
        cache=cache,
    )
    planning_rules = read_rules(rules)
    screen_out = console()
    blocks = out.parent / f"{out.name}.blocks"
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=screen_out,
        transient=True,
        disable=not screen_out.is_terminal,
    )
    try:
        with bar:
            task = bar.add_task("mains", total=joined.pipes.n_mains)
            result = screen(
                joined,
                planning_rules,
                asked,
                folder=blocks,
                resume=resume,
                workers=who,
                tell=lambda done, count: bar.update(task, completed=done, total=count),
            )
            places = bar.add_task("places for a valve", total=None, visible=not no_places)
            valves = (
                None if no_places else best_valves(result, tell=lambda n: bar.update(places, completed=n))
            )
            links = None if no_places else best_links(joined, result.loss.tree, LINK_REACH_M)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; what is finished is kept in {blocks}, go on with --resume") from None
    write_screen_folder(result, out, by, valves=valves, links=links, overwrite=overwrite, target=target)
    for path in blocks.glob("*"):
        path.unlink()
    blocks.rmdir()
    print_unread(joined.findings, screen_out)
    possible = sum(outcome == "plan" for outcome in result.table["outcome"].to_pylist())
    count = result.table.num_rows
    screen_out.print(
        RichText(f"{count} mains, a plan is possible for {possible}. Report, table and map: {out}")
    )
