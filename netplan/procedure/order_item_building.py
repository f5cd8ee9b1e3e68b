"""What the items of an option are: places, tappings, barriers, vents, valves, feeds, meters and parts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final, TypeAlias

import shapely

from netplan.planfile.model import (
    Bypass,
    Excavation,
    Option,
    OrderItem,
    Place,
    PreparedFallback,
    StationBehind,
    Stop,
    Tapping,
    ZonePart,
)
from netplan.planfile.naming import THROUGH_THE_GAUGE
from netplan.planfile.station_words import is_inlet_barrier

__all__ = ["SAME_M", "hole_at_place", "inlet_id", "items_of"]

SAME_M: Final = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""

Tapped: TypeAlias = Stop | PreparedFallback
"""What has tappings and barriers in its record."""

_FIRST: Final[Mapping[str, str]] = MappingProxyType(
    {
        "place": "planned",
        "tapping": "planned",
        "barrier": "out",
        "vent": "shut",
        "valve": "shut",
        "feed": "planned",
        "meter": "on",
        "part": "live",
    }
)
_LAST: Final[Mapping[str, str]] = MappingProxyType(
    {
        "place": "filled",
        "tapping": "capped",
        "barrier": "withdrawn",
        "vent": "shut",
        "valve": "shut",
        "feed": "removed",
        "meter": "relit",
        "part": "live",
    }
)


def items_of(option: Option) -> tuple[OrderItem, ...]:
    """Return all items of an option whose tappings have their ids, each kind and id once.

    Parameters
    ----------
    option : Option
        With ids of its tappings. Its zone parts become items; without them its zones do.

    Returns
    -------
    tuple of OrderItem
        Places, tappings, barriers, vents, valves, feeds, meters and parts, in this order.
    """
    tappings = tuple(_tappings(option))
    holes = {item.hole_id for item in tappings} | {one.hole_id for one in _tapped(option)}
    listed = [one.id for one in option.excavations]
    places = (*listed, *sorted(holes - {"", *listed}))
    return _each_once(
        (
            *(_place(ident, option) for ident in places),
            *tappings,
            *_barriers(option),
            *_vents(option, tappings),
            *_valves(option, tappings),
            *_feeds(option),
            *_meters(option),
            *_parts(option),
        )
    )


def _item(kind: str, ident: str, **more: object) -> OrderItem:
    values = {"id": ident, "kind": kind, "first": _FIRST[kind], "last": _LAST[kind], **more}
    return OrderItem.model_validate(values)


def _each_once(found: Sequence[OrderItem]) -> tuple[OrderItem, ...]:
    """Return the items without those met before: a valve that two things use is one item."""
    taken: dict[tuple[str, str], OrderItem] = {}
    for item in found:
        taken.setdefault((item.kind, item.id), item)
    return tuple(taken.values())


def _tapped(option: Option) -> tuple[Tapped, ...]:
    return (*option.stops, *option.prepared_fallbacks)


def _place(ident: str, option: Option) -> OrderItem:
    dug = next((one for one in option.excavations if one.id == ident), None)
    if dug is None:
        return _item("place", ident)
    return _item("place", ident, main_id=dug.main_id, chainage_m=dug.chainage_m)


def _tappings(option: Option) -> Iterator[OrderItem]:
    """Yield every hole in a main: those of stops and fallbacks, then tees, purge points, gauges apart."""
    found: list[OrderItem] = []
    for one in _tapped(option):
        for tapping in one.tappings:
            main = tapping.main_id or one.main_id
            found += _holes(
                tapping, _item("tapping", tapping.id, of=one.id, role=tapping.role, main_id=main), one
            )
    number = 1 + len(found)
    stops = {one.id for one in _tapped(option)}
    for owner, role, main, chainage_m, count, hole in _further(option):
        shared = [item for item in found if item.of != owner and _is_at(item, main, chainage_m)]
        # A feed hangs on a tee of a stop, and on nothing else that is tapped there.
        if any(role != "bypass" or (item.role == "bypass" and item.of in stops) for item in shared):
            continue
        for _ in range(count):
            found.append(
                _item(
                    "tapping",
                    f"T{number}",
                    of=owner,
                    role=role,
                    main_id=main,
                    chainage_m=chainage_m,
                    hole_id=hole,
                )
            )
            number += 1
    yield from found


def _holes(tapping: Tapping, first: OrderItem, one: Tapped) -> list[OrderItem]:
    """Return one item for each hole of a tapping: its own id, then the numbers after it."""
    if not tapping.id:
        return []
    number = int(tapping.id.removeprefix("T"))
    return [
        first.model_copy(
            update={"id": f"T{number + k}", "chainage_m": tapping.chainage_m, "hole_id": one.hole_id}
        )
        for k in range(tapping.count)
    ]


def _further(option: Option) -> Iterator[tuple[str, str, str, float, int, str]]:
    """Yield owner, role, main, chainage, count and excavation of what may need a tapping of its own."""
    for feed in option.bypasses:
        for end in (feed.from_, feed.to):
            hole = hole_at_place(option.excavations, feed, end)
            yield feed.id, "bypass", end.main_id, end.chainage_m, feed.parallel, hole
    for point in option.purge.points:
        hole = _serving(option.excavations, "purge point", point.id)
        yield point.id, "purge", point.main_id, point.chainage_m, 1, hole
    for gauge in option.gauges:
        if not gauge.customer:
            hole = _serving(option.excavations, "gauge", gauge.id)
            yield gauge.id, "gauge", gauge.main_id, gauge.chainage_m, 1, hole


def _serving(excavations: Sequence[Excavation], what: str, ident: str) -> str:
    return next(
        (one.id for one in excavations if any(s.what == what and s.id == ident for s in one.serves)), ""
    )


def hole_at_place(excavations: Sequence[Excavation], feed: Bypass, end: Place) -> str:
    """Return the excavation that an end of a bypass or hose is tapped in; empty where none is listed."""
    # Earlier plans call every hose a bypass.
    serving = [
        one
        for kind in (feed.kind, "bypass")
        for one in excavations
        if any(served.what == kind and served.id == feed.id for served in one.serves)
    ]
    nearest = min(
        serving,
        key=lambda one: shapely.distance(shapely.Polygon(one.outline), shapely.Point(end.x, end.y)),
        default=None,
    )
    return "" if nearest is None else nearest.id


def _is_at(item: OrderItem, main: str, chainage_m: float) -> bool:
    return (
        item.main_id == main and item.chainage_m is not None and abs(item.chainage_m - chainage_m) <= SAME_M
    )


def _barriers(option: Option) -> Iterator[OrderItem]:
    """Yield the barriers, the outer one first; those of a fallback end as they began."""
    fallbacks = {one.id for one in option.prepared_fallbacks}
    for one in _tapped(option):
        tappings = [t for t in one.tappings if t.role == "barrier"]
        outwards = sorted(tappings, key=lambda t: _away(t, one), reverse=True)
        roles = ("outer", "inner") if _is_double(one) else ("single",)
        for role in roles:
            tapping = None
            if one.kind != "valve" and outwards:
                tapping = outwards[0] if role == "outer" else outwards[-1]
            yield _item(
                "barrier",
                f"{one.id}-{role}",
                of=one.id,
                role=role,
                last="out" if one.id in fallbacks else "withdrawn",
                main_id=one.main_id,
                chainage_m=one.chainage_m if tapping is None else tapping.chainage_m,
                hole_id=one.hole_id,
                tapping_id="" if tapping is None else tapping.id,
                valve_ids=_valves_of_barrier(one, role),
            )


def _valves_of_barrier(one: Tapped, role: str) -> tuple[str, ...]:
    """Return the valves that a barrier is: the inlets of the stations behind a stop are its outer one."""
    if isinstance(one, Stop) and one.kind == "valve" and role == "outer":
        return tuple(inlet_id(behind) for behind in one.shuts_in)
    return (one.valve_id,) if one.kind == "valve" and one.valve_id else ()


def inlet_id(behind: StationBehind) -> str:
    """Return the id of a station's inlet valve, of its own where the records name none."""
    return behind.inlet_valve_id or f"{behind.station_id}-inlet"


