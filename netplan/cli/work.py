"""The work section and the planner's orders: their options, what they say, and what that is on a network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from netplan.cli.options import CHAINAGE, LENGTH, LON_LAT, MAIN_CHAINAGE, MAIN_FROM_TO, degrees, metres
from netplan.core.errors import BadInputError, BadWorkError, quoted
from netplan.network.work_part import WorkPart, check_length, check_part

if TYPE_CHECKING:
    from netplan.isolation import Orders, Stretch
    from netplan.network.model import Network

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
    "MaxStops",
    "OrdersGiven",
    "OwnSupply",
    "To",
    "WorkGiven",
    "customer_rows",
    "lon_lat_given",
    "orders_given",
    "work_given",
]

FORBIDDEN_M: Final = 0.5
"""How far on each side of a forbidden chainage no barrier nearest the work may be [m] (source: own)."""

Main = Annotated[str | None, typer.Option(help="Main to be made gas-free.")]
From = Annotated[
    str | None,
    typer.Option(
        "--from", metavar=CHAINAGE, help="Chainage where the work section begins [m], or with its unit."
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
At = Annotated[str | None, typer.Option(metavar=LON_LAT, help="The nearest main there [°], with --length.")]
Length = Annotated[
    str | None,
    typer.Option(metavar=LENGTH, help="Length of main to be gas-free around --at [m], or with its unit."),
]
Force = Annotated[
    list[str] | None,
    typer.Option(metavar=MAIN_CHAINAGE, help="Stop here [m, or with its unit], or a valve id."),
]
Forbid = Annotated[
    list[str] | None,
    typer.Option(metavar=MAIN_CHAINAGE, help="No stop here [m, or with its unit], or a valve id."),
]
KeepOut = Annotated[Path | None, typer.Option(help="File with polygons where no stop may be dug.")]
MaxStops = Annotated[int | None, typer.Option(min=1, help="Never more stops than this.")]
KeepOn = Annotated[list[str] | None, typer.Option(help="Customer that must stay on; may be repeated.")]
OwnSupply = Annotated[
    list[str] | None, typer.Option(help="Priority customer with a named supply of its own.")
]


@dataclass(frozen=True, slots=True)
class WorkGiven:
    """A work section as it is given, in exactly one of three ways.

    Parameters
    ----------
    parts : tuple of WorkPart
        Mains by name, with chainages that a main can have.
    area : Path or None
        File with a polygon.
    at : tuple of float or None
        Longitude and latitude [°].
    length_m : float
        Length of main around `at` [m].
    """

    parts: tuple[WorkPart, ...] = ()
    area: Path | None = None
    at: tuple[float, float] | None = None
    length_m: float = 0.0

    def on(self, network: Network) -> tuple[WorkPart, ...]:
        """Return the lengths of main that it means on a network.

        Raises
        ------
        BadWorkError
            When no main is there.
        BadInputError
            When the file cannot be read.
        """
        from shapely import unary_union

        from netplan.network.work_section import parts_at, parts_in_area
        from netplan.readers import read_polygons

        if self.area is not None:
            return parts_in_area(network, unary_union(read_polygons(self.area, network.crs)))
        if self.at is not None:
            return parts_at(network, *self.at, self.length_m)
        return self.parts


def work_given(
    *,
    main: str | None,
    from_m: str | None,
    to_m: str | None,
    and_main: Sequence[str],
    area: Path | None,
    at: str | None,
    length: str | None,
) -> WorkGiven:
    """Read the work section.

    Raises
    ------
    BadWorkError
        When none or several ways are used, one is incomplete, or a length is none.
    BadInputError
        When a number cannot be read.
    """
    ways = [main is not None or bool(and_main), area is not None, at is not None]
    if sum(ways) != 1:
        raise BadWorkError("work section: give --main with --from and --to, or --area, or --at with --length")
    if area is not None:
        return WorkGiven(area=area)
    if at is not None:
        place = lon_lat_given(at)
        if length is None:
            raise BadWorkError("--at: no --length; say how many metres of main the work needs")
        around = metres(length, "--length")
        check_length(around)
        return WorkGiven(at=place, length_m=around)
    if main is None or from_m is None or to_m is None:
        raise BadWorkError("--main: needs --from and --to; give both chainages in metres")
    first = WorkPart(main, metres(from_m, "--from"), metres(to_m, "--to"))
    parts = (first, *(_and_main(text) for text in and_main))
    for part in parts:
        check_part(part)
    return WorkGiven(parts)


def _and_main(text: str) -> WorkPart:
    parts = text.rsplit(":", 2)
    if len(parts) != 3 or not parts[0]:
        raise BadWorkError(f"--and-main: {quoted(text)} is not ID:FROM:TO; write for example M12:0:8.5")
    return WorkPart(parts[0], metres(parts[1], "--and-main"), metres(parts[2], "--and-main"))


def lon_lat_given(text: str) -> tuple[float, float]:
    """Read longitude and latitude [°].

    Raises
    ------
    BadInputError
        When it is no such pair.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInputError(f"--at: {quoted(text)} is not LON,LAT; write for example 7.88,48.46")
    lon, lat = (degrees(part, "--at") for part in parts)
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise BadInputError(f"--at: {quoted(text)} is not on earth; write longitude first, in degrees")
    return lon, lat


