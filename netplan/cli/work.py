"""Options of the work section and of the planner's orders."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.options import CHAINAGE, LENGTH, LON_LAT, MAIN_CHAINAGE, MAIN_FROM_TO

__all__ = [
    "AndMain",
    "Area",
    "At",
    "Forbid",
    "Force",
    "From",
    "KeepOn",
    "KeepOut",
    "Length",
    "Main",
    "MaxOff",
    "MaxStops",
    "OwnSupply",
    "To",
]

Main = Annotated[str | None, typer.Option(help="Main to make gas-free.")]
From = Annotated[
    str | None,
    typer.Option(
        "--from",
        metavar=CHAINAGE,
        help="Chainage where the work section begins [m], or with its unit; 5+18.4 is 518.4 ft.",
    ),
]
To = Annotated[
    str | None, typer.Option(metavar=CHAINAGE, help="Chainage where it ends [m], or with its unit.")
]
AndMain = Annotated[
    list[str] | None,
    typer.Option(metavar=MAIN_FROM_TO, help="A further length [m], or with units; may be repeated."),
]
Area = Annotated[Path | None, typer.Option(help="File with a polygon: every main inside it.")]
At = Annotated[
    str | None,
    typer.Option(metavar=LON_LAT, help="Take the nearest main [°, longitude first]; needs --length."),
]
Length = Annotated[
    str | None,
    typer.Option(metavar=LENGTH, help="Length of main to make gas-free around --at [m], or with its unit."),
]
Force = Annotated[
    list[str] | None,
    typer.Option(metavar=MAIN_CHAINAGE, help="Stop here [m, or with its unit], or a valve id."),
]
Forbid = Annotated[
    list[str] | None,
    typer.Option(
        metavar=MAIN_CHAINAGE,
        help="No stop here [m, or with its unit], MAIN:FROM:TO for a length, or a valve id.",
    ),
]
KeepOut = Annotated[Path | None, typer.Option(help="File with polygons where no stop may be dug.")]
MaxStops = Annotated[int | None, typer.Option(min=1, help="At most this many stops.")]
MaxOff = Annotated[int | None, typer.Option(min=0, help="At most this many meters off.")]
KeepOn = Annotated[list[str] | None, typer.Option(help="Customer that must stay on; may be repeated.")]
OwnSupply = Annotated[
    list[str] | None, typer.Option(help="Priority customer with a named supply of its own.")
]