def _is_double(one: Tapped) -> bool:
    """Return whether two barriers stand there: a valve with the inlets behind it counts as two."""
    if isinstance(one, PreparedFallback):
        return one.kind != "valve" and sum(t.role == "barrier" for t in one.tappings) > 1
    return one.barriers == 2 if one.kind != "valve" else is_inlet_barrier(one)


def _away(tapping: Tapping, one: Tapped) -> float:
    if tapping.offset_m is not None:
        return tapping.offset_m
    return (1.0 if one.work_side == "from" else -1.0) * (tapping.chainage_m - one.chainage_m)


def _vents(option: Option, tappings: Sequence[OrderItem]) -> Iterator[OrderItem]:
    """Yield vents: at purge points, between barriers, of zones without a purge point, stacks of feeds."""
    taken: set[str] = set()
    for point in option.purge.points:
        tapping = next((t for t in tappings if _is_at(t, point.main_id, point.chainage_m)), None)
        if tapping is None:
            continue
        taken.add(tapping.id)
        role = "zone" if tapping.role == "zone_vent" else "purge"
        yield _on("vent", point.id, tapping, of=point.id, role=role)
    for one in _tapped(option):
        between = _first(tappings, one.id, "vent")
        if between is not None:
            yield _on("vent", f"{one.id}-vent", between, of=one.id, role="between")
        elif isinstance(one, Stop) and is_inlet_barrier(one):
            # The vent of the station itself.
            yield _item("vent", f"{one.id}-vent", of=one.id, role="between", main_id=one.main_id)
        zone = _first(tappings, one.id, "zone_vent")
        if zone is not None and zone.id not in taken:
            yield _on("vent", f"{one.id}-zone-vent", zone, of=one.id, role="zone")
    for feed in option.bypasses:
        tee = _tee(tappings, feed.id, feed.to)
        yield _on("vent", f"{feed.id}-vent", tee, of=feed.id, role="feed")


