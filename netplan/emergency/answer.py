"""The first answer to an emergency: complete, by connectivity alone, before any pressure is solved."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, ZERO_CELSIUS_K
from netplan.core.errors import BadInputError, quoted
from netplan.emergency.answer_records import (
    RecordedRing,
    RingKind,
    addresses_nearby,
    customers_of,
    notified,
    ring_of,
    stations_near,
)
from netplan.emergency.doubts import doubts_near
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.escape_flow import escape_range
from netplan.emergency.hit_places import HitPlace, Hits
from netplan.emergency.ring_choice import fewer_meters_ring, quickest_ring
from netplan.emergency.ring_search import RingQuestion
from netplan.emergency.stop_seconds import usable_valves
from netplan.hydraulics.recorded_network import gas_of
from netplan.network.linear_reference import lon_lat
from netplan.network.model import Network
from netplan.network.service_mains import main_of_service, nodes_of_service
from netplan.network.station_pressures import supply_of_parts
from netplan.network.vocabulary import Material
from netplan.planfile import emergency_answer as model
from netplan.planfile.network_facts import network_facts, provenance_of

__all__ = ["CAUTIONS", "GOVERNS", "MAKE_SAFE", "EmergencyRequest", "first_answer"]

GOVERNS: Final = (
    "The operator's emergency procedure and the emergency services govern. This is help from records: it "
    "releases nobody to go near gas."
)
MAKE_SAFE: Final = (
    "Make safe first: people out and away, nobody back in.",
    "No ignition: no flame, switch, telephone or engine near gas; call the fire service.",
    "Check buildings, cellars, ducts and chambers round the hit for gas; of a service its indoor end too.",
    "Burning gas is not put out: shut it off, and cool what stands beside it.",
)
CAUTIONS: Final = (
    "Minutes are those of the rules, travel left out; a place not yet dug counts its full time.",
    "A stop within the keep-away distance is not offered; go nowhere until the competent person permits it.",
    "A ring counts as shut when gauges and the escape show it, not when the last stop is turned.",
    "No gas back until every meter is shut: then purge, test and relight by the operator's procedure.",
    "Stations are shut by network control alone, and opened again by its written order, tested and purged.",
    "Records may be wrong or late: prove every main, valve and service on site.",
)


@dataclass(frozen=True, slots=True)
class EmergencyRequest:
    """What is asked.

    Parameters
    ----------
    asked : str
        The place as it was given.
    crews : int
        Crews on their way, at least 1.
    location_error_m : float
        [m]
    failed_valves : tuple of str
        Ids of valves that failed to shut.
    """

    asked: str
    crews: int
    location_error_m: float
    failed_valves: tuple[str, ...] = ()


def first_answer(
    tables: EmergencyTables,
    hits: Hits,
    request: EmergencyRequest,
    *,
    revision: int = 1,
    log: Sequence[model.LogEntry] = (),
) -> model.EmergencyAnswer:
    """Return the whole answer by connectivity alone: rings, who loses gas, what escapes.

    Parameters
    ----------
    tables : EmergencyTables
    hits : Hits
        What may have been hit.
    request : EmergencyRequest
    revision : int
        Number of this answer, from 1.
    log : sequence of LogEntry
        Of the answers before.

    Raises
    ------
    BadInputError
        When a valve that failed is not in the network.
    """
    network, rules = tables.network, tables.rules.emergency
    failed = _pieces_of_valves(network, request.failed_valves)
    recorded, fewer, following = [], [], []
    for kind, graph in (("valves", tables.by_valves), ("fastest", tables.by_any_method)):
        is_valves = kind == "valves"
        question = RingQuestion(tables, graph, hits.mains, rules.keep_away_m, valves_only=is_valves)
        of_kind: RingKind = "valves" if is_valves else "fastest"
        ring = ring_of(tables, hits, quickest_ring(question, request.crews, failed), of_kind, "least minutes")
        recorded.append(ring)
        fewer += _fewer(tables, hits, question, request.crews, failed, ring)
        following += _if_one_fails(tables, hits, question, request.crews, failed, ring)
    on_service = _customers_on(network, hits.services)
    meters = {one.ring.kind: one.ring.meters for one in recorded}
    degrees = lon_lat(network, np.array([[hits.x_m, hits.y_m]]))[0]
    entry = model.LogEntry(
        at=datetime.now(UTC).isoformat(timespec="seconds"), revision=revision, what=_what(request, recorded)
    )
    return model.EmergencyAnswer(
        revision=revision,
        governs=GOVERNS,
        make_safe=MAKE_SAFE,
        cautions=CAUTIONS,
        network=network_facts(network),
        provenance=provenance_of(network),
        asked=request.asked,
        lon=float(degrees[0]),
        lat=float(degrees[1]),
        location_error_m=request.location_error_m,
        keep_away_m=rules.keep_away_m,
        hits=_hit_mains(tables, hits.mains),
        services=_hit_services(tables, hits.services, failed),
        rings=(*(one.ring for one in recorded), *fewer),
        next_rings=tuple(following),
        customers=customers_of(network, recorded, on_service),
        notify=notified(tables, meters),
        nearby=addresses_nearby(tables, hits),
        nearby_m=rules.nearby_m,
        stations=stations_near(tables, hits),
        escape=_escape(tables, hits),
        failed_valves=request.failed_valves,
        doubts=(*hits.doubts, *doubts_near(tables, hits, [one.outcome for one in recorded])),
        log=(*log, entry),
    )


def _fewer(
    tables: EmergencyTables,
    hits: Hits,
    question: RingQuestion,
    crews: int,
    failed: frozenset[int],
    least: RecordedRing,
) -> list[model.Ring]:
    """Return the ring that keeps more meters on, where there is one and it shuts no more stations."""
    chosen = fewer_meters_ring(question, crews, tables.rules.emergency.meters_per_minute, failed)
    ring = ring_of(tables, hits, chosen, least.ring.kind, "fewer meters off").ring
    is_better = ring.meters < least.ring.meters
    return [ring] if is_better and len(ring.stations_to_shut) <= len(least.ring.stations_to_shut) else []


def _if_one_fails(
    tables: EmergencyTables,
    hits: Hits,
    question: RingQuestion,
    crews: int,
    failed: frozenset[int],
    ring: RecordedRing,
) -> list[model.NextRing]:
    """Return the ring that is ready for each valve of a ring that may fail to shut."""
    found = []
    for stop in ring.ring.stops:
        if stop.valve_id:
            more = failed | _pieces_of_valves(tables.network, [stop.valve_id])
            following = ring_of(
                tables, hits, quickest_ring(question, crews, more), ring.ring.kind, "least minutes"
            )
            found.append(model.NextRing(if_failed=(stop.valve_id,), ring=following.ring))
    return found


def _pieces_of_valves(network: Network, names: Iterable[str]) -> frozenset[int]:
    """Return the pieces of valves by id.

    Raises
    ------
    BadInputError
        When there is none of that id.
    """
    found = set()
    for name in names:
        row = network.valves.id.find(name)
        if row < 0:
            raise BadInputError(
                f"--valve-failed: the network has no valve {quoted(name)}; name one by its id"
            )
        found.add(int(network.valves.piece[row]))
    return frozenset(found - {-1})


def _what(request: EmergencyRequest, rings: Iterable[RecordedRing]) -> str:
    failed = f"; failed: {', '.join(request.failed_valves)}" if request.failed_valves else ""
    words = [
        f"{one.ring.kind}: {_counted(len(one.ring.stops), 'stop')}, {one.ring.minutes:g} min, "
        f"{_counted(one.ring.meters, 'meter')}"
        for one in rings
    ]
    return f"asked for {request.asked}{failed}; {'; '.join(words)}"


def _counted(n: int, one: str) -> str:
    return f"{n} {one}" if n == 1 else f"{n} {one}s"


def _hit_mains(tables: EmergencyTables, hits: Iterable[HitPlace]) -> tuple[model.HitMain, ...]:
    network, pipes = tables.network, tables.network.pipes
    outlets = supply_of_parts(network, tables.part, int(tables.part.max(initial=-1)) + 1).outlet_high_pa_gauge
    rows = []
    for hit in hits:
        node = int(network.pieces.from_node[network.pieces.rows_of(hit.pipe)[0]])
        outlet_pa = float(outlets[tables.part[node]])
        lon, lat = lon_lat(network, np.array([[hit.x_m, hit.y_m]]))[0].tolist()
        rows.append(
            model.HitMain(
                main_id=pipes.id[hit.pipe],
                chainage_m=hit.chainage_m,
                distance_m=hit.distance_m,
                system=network.systems[int(pipes.system[hit.pipe])],
                street=pipes.street[hit.pipe],
                material=Material(int(pipes.material[hit.pipe])).word,
                od_mm=float(pipes.od_m[hit.pipe]) * MM_PER_M,
                set_outlet_mbar=None if np.isnan(outlet_pa) else outlet_pa / PA_PER_MBAR,
                confirmed=hit.confirmed,
                x=hit.x_m,
                y=hit.y_m,
                lon=lon,
                lat=lat,
            )
        )
    return tuple(rows)


def _hit_services(
    tables: EmergencyTables, services: Iterable[HitPlace], failed: frozenset[int]
) -> tuple[model.HitService, ...]:
    network = tables.network
    valves, usable = network.valves, usable_valves(network)
    rows = []
    for hit in services:
        own = np.flatnonzero(valves.pipe == hit.pipe)
        curb = int(own[np.argmin(valves.chainage_m[own])]) if len(own) else -1
        mains = main_of_service(network, hit.pipe)
        rows.append(
            model.HitService(
                service_id=network.pipes.id[hit.pipe],
                distance_m=hit.distance_m,
                main_id=network.pipes.id[mains[0][0]] if mains else "",
                curb_valve=valves.id[curb] if curb >= 0 else "",
                curb_valve_usable=curb >= 0 and bool(usable[curb]) and int(valves.piece[curb]) not in failed,
                customers=tuple(network.customers.id[row] for row in _customers_on(network, [hit]).tolist()),
            )
        )
    return tuple(rows)


def _customers_on(network: Network, services: Iterable[HitPlace]) -> Ints:
    """Return the rows of all customers attached beyond the mains on some services, ascending."""
    customers = network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    found = [np.zeros(0, dtype=np.int64)]
    for hit in services:
        inside, _ = nodes_of_service(network, hit.pipe)
        found.append(owner[np.isin(customers.attach_node, inside)])
    return np.unique(np.concatenate(found))


def _escape(tables: EmergencyTables, hits: Hits) -> tuple[model.EscapeRange, ...]:
    network, rules = tables.network, tables.rules
    gas, ground_k = gas_of(rules), rules.gas.ground_temp_c + ZERO_CELSIUS_K
    rows = []
    for hit, main in zip(hits.mains, _hit_mains(tables, hits.mains), strict=True):
        if main.set_outlet_mbar is not None:
            bore_m = float(network.pipes.bore_m[hit.pipe])
            pressure_pa = main.set_outlet_mbar * PA_PER_MBAR
            rows.append(
                escape_range(main.main_id, bore_m, rules.emergency.holes_mm, pressure_pa, gas, ground_k)
            )
    return tuple(rows)
