"""Rows of an emergency answer: rings, stops in words, customers, stations, addresses nearby."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, Literal, get_args

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_MINUTE
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import HitPlace, Hits, customer_place
from netplan.emergency.ring_choice import ChosenRing
from netplan.emergency.ring_outcome import RingOutcome, do_first_lines, ring_outcome
from netplan.emergency.ring_search import RingStopPlace
from netplan.network.linear_reference import lon_lat, points_at
from netplan.network.model import Network
from netplan.network.service_mains import nodes_of_service
from netplan.network.vocabulary import Category, Material
from netplan.planfile import emergency_answer as model

__all__ = [
    "RecordedRing",
    "addresses_nearby",
    "customers_of",
    "customers_on",
    "material_words",
    "notified",
    "ring_of",
    "stations_near",
]

RingKind = Literal["valves", "fastest"]
Aim = Literal["least minutes", "fewer meters off"]
StopKind = Literal["valve", "squeeze", "bag"]
QUARTERS: Final = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")
ADDRESS_M: Final = 60.0
"""How far from a stop an address is still told with it (own) [m]."""
BESIDE_M: Final = 20.0
"""How far from a building corner an address is still told with it (own) [m]."""
MOST_STATIONS: Final = 20
"""Stations named at most, the nearest first (own) [-]."""


class RecordedRing:
    """A ring as it stands in the answer, with what it does to every customer.

    Parameters
    ----------
    ring : Ring
    outcome : RingOutcome
    chosen : ChosenRing
        What it was made of: its stops in the order of shutting.
    """

    def __init__(self, ring: model.Ring, outcome: RingOutcome, chosen: ChosenRing) -> None:
        self.ring, self.outcome, self.chosen = ring, outcome, chosen


def _minutes(seconds: float) -> float:
    return seconds / SECONDS_PER_MINUTE


def ring_of(
    tables: EmergencyTables, hits: Hits, chosen: ChosenRing, kind: RingKind, aim: Aim
) -> RecordedRing:
    """Return a ring in the form of the answer."""
    network, cut = tables.network, chosen.cut
    outcome = ring_outcome(tables, cut)
    off = np.flatnonzero(outcome.off)
    customers = network.customers
    names = [customers.id[row] for row in off.tolist()]
    priority = [name for name, row in zip(names, off.tolist(), strict=True) if customers.priority[row]]
    shut = [network.stations.id[row] for row in outcome.stations.tolist()]
    shut += [network.injections.id[row] for row in outcome.injections.tolist()]
    xy = _stop_xy(network, cut.stops)
    degrees = lon_lat(network, xy)
    ring = model.Ring(
        kind=kind,
        aim=aim,
        stops=tuple(
            _stop(tables, hits, cut.stops[one.row], xy[one.row], degrees[one.row], n).model_copy(
                update={
                    "crew": one.crew + 1,
                    "begins_min": round(_minutes(one.begins), 1),
                    "ends_min": round(_minutes(one.ends), 1),
                }
            )
            for n, one in enumerate(chosen.order, 1)
        ),
        stations_to_shut=tuple(shut),
        do_first=do_first_lines(tables, hits, cut, outcome),
        crews=chosen.crews,
        minutes=_minutes(chosen.seconds),
        minutes_sum=_minutes(cut.seconds),
        proof=model.RingProof(
            optimal=chosen.is_optimal,
            lower_bound_min=_minutes(chosen.lower_bound),
            gap_min=_minutes(max(chosen.seconds - chosen.lower_bound, 0)),
            reason=f"{chosen.reason}; recorded minutes, travel left out",
        ),
        customers_off=tuple(names),
        priority=tuple(priority),
        meters=int(customers.meters[off].sum()),
        length_m=outcome.length_m,
    )
    return RecordedRing(ring, outcome, chosen)


def _stop_xy(network: Network, stops: Sequence[RingStopPlace]) -> Floats:
    pipes = np.array([network.pieces.pipe.item(stop.piece) for stop in stops], dtype=np.int64)
    return points_at(network, pipes, np.array([stop.chainage_m for stop in stops]))


def _stop(
    tables: EmergencyTables, hits: Hits, stop: RingStopPlace, xy: Floats, degrees: Floats, n: int
) -> model.RingStop:
    network = tables.network
    pipe, valve = network.pieces.pipe.item(stop.piece), network.pieces.valve.item(stop.piece)
    method = tables.rules.method[stop.method] if stop.method >= 0 else None
    kind: StopKind = "valve" if valve >= 0 or method is None else _stop_kind(method.kind.value)
    name, main_id = network.valves.id[valve] if valve >= 0 else "", network.pipes.id[pipe]
    street = network.pipes.street[pipe]
    away_m = _away_m(network, hits, xy)
    return model.RingStop(
        n=n,
        main_id=main_id,
        chainage_m=stop.chainage_m,
        valve_id=name,
        method="valve" if method is None else method.name,
        kind=kind,
        minutes=_minutes(stop.seconds),
        crew=1,
        begins_min=0.0,
        ends_min=_minutes(stop.seconds),
        place=_place_words(tables, hits, xy, main_id, name, stop.chainage_m, street),
        offsets=_offsets(tables, xy),
        distance_m=away_m,
        street=street,
        od_mm=float(network.pipes.od_m[pipe]) * MM_PER_M,
        material=material_words(network, pipe),
        record=_valve_record(network, valve) if valve >= 0 else None,
        x=float(xy[0]),
        y=float(xy[1]),
        lon=float(degrees[0]),
        lat=float(degrees[1]),
    )


def _stop_kind(word: str) -> StopKind:
    for kind in get_args(StopKind):
        if kind == word:
            return kind  # type: ignore[no-any-return]
    raise ValueError(f"no kind of stop: {word}")


def _away_m(network: Network, hits: Hits, xy: Floats) -> float:
    """Return the straight distance from the nearest place hit [m]."""
    places = (*hits.mains, *hits.services)
    return min(math.hypot(hit.x_m - xy[0], hit.y_m - xy[1]) for hit in places) / network.scale


def _mbar_or_none(pressure_pa: float) -> float | None:
    return pressure_pa / PA_PER_MBAR if math.isfinite(pressure_pa) else None


def material_words(network: Network, pipe: int) -> str:
    """Return the material of a pipe, and where its size is not on record that the one told is made up."""
    word = Material(network.pipes.material.item(pipe)).word
    is_sized = not (network.set_aside.pipe == pipe).any()
    return word if is_sized else f"{word}, size not on record (what is told of it is made up)"


def _valve_record(network: Network, row: int) -> model.ValveRecord:
    valves = network.valves
    turns, size_m = float(valves.turns_to_close[row]), float(valves.size_m[row])
    return model.ValveRecord(
        turns_to_close=turns if math.isfinite(turns) else None,
        closing_direction=valves.closing_direction[row],
        cover_type=valves.cover_type[row],
        last_operated=valves.last_operated[row],
        size_mm=size_m * MM_PER_M if math.isfinite(size_m) else None,
        remark=valves.remark[row],
    )


def _offsets(tables: EmergencyTables, xy: Floats) -> tuple[model.RingOffset, ...]:
    rows = []
    for mark in tables.marks.near(float(xy[0]), float(xy[1])):
        east_m, north_m = mark.x_m - float(xy[0]), mark.y_m - float(xy[1])
        what = f"{mark.what}, {direction(east_m, north_m)} of it"
        beside = tables.marks.address_near(mark.x_m, mark.y_m, BESIDE_M) if mark.kind == "corner" else ""
        rows.append(
            model.RingOffset(
                what=f"{what}, at {beside}" if beside else what,
                distance_m=math.hypot(east_m, north_m) / tables.network.scale,
                x=mark.x_m,
                y=mark.y_m,
            )
        )
    return tuple(rows)


def _place_words(
    tables: EmergencyTables, hits: Hits, xy: Floats, main_id: str, valve: str, chainage_m: float, street: str
) -> str:
    network = tables.network
    hit = min(hits.mains, key=lambda one: math.hypot(one.x_m - xy[0], one.y_m - xy[1]))
    words = [f"valve {valve}" if valve else "stop", f"on main {main_id} at {chainage_m:.1f} m"]
    if street:
        words.append(f"in {street}")
    away_m = math.hypot(xy[0] - hit.x_m, xy[1] - hit.y_m) / network.scale
    line = f"{' '.join(words)}, {away_m:.0f} m {direction(xy[0] - hit.x_m, xy[1] - hit.y_m)} of the hit"
    near = tables.marks.address_near(float(xy[0]), float(xy[1]), ADDRESS_M)
    return f"{line}; nearest address {near}" if near else line


def direction(dx_m: float, dy_m: float) -> str:
    """Return the quarter of the compass of a step east and north, in words."""
    return QUARTERS[round(math.atan2(dy_m, dx_m) / (math.pi / 4.0)) % 8]


def customers_of(
    network: Network,
    rings: Iterable[RecordedRing],
    on_service: Ints,
    weak: Mapping[RingKind, Ints] = MappingProxyType({}),
) -> tuple[model.EmergencyCustomer, ...]:
    """Return everybody who loses gas in one of the rings of least minutes, priority first, then by address.

    Parameters
    ----------
    network : Network
    rings : iterable of RecordedRing
    on_service : int array
        Rows of the customers on a service that may be hit.
    weak : mapping of RingKind to int array, optional
        Rows of the customers outside that fall below their minimum while a ring closes.
    """
    customers = network.customers
    causes: dict[int, dict[RingKind, model.OffCause]] = {}
    for one in rings:
        for row in np.flatnonzero(one.outcome.in_ring).tolist():
            causes.setdefault(row, {}).setdefault(one.ring.kind, "in the ring")
        for row in np.flatnonzero(one.outcome.parted).tolist():
            causes.setdefault(row, {}).setdefault(one.ring.kind, "cut off from every station")
    for row in on_service.tolist():
        for kind in get_args(RingKind):
            causes.setdefault(row, {}).setdefault(kind, "on the service hit")
    for kind, fallen in weak.items():
        for row in fallen.tolist():
            causes.setdefault(row, {}).setdefault(kind, "weak while it closes")
    rows = [
        model.EmergencyCustomer(
            id=customers.id[row],
            address=customers.address[row],
            street=customers.street[row],
            number=customers.number[row],
            postcode=customers.postcode[row],
            category=Category(int(customers.category[row])).word,
            meters=int(customers.meters[row]),
            priority=customers.priority[row],
            off_by=off_by,
            x=place[0],
            y=place[1],
        )
        for row, off_by in causes.items()
        for place in [customer_place(network, row)]
    ]
    return tuple(sorted(rows, key=lambda row: (not row.priority, row.street, row.number, row.id)))


def notified(tables: EmergencyTables, meters: Mapping[RingKind, int]) -> tuple[model.NotifiedParty, ...]:
    """Return who is to be told by the rules, and for which ring the threshold is reached."""
    return tuple(
        model.NotifiedParty(
            whom=row.whom,
            from_meters=row.meters,
            reached={kind: count >= row.meters for kind, count in meters.items()},
        )
        for row in tables.rules.emergency.notify
    )


def addresses_nearby(tables: EmergencyTables, hits: Hits) -> tuple[model.NearbyAddress, ...]:
    """Return the meter points within the rules' radius of what may be hit, nearest first."""
    network = tables.network
    customers = network.customers
    if not len(customers):
        return ()
    places = [(hit.x_m, hit.y_m) for hit in (*hits.mains, *hits.services)]
    away_m = (
        np.min([np.hypot(customers.x_m - x, customers.y_m - y) for x, y in places], axis=0) / network.scale
    )
    rows = np.flatnonzero(away_m <= tables.rules.emergency.nearby_m)
    return tuple(
        model.NearbyAddress(
            customer_id=customers.id[row],
            address=customers.address[row],
            distance_m=float(away_m[row]),
            priority=customers.priority[row],
        )
        for row in rows[np.lexsort((rows, away_m[rows]))].tolist()
    )