def _first(tappings: Sequence[OrderItem], owner: str, role: str) -> OrderItem | None:
    return next((one for one in tappings if one.of == owner and one.role == role), None)


def _tee(tappings: Sequence[OrderItem], feed: str, end: Place) -> OrderItem | None:
    """Return the tee an end of a feed hangs on: its own one, else that of a stop."""
    at = [one for one in tappings if one.role == "bypass" and _is_at(one, end.main_id, end.chainage_m)]
    return next((one for one in at if one.of == feed), at[0] if at else None)


def _on(kind: str, ident: str, tapping: OrderItem | None, **more: object) -> OrderItem:
    """Return an item that stands on a tapping."""
    if tapping is None:
        return _item(kind, ident, **more)
    where = {"main_id": tapping.main_id, "chainage_m": tapping.chainage_m, "hole_id": tapping.hole_id}
    return _item(kind, ident, tapping_id=tapping.id, **where, **more)


def _valves(option: Option, tappings: Sequence[OrderItem]) -> Iterator[OrderItem]:
    """Yield valves of the network, then ends of feeds, inlets of purge points and hoses of let-by tests."""
    yield from (records := tuple(_recorded_valves(option)))
    taken = {item.id for item in records}
    for feed in option.bypasses:
        for end, place in (("from", feed.from_), ("to", feed.to)):
            ident = _free(f"{feed.id}-{end}", taken)
            yield _on("valve", ident, _tee(tappings, feed.id, place), of=feed.id, role=f"feed end {end}")
    for point in option.purge.points:
        if point.role == "feed":
            tapping = next((t for t in tappings if _is_at(t, point.main_id, point.chainage_m)), None)
            live = _gas_outlet(option, tappings, tapping, point.note) or tapping
            yield _on("valve", _free(f"{point.id}-in", taken), live, of=point.id, role="gas inlet")
            yield _on("valve", _free(f"{point.id}-air", taken), tapping, of=point.id, role="air inlet")
    for stop in option.stops:
        gauge = _first(tappings, stop.id, "gauge")
        if gauge is not None:
            yield _on("valve", _free(f"{stop.id}-hose", taken), gauge, of=stop.id, role="test hose")