@dataclass(frozen=True, slots=True)
class PlaceGiven:
    """A place on a main, or a valve where `chainage_m` is None."""

    name: str
    chainage_m: float | None = None


@dataclass(frozen=True, slots=True)
class OrdersGiven:
    """The planner's orders as they are given.

    Parameters
    ----------
    force, forbid : tuple of PlaceGiven
        Where to stop, where not.
    keep_out : Path or None
        File with polygons where no stop may be dug.
    max_stops : int or None
        Greatest number of stops.
    keep_on : tuple of str
        Customers that must stay on.
    """

    force: tuple[PlaceGiven, ...]
    forbid: tuple[PlaceGiven, ...]
    keep_out: Path | None
    max_stops: int | None
    keep_on: tuple[str, ...]

    def on(self, network: Network) -> Orders:
        """Return the orders as rows and places of a network.

        Raises
        ------
        BadWorkError
            When a main, chainage, valve or customer is not in the network.
        """
        from netplan.isolation import Orders
        from netplan.readers import read_polygons

        force_places, force_valves = _places(network, self.force, "--force")
        forbid_places, forbid_valves = _places(network, self.forbid, "--forbid", FORBIDDEN_M)
        return Orders(
            force=force_places,
            force_valves=force_valves,
            forbid=forbid_places,
            forbid_valves=forbid_valves,
            keep_out=() if self.keep_out is None else read_polygons(self.keep_out, network.crs),
            max_stops=self.max_stops or 0,
            keep_customers=customer_rows(network, self.keep_on, "--keep-on"),
        )


def orders_given(
    *,
    force: Sequence[str],
    forbid: Sequence[str],
    keep_out: Path | None,
    max_stops: int | None,
    keep_on: Sequence[str],
) -> OrdersGiven:
    """Read the orders.

    Raises
    ------
    BadInputError
        When a chainage cannot be read.
    """
    return OrdersGiven(
        tuple(_place(text, "--force") for text in force),
        tuple(_place(text, "--forbid") for text in forbid),
        keep_out,
        max_stops,
        tuple(keep_on),
    )


def _place(text: str, option: str) -> PlaceGiven:
    main_id, colon, chainage = text.rpartition(":")
    return PlaceGiven(main_id, metres(chainage, option)) if colon else PlaceGiven(text)


def _places(
    network: Network, given: Sequence[PlaceGiven], option: str, around_m: float = 0.0
) -> tuple[tuple[Stretch, ...], tuple[int, ...]]:
    from netplan.isolation import Stretch

    places, valves = set(), set()
    for place in given:
        at = place.chainage_m
        if at is None:
            row = network.valves.id.find(place.name)
            if row < 0 or network.valves.piece[row] < 0:
                raise BadWorkError(
                    f"{option}: no valve {quoted(place.name)} lies on a main; "
                    "give MAIN:CHAINAGE or a valve id"
                )
            valves.add(row)
            continue
        pipe = network.pipes.id.find(place.name, 0, network.pipes.n_mains)
        if pipe < 0:
            raise BadWorkError(f"{option}: the network has no main {quoted(place.name)}; give MAIN:CHAINAGE")
        length = float(network.pipes.length_m[pipe])
        if not 0 <= at <= length:
            raise BadWorkError(f"{option}: main {place.name} is {length:.2f} m long, {at:g} m is beyond it")
        places.add(Stretch(pipe, max(at - around_m, 0.0), min(at + around_m, length)))
    return tuple(sorted(places)), tuple(sorted(valves))


def customer_rows(network: Network, ids: Sequence[str], option: str) -> tuple[int, ...]:
    """Return the rows of customers named on the command line, ascending.

    Raises
    ------
    BadWorkError
        When the network has no such customer.
    """
    rows = set()
    for ident in ids:
        row = network.customers.id.find(ident)
        if row < 0:
            raise BadWorkError(
                f"{option}: the network has no customer {quoted(ident)}; give an id of its layer"
            )
        rows.add(row)
    return tuple(sorted(rows))