def stations_near(tables: EmergencyTables, hits: Hits) -> tuple[model.EmergencyStation, ...]:
    """Return the stations and injections that what may be hit hangs on, nearest first, before any stop."""
    network = tables.network
    nodes = network.nodes
    pieces = network.pieces
    hit_parts = {
        int(tables.part[pieces.from_node[row]]) for hit in hits.mains for row in pieces.rows_of(hit.pipe)
    }
    found = []
    for kind, table in (("station", network.stations), ("injection", network.injections)):
        for row, node in enumerate(table.node.tolist()):
            if node < 0 or int(tables.part[node]) not in hit_parts:
                continue
            away_m = _away_m(network, hits, np.array([nodes.x_m[node], nodes.y_m[node]]))
            found.append((away_m, kind, row))
    rows = []
    for away_m, kind, row in sorted(found)[:MOST_STATIONS]:
        if kind == "station":
            stations = network.stations
            rows.append(
                model.EmergencyStation(
                    id=stations.id[row],
                    kind="station",
                    distance_m=away_m,
                    set_outlet_mbar=_mbar_or_none(stations.outlet_pa_gauge.item(row)),
                    inlet_valve=stations.inlet_valve[row],
                )
            )
        else:
            rows.append(
                model.EmergencyStation(
                    id=network.injections.id[row], kind="injection", distance_m=away_m, set_outlet_mbar=None
                )
            )
    return tuple(rows)


def customers_on(network: Network, services: Iterable[HitPlace]) -> Ints:
    """Return the rows of all customers attached beyond the mains on some services, ascending."""
    customers = network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    found = [np.zeros(0, dtype=np.int64)]
    for hit in services:
        inside, _ = nodes_of_service(network, hit.pipe)
        found.append(owner[np.isin(customers.attach_node, inside)])
    return np.unique(np.concatenate(found))