def _gas_outlet(
    option: Option, tappings: Sequence[OrderItem], inlet: OrderItem | None, note: str
) -> OrderItem | None:
    """Return the outlet on the live side that gas comes from to a zone vent; None where it is no stop's."""
    stop = next((one.id for one in option.stops if inlet is not None and one.id == inlet.of), "")
    roles = ("gauge",) if note == THROUGH_THE_GAUGE else ("purge_in", "bypass", "gauge")
    return next((one for role in roles if (one := _first(tappings, stop, role))), None)


def _recorded_valves(option: Option) -> Iterator[OrderItem]:
    for one in option.stops:
        if one.valve_id:
            yield _valve_of(one)
    for opened in option.opened_valves:
        yield _item("valve", opened.valve_id, of=opened.valve_id, role="boundary")
    for stop in option.stops:
        for behind in stop.shuts_in:
            yield _item(
                "valve", inlet_id(behind), of=stop.id, role="station inlet", first="open", last="open"
            )
    for prepared in option.prepared_fallbacks:
        if prepared.valve_id:
            yield _valve_of(prepared)


def _free(ident: str, taken: set[str]) -> str:
    """Return an id that no record of the network has."""
    while ident in taken:
        ident = f"{ident}-own"
    return ident


def _valve_of(one: Tapped) -> OrderItem:
    """Return the valve that a stop or fallback closes; one that is shut on record stays shut."""
    state = "shut" if isinstance(one, Stop) and one.stays_shut else "open"
    return _item(
        "valve",
        one.valve_id or "",
        of=one.id,
        role="stop",
        first=state,
        last=state,
        main_id=one.main_id,
        chainage_m=one.chainage_m,
        hole_id=one.hole_id,
    )


def _feeds(option: Option) -> Iterator[OrderItem]:
    for feed in option.bypasses:
        yield _item("feed", feed.id, of=feed.id, role=feed.kind)
    taken = {feed.id for feed in option.bypasses}
    for opened in option.opened_valves:
        yield _item(
            "feed", _free(opened.valve_id, taken), of=opened.valve_id, role="opened valve", last="shut"
        )


def _meters(option: Option) -> Iterator[OrderItem]:
    for one in option.customers:
        kept = one.effect == "kept"
        role = "kept" if kept else "tail" if one.cause == "stranded" else "off"
        yield _item("meter", one.id, role=role, last="on" if kept else "relit")


def _parts(option: Option) -> Iterator[OrderItem]:
    parts = option.parts or tuple(_zones(option))
    with_stops = {part.zone for part in parts if part.stops} if option.parts else set(range(len(parts)))
    for part in parts:
        of = (
            part.stops[0] if part.role == "space" and part.stops else str(part.zone) if part.zone >= 0 else ""
        )
        # A zone that no stop is at the end of has no gas as recorded: none comes back.
        fed = part.zone < 0 or part.zone in with_stops
        yield _item("part", part.id, of=of, role=part.role, last=_LAST["part"] if fed else "")


def _zones(option: Option) -> Iterator[ZonePart]:
    """Yield the zones and the spaces between barriers, for a plan that lists no parts."""
    for k in range(len(option.zones)):
        yield ZonePart(id=f"Z{k + 1}", role="zone", zone=k)
    for stop in option.stops:
        if _is_double(stop):
            yield ZonePart(id=f"{stop.id}-space", role="space", zone=-1, stops=(stop.id,))
