"""The excavations of an option, as they stand in a plan: everything that it taps, stops or cuts is in one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np
import shapely

from netplan.excavations import (
    LOCATE_FIRST,
    TRAFFIC,
    CutExcavations,
    ExcavationCharge,
    MergedOutline,
    ServedLength,
    excavation_depth_m,
    merged_excavations,
    needs_shoring,
    outlines_of,
    stop_lengths,
    tee_elsewhere,
    work_excavation_prices,
    work_lengths,
)
from netplan.isolation import CutStop, CutTapping
from netplan.network.linear_reference import lon_lat, points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Surface
from netplan.planfile import model
from netplan.planfile.naming import fallback_id, hole_id, stop_id
from netplan.planning.crew_day import in_currency
from netplan.planning.zone_purges import purge_outlet

__all__ = ["WrittenExcavations", "excavations_of"]

SAME_M = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""


Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class WrittenExcavations:
    """Excavations of an option.

    Parameters
    ----------
    excavations : tuple of model.Excavation
        Those of stops first, in the order of the stops, then the work's, then the others.
    of_stop, of_fallback : tuple of str
        The one that each stop, and each prepared fallback, is in.
    """

    excavations: tuple[model.Excavation, ...]
    of_stop: tuple[str, ...]
    of_fallback: tuple[str, ...] = ()


@dataclass(slots=True)
class _Thing:
    """What is dug for: lengths of main, its place, what it serves, what it adds and who pays for it."""

    lengths: tuple[ServedLength, ...]
    at: tuple[int, float]
    serves: list[tuple[str, str]] = field(default_factory=list)
    prices: list[ExcavationCharge] = field(default_factory=list)
    included_in: list[str] = field(default_factory=list)

    def holds(self, pipe: int, chainage_m: float) -> bool:
        return any(
            one.pipe == pipe and one.from_m - SAME_M <= chainage_m <= one.to_m + SAME_M
            for one in self.lengths
        )


def excavations_of(
    dug: CutExcavations,
    bypasses: Sequence[model.Bypass],
    purge: model.Purge,
    gauges: Sequence[model.Gauge],
    prepared: Sequence[CutStop] = (),
    purge_tees: Mapping[int, CutTapping] = MappingProxyType({}),
) -> WrittenExcavations:
    """Return the excavations of an option.

    Parameters
    ----------
    dug : CutExcavations
        Of its cut: places and prices that do not hang on its feeds.
    bypasses : sequence of model.Bypass
    purge : model.Purge
    gauges : sequence of model.Gauge
        One with a customer is read at that customer's meter, where nothing is dug.
    prepared : sequence of CutStop, optional
        Fallback stops that the option prepares. Their price pays for their pits, so that these make nothing
        else free.
    purge_tees : mapping of int to CutTapping, optional
        Outlets of their own that gas back in is taken from, by the place of their stop in the cut.
    """
    things = _of_stops(dug, purge_tees) + _of_work(dug)
    things += _of_tees(dug, bypasses, things)
    things += _of_purge(dug, purge, things)
    first_prepared = len(things)
    things += [_pit(stop, "fallback", fallback_id(row)) for row, stop in enumerate(prepared)]
    for gauge in gauges:
        if not gauge.customer:
            at = _row(dug, gauge.main_id), gauge.chainage_m
            next(thing for thing in things if thing.holds(*at)).serves.append(("gauge", gauge.id))
    outlines = outlines_of(dug.network, dug.rules.excavation, [thing.lengths for thing in things])
    merged = merged_excavations(dug.network, dug.rules, outlines)
    number = {member: row for row, one in enumerate(merged) for member in one.members}
    return WrittenExcavations(
        tuple(_written(dug, hole_id(row), one, things) for row, one in enumerate(merged)),
        tuple(hole_id(number[row]) for row in range(len(dug.cut.stops))),
        tuple(hole_id(number[first_prepared + row]) for row in range(len(prepared))),
    )


def _row(dug: CutExcavations, main_id: str) -> int:
    pipes = dug.network.pipes
    return pipes.id.find(main_id, 0, pipes.n_mains)


def _point(pipe: int, chainage_m: float) -> _Thing:
    return _Thing((ServedLength(pipe, chainage_m, chainage_m),), (pipe, chainage_m))


def _of_stops(dug: CutExcavations, purge_tees: Mapping[int, CutTapping]) -> list[_Thing]:
    stops = [
        replace(stop, tappings=(*stop.tappings, purge_tees[row])) if row in purge_tees else stop
        for row, stop in enumerate(dug.cut.stops)
    ]
    return [_pit(stop, "stop", stop_id(row)) for row, stop in enumerate(stops)]


def _pit(stop: CutStop, what: str, ident: str) -> _Thing:
    """Return the pit of a stop or fallback, which its own price pays for."""
    at = stop.pipe, stop.chainage_m
    return _Thing(stop_lengths(stop), at, serves=[(what, ident)], included_in=[ident])


def _of_work(dug: CutExcavations) -> list[_Thing]:
    pipes = dug.network.pipes
    found = [
        _Thing((one,), (one.pipe, (one.from_m + one.to_m) / 2), serves=[("work", pipes.id[one.pipe])])
        for one in work_lengths(dug.section)
    ]
    for rows, price in work_excavation_prices(dug.network, dug.rules, dug.section):
        found[rows[0]].prices.append(price)
    return found


def _of_tees(dug: CutExcavations, bypasses: Sequence[model.Bypass], paid: Sequence[_Thing]) -> list[_Thing]:
    """Return the tees of hoses and bypasses away from the stops' own pits; note the others where they are."""
    elsewhere = [tee for stop in dug.cut.stops if (tee := tee_elsewhere(stop)) is not None]
    found: list[_Thing] = []
    for bypass in bypasses:
        for end in (bypass.from_, bypass.to):
            at = _row(dug, end.main_id), end.chainage_m
            exact = next((tee for tee in elsewhere if _same(tee, at)), at)
            tapped = [
                thing
                for thing, stop in zip(paid, dug.cut.stops, strict=False)
                if any(t.role == "bypass" and _same((t.pipe, t.chainage_m), at) for t in stop.tappings)
                and not _same(tee_elsewhere(stop) or (-1, 0.0), at)
            ]
            if bypass.kind == "bypass" and tapped:
                tapped[0].serves.append((bypass.kind, bypass.id))
                continue
            thing = _point(*exact)
            thing.serves.append((bypass.kind, bypass.id))
            thing.included_in.append(bypass.id)
            found.append(thing)
    return found


