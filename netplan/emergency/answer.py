"""The first answer to an emergency: complete, by connectivity alone, before any pressure is solved."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, datetime
from typing import Final

import numpy as np

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, ZERO_CELSIUS_K
from netplan.emergency.answer_records import (
    RecordedRing,
    addresses_nearby,
    customers_of,
    customers_on,
    material_words,
    notified,
    ring_of,
    stations_near,
)
from netplan.emergency.doubts import doubts_near
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.escape_flow import escape_range
from netplan.emergency.hit_places import HitPlace, Hits
from netplan.emergency.next_rings import EmergencyRequest, least_rings, pieces_of_valves
from netplan.emergency.ring_choice import fewer_meters_ring
from netplan.emergency.ring_search import RingQuestion
from netplan.emergency.stop_seconds import is_usable
from netplan.network.linear_reference import lon_lat, piece_at
from netplan.network.service_mains import curb_valve_of, main_of_service
from netplan.network.station_pressures import supply_of_parts
from netplan.planfile import emergency_answer as model
from netplan.planfile.network_facts import network_facts, provenance_of
from netplan.rules.gas_of_rules import gas_of

__all__ = ["CAUTIONS", "GOVERNS", "MAKE_SAFE", "first_answer"]

GOVERNS: Final = (
    "The operator's emergency procedure and the emergency services govern. This is help from records: it "
    "permits nobody to go near gas."
)
MAKE_SAFE: Final = (
    "Make safe first: people out and away, let nobody back in.",
    "No ignition: no flame, switch, telephone or engine near gas; call the fire service.",
    "Check buildings, cellars, ducts and chambers round the hit for gas; of a service its indoor end too.",
    "Do not put out burning gas: shut it off, and cool what stands beside it.",
)
CAUTIONS: Final = (
    "Minutes come from the rules, without travel; a place not yet dug counts its full time.",
    "No stop within the keep-away distance is offered; stay away until the competent person permits.",
    "A ring counts as shut when gauges and the escape show it, not when the last stop is shut.",
    "No gas back until every meter is shut: then purge, test and relight by the operator's procedure.",
    "Stations are shut by network control alone, and opened again by its written order, tested and purged.",
    "Records may be wrong or late: prove every main, valve and service on site.",
)


def first_answer(
    tables: EmergencyTables,
    hits: Hits,
    request: EmergencyRequest,
    *,
    revision: int = 1,
    log: Sequence[model.LogEntry] = (),
) -> model.EmergencyAnswer:
    """Return the whole answer by connectivity alone: rings, who loses gas, what escapes.

    The rings that are ready in case valves fail are added to it by `next_rings.with_next_rings`.

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
    failed = pieces_of_valves(network, request.failed_valves)
    least = least_rings(tables, hits, request)
    recorded = [one.recorded for one in least]
    fewer = [
        ring
        for one in least
        for ring in _fewer(tables, hits, one.question, request.crews, failed, one.recorded)
    ]
    on_service = customers_on(network, hits.services)
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
        services=_hit_services(tables, hits.services, request.failed_valves),
        rings=(*(one.ring for one in recorded), *fewer),
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
    chosen = fewer_meters_ring(
        question,
        crews,
        tables.rules.emergency.meters_per_minute,
        failed,
        least_seconds=least.chosen.cut.seconds if crews == 1 else None,
    )
    if chosen.cut.stops == least.chosen.cut.stops and chosen.cut.supplies == least.chosen.cut.supplies:
        return []
    ring = ring_of(tables, hits, chosen, least.ring.kind, "fewer meters off").ring
    is_better = ring.meters < least.ring.meters
    return [ring] if is_better and len(ring.stations_to_shut) <= len(least.ring.stations_to_shut) else []


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
        node = int(network.pieces.from_node[piece_at(network, hit.pipe, hit.chainage_m)])
        outlet_pa = float(outlets[tables.part[node]])
        lon, lat = lon_lat(network, np.array([[hit.x_m, hit.y_m]]))[0].tolist()
        rows.append(
            model.HitMain(
                main_id=pipes.id[hit.pipe],
                chainage_m=hit.chainage_m,
                distance_m=hit.distance_m,
                system=network.systems[int(pipes.system[hit.pipe])],
                street=pipes.street[hit.pipe],
                material=material_words(network, hit.pipe),
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
    tables: EmergencyTables, services: Iterable[HitPlace], failed: Collection[str]
) -> tuple[model.HitService, ...]:
    network = tables.network
    valves, rows = network.valves, []
    for hit in services:
        mains = main_of_service(network, hit.pipe)
        curb = curb_valve_of(network, hit.pipe)
        away_m = None
        if curb >= 0:
            away_m = math.hypot(valves.x_m[curb] - hit.x_m, valves.y_m[curb] - hit.y_m) / network.scale
        far = away_m is not None and away_m > tables.rules.emergency.keep_away_m
        rows.append(
            model.HitService(
                service_id=network.pipes.id[hit.pipe],
                distance_m=hit.distance_m,
                main_id=network.pipes.id[mains[0][0]] if mains else "",
                curb_valve=valves.id[curb] if curb >= 0 else "",
                curb_valve_usable=far and is_usable(valves, curb) and valves.id[curb] not in failed,
                curb_valve_distance_m=away_m,
                customers=tuple(network.customers.id[row] for row in customers_on(network, [hit]).tolist()),
            )
        )
    return tuple(rows)


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
