"""``gas-netplan plan``: where to stop the main, who is affected, what it takes."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.door import console
from netplan.cli.progress import progress
from netplan.cli.work import metres, work_parts
from netplan.errors import BadInputError
from netplan.isolation import Orders
from netplan.outputs.folder import check_target, write_plan_folder
from netplan.outputs.summary import print_summary
from netplan.plan.run import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules

Network = Annotated[Path, typer.Argument(help="GeoPackage, or folder of files named after the layers.")]


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Plan folder to make.")],
    main: Annotated[str | None, typer.Option(help="Main to be made gas-free.")] = None,
    from_: Annotated[str | None, typer.Option("--from", help="Chainage where the work section begins [m].")] = None,
    to: Annotated[str | None, typer.Option(help="Chainage where it ends [m].")] = None,
    and_main: Annotated[list[str] | None, typer.Option(help="A further length, ID:FROM:TO; may be repeated.")] = None,
    area: Annotated[Path | None, typer.Option(help="File with a polygon: every main inside it.")] = None,
    at: Annotated[str | None, typer.Option(help="LON,LAT: the nearest main there, with --length.")] = None,
    length: Annotated[str | None, typer.Option(help="Length of main to be gas-free around --at [m].")] = None,
    rules: Annotated[Path | None, typer.Option(help="Planning rules (TOML) over the shipped ones.")] = None,
    start: Annotated[str | None, typer.Option(help="Start of the window, ISO 8601 local time.")] = None,
    hours: Annotated[float | None, typer.Option(help="Length of the window [h].")] = None,
    air_temp: Annotated[float | None, typer.Option(help="Air temperature of the window [°C].")] = None,
    force: Annotated[list[str] | None, typer.Option(help="Stop here: MAIN:CHAINAGE or a valve id.")] = None,
    forbid: Annotated[list[str] | None, typer.Option(help="No stop here: MAIN:CHAINAGE or a valve id.")] = None,
    keep_out: Annotated[Path | None, typer.Option(help="File with polygons where no stop may be dug.")] = None,
    max_stops: Annotated[int | None, typer.Option(min=1, help="Never more stops than this.")] = None,
    keep_on: Annotated[list[str] | None, typer.Option(help="Customer that must stay on; may be repeated.")] = None,
    no_bypass: Annotated[bool, typer.Option("--no-bypass", help="Look for options without any feed.")] = False,
    options: Annotated[int | None, typer.Option(min=1, max=50, help="How many options to list.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing plan folder.")] = False,
) -> None:
    """Plan the stopping of a work section and write a plan folder."""
    check_target(out, overwrite=overwrite)
    planning_rules = read_rules(rules)
    screen = console()
    with progress(screen) as tell:
        tell("reading the network")
        joined = read_network(network)
        parts = work_parts(
            joined, main=main, from_m=from_, to_m=to, and_main=and_main or [], area=area, at=at, length=length
        )
        request = PlanRequest(
            network=joined,
            parts=parts,
            rules=planning_rules,
            start=_start(start),
            hours=hours,
            air_temp_c=air_temp,
            orders=_orders(joined, force, forbid, keep_out, max_stops, keep_on),
            feeds_allowed=not no_bypass,
            options=options,
        )
        result = make_plan(request, tell)
        tell("writing the plan folder")
        write_plan_folder(result, out, overwrite=overwrite)
    print_summary(result.plan, screen)