def _same(one: tuple[int, float], two: tuple[int, float]) -> bool:
    return one[0] == two[0] and abs(one[1] - two[1]) <= SAME_M


def _of_purge(dug: CutExcavations, purge: model.Purge, paid: Sequence[_Thing]) -> list[_Thing]:
    """Return the excavations for dead ends and loops; note purge points at stops where they are."""
    ends = {end: _point(end.pipe, end.chainage_m) for part in dug.parts for end in part.dead_ends}
    for group, price in dug.dead_end_prices:
        if price:
            ends[group[0]].prices.append(price)
    found = list(ends.values())
    loops = [part for part in dug.parts for _ in range(part.loops)]
    for point in purge.points:
        at = _row(dug, point.main_id), point.chainage_m
        thing = next((one for one in found if _same(one.at, at)), None)
        if thing is None:
            outlets = zip(paid, dug.cut.stops, strict=False)
            thing = next((one for one, stop in outlets if _same(purge_outlet(stop), at)), None)
        if thing is None and point.role == "cut part":
            # Beside the work, whose excavation it is in.
            thing = _point(*at)
            found.append(thing)
        if thing is None:
            place = next(row for row, part in enumerate(loops) if at[0] in part.mains)
            thing = _point(*at)
            thing.prices.append(dug.loop_price(loops.pop(place)))
            found.append(thing)
        thing.serves.append(("purge point", point.id))
    for part in loops:
        thing = _point(part.place.pipe, part.place.chainage_m)
        thing.prices.append(dug.loop_price(part))
        found.append(thing)
    for thing in found:
        if not thing.serves:
            thing.serves.append(("dead end", dug.network.pipes.id[thing.at[0]]))
    return found


def _written(
    dug: CutExcavations, ident: str, merged: MergedOutline, things: Sequence[_Thing]
) -> model.Excavation:
    network, rules = dug.network, dug.rules.excavation
    own = [things[row] for row in merged.members]
    pipe, chainage = own[0].at
    mains = sorted({length.pipe for thing in own for length in thing.lengths})
    surfaces = _once(Surface(int(network.pipes.surface[row])) for row in [pipe, *mains])
    depth, is_recorded = excavation_depth_m(network, rules, mains)
    xy = points_at(network, np.array([pipe]), np.array([chainage]))
    lon, lat = lon_lat(network, xy)[0]
    corners = shapely.get_coordinates(shapely.normalize(_outer(merged.outline)))
    return model.Excavation(
        id=ident,
        serves=tuple(
            model.Served.model_validate({"what": what, "id": name})
            for what, name in _once(pair for thing in own for pair in thing.serves)
        ),
        main_id=network.pipes.id[pipe],
        chainage_m=chainage,
        x=float(xy[0, 0]),
        y=float(xy[0, 1]),
        lon=float(lon),
        lat=float(lat),
        street=network.pipes.street[pipe],
        outline=tuple((float(x), float(y)) for x, y in corners),
        length_m=float(shapely.area(merged.outline)) / network.scale**2 / rules.width_m,
        width_m=rules.width_m,
        depth_m=depth,
        cover_recorded=is_recorded,
        surface=tuple(surface.word for surface in surfaces),
        lengths=tuple(_by_main(network, own)),
        shoring=needs_shoring(rules, depth),
        traffic=tuple(_once(TRAFFIC[surface] for surface in surfaces)),
        locate_first=LOCATE_FIRST,
        price=in_currency(sum(price.price_minor for thing in own for price in thing.prices)),
        prices=tuple(
            model.ExcavationPrice(
                what=price.what,
                surface=Surface(price.surface).word,
                beyond_m=price.beyond_m,
                price=in_currency(price.price_minor),
            )
            for thing in own
            for price in thing.prices
        ),
        included_in=tuple(_once(name for thing in own for name in thing.included_in)),
    )


def _by_main(network: Network, things: Sequence[_Thing]) -> Iterator[model.DugLength]:
    """Yield the lengths of an excavation, one of each main, in the order of the mains."""
    pipes = network.pipes
    lengths = [length for thing in things for length in thing.lengths]
    for pipe in sorted({length.pipe for length in lengths}):
        yield model.DugLength(
            main_id=pipes.id[pipe],
            from_m=min(one.from_m for one in lengths if one.pipe == pipe),
            to_m=max(one.to_m for one in lengths if one.pipe == pipe),
            surface=Surface(int(pipes.surface[pipe])).word,
        )


def _outer(outline: Any) -> Any:
    """Return the outer ring of an excavation, or round all its parts where mains meet at a sharp angle."""
    whole = outline if outline.geom_type == "Polygon" else outline.convex_hull
    return shapely.get_exterior_ring(whole)


def _once(items: Iterable[Item]) -> list[Item]:
    """Return items in their order, each once."""
    return list(dict.fromkeys(items))
