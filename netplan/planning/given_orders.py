"""Work section and orders by name, as a person gives them, and what that is on a network."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from netplan.core.errors import BadInputError, BadWorkError, quoted
from netplan.core.units import chainage_m, quantity
from netplan.network.work_part import WorkPart, check_length, check_part

if TYPE_CHECKING:
    from netplan.isolation import Orders, Stretch
    from netplan.network.model import Network

__all__ = [
    "OrdersGiven",
    "PlaceGiven",
    "WorkGiven",
    "customer_rows",
    "lon_lat_given",
    "orders_given",
    "work_given",
]

FORBIDDEN_M: Final = 0.5
"""How far on each side of a forbidden chainage no barrier nearest the work may be [m] (source: own)."""
PolygonsOf = Callable[[Path, str], tuple[Any, ...]]
"""Reads the polygons of a file in a CRS: `netplan.readers.read_polygons`."""
ROUNDING_M: Final = 0.005
"""How far beyond its end a chainage still counts as the end (own) [m]."""


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

    def on(self, network: Network, polygons: PolygonsOf) -> tuple[WorkPart, ...]:
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

        if self.area is not None:
            return parts_in_area(network, unary_union(polygons(self.area, network.crs)))
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
        around = quantity(length, "m", "--length")
        check_length(around)
        return WorkGiven(at=place, length_m=around)
    if main is None or from_m is None or to_m is None:
        raise BadWorkError("--main: needs --from and --to; give both chainages in metres")
    first = WorkPart(main, chainage_m(from_m, "--from"), chainage_m(to_m, "--to"))
    parts = (first, *(_and_main(text) for text in and_main))
    for part in parts:
        check_part(part)
    return WorkGiven(parts)


def _and_main(text: str) -> WorkPart:
    parts = text.rsplit(":", 2)
    if len(parts) != 3 or not parts[0]:
        raise BadWorkError(f"--and-main: {quoted(text)} is not ID:FROM:TO; write for example M12:0:8.5")
    return WorkPart(parts[0], chainage_m(parts[1], "--and-main"), chainage_m(parts[2], "--and-main"))


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
    lon, lat = (quantity(part, "degree", "--at") for part in parts)
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise BadInputError(f"--at: {quoted(text)} is not on earth; write longitude first, in degrees")
    return lon, lat


@dataclass(frozen=True, slots=True)
class PlaceGiven:
    """A place on a main, a length of it where `to_m` is given, or a valve where `chainage_m` is None.

    `longer_name` is that of a main with a colon in it: then `to_m` is a place on that one.
    """

    name: str
    chainage_m: float | None = None
    to_m: float | None = None
    longer_name: str = ""


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
    max_off : int or None
        Greatest number of meters off.
    """

    force: tuple[PlaceGiven, ...]
    forbid: tuple[PlaceGiven, ...]
    keep_out: Path | None
    max_stops: int | None
    keep_on: tuple[str, ...]
    max_off: int | None = None

    def on(self, network: Network, polygons: PolygonsOf) -> Orders:
        """Return the orders as rows and places of a network.

        Raises
        ------
        BadWorkError
            When a main, chainage, valve or customer is not in the network.
        """
        from netplan.isolation import Orders

        force_places, force_valves = _places(network, self.force, "--force")
        forbid_places, forbid_valves = _places(network, self.forbid, "--forbid", FORBIDDEN_M)
        return Orders(
            force=force_places,
            force_valves=force_valves,
            forbid=forbid_places,
            forbid_valves=forbid_valves,
            keep_out=() if self.keep_out is None else polygons(self.keep_out, network.crs),
            max_stops=self.max_stops or 0,
            keep_customers=customer_rows(network, self.keep_on, "--keep-on"),
            max_meters_off=self.max_off,
        )


def orders_given(
    *,
    force: Sequence[str],
    forbid: Sequence[str],
    keep_out: Path | None,
    max_stops: int | None,
    keep_on: Sequence[str],
    max_off: int | None = None,
) -> OrdersGiven:
    """Read the orders.

    Raises
    ------
    BadInputError
        When a chainage cannot be read.
    """
    return OrdersGiven(
        tuple(_place(text, "--force") for text in force),
        tuple(_place_or_length(text, "--forbid") for text in forbid),
        keep_out,
        max_stops,
        tuple(keep_on),
        max_off,
    )


def _place(text: str, option: str) -> PlaceGiven:
    main_id, colon, chainage = text.rpartition(":")
    return PlaceGiven(main_id, chainage_m(chainage, option)) if colon else PlaceGiven(text)


def _place_or_length(text: str, option: str) -> PlaceGiven:
    parts = text.rsplit(":", 2)
    if len(parts) < 3 or not parts[0] or not parts[1][:1].isdigit():
        return _place(text, option)
    low, high = (chainage_m(part, option) for part in parts[1:])
    if not low < high:
        raise BadInputError(f"{option}: {quoted(text)}: from {low:g} m to {high:g} m is no length; swap them")
    return PlaceGiven(parts[0], low, high, f"{parts[0]}:{parts[1]}")


def _places(
    network: Network, given: Sequence[PlaceGiven], option: str, around_m: float = 0.0
) -> tuple[tuple[Stretch, ...], tuple[int, ...]]:
    from netplan.isolation import Stretch

    places: set[Stretch] = set()
    valves: set[int] = set()
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
        if pipe < 0 and place.to_m is not None:
            longer = PlaceGiven(place.longer_name, place.to_m)
            if network.pipes.id.find(longer.name, 0, network.pipes.n_mains) >= 0:
                places.update(_places(network, (longer,), option, around_m)[0])
                continue
        if pipe < 0:
            raise BadWorkError(f"{option}: the network has no main {quoted(place.name)}; give MAIN:CHAINAGE")
        length = float(network.pipes.length_m[pipe])
        if not 0 <= at <= length:
            raise BadWorkError(f"{option}: main {place.name} is {length:.2f} m long, {at:g} m is beyond it")
        if place.to_m is None:
            places.add(Stretch(pipe, max(at - around_m, 0.0), min(at + around_m, length)))
            continue
        if place.to_m > length + ROUNDING_M:
            raise BadWorkError(
                f"{option}: main {place.name} is {length:.2f} m long, {place.to_m:g} m is beyond it"
            )
        places.add(Stretch(pipe, at, min(place.to_m, length)))
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
