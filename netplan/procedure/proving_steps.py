"""Before anything is touched: the draft signed, weather, records, stations, gauges, tappings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import Excavation, Gauge, InDoubt, Stop
from netplan.planfile.naming import served_words
from netplan.procedure.fallback_steps import dig_fallbacks
from netplan.procedure.step_case import OrderCase, place_words, tapping_words
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["DRAFT_NOTICE", "prove", "prove_doubts", "tap"]


DRAFT_NOTICE = (
    "This order is a draft for the operator's competent person. It is no procedure and no permit: "
    "the operator's own procedure, permits and the makers' instructions govern every step."
)
_PROOF: Final = {
    "valves": ("valve", "find it and prove whether it is open or closed", Who.STOPS),
    "mains": ("main", "prove by trial hole or tracing whether it is joined there", Who.STOPS),
    "services": ("service", "prove by trial hole or tracing what it is joined to", Who.STOPS),
    "customers": ("customer", "prove which main and service feed it", Who.METERS),
}
"""Name of a record, how it is proved, and who does it, by layer."""
_OTHERWISE: Final = "No stop goes in: correct the record and plan again."


def prove(case: OrderCase) -> Iterator[StepDraft]:
    """Yield what has to hold before the first hole in the main."""
    yield StepDraft(
        Stage.SIGNED,
        f"{DRAFT_NOTICE} Check, change and sign it; hold the permits; tell network control; "
        "notices delivered and priority customers spoken to.",
        Who.COMPETENT,
        "Do not begin.",
        hold=True,
    )
    yield _weather(case)
    yield from prove_doubts(case)
    for hole, stops in case.holes.items():
        yield _hole(hole, stops, case.excavation(hole))
    yield from map(_excavation, case.without_stop)
    unholed = tuple(stop for stop in case.stops if not stop.hole_id)
    if unholed:
        yield _hole("", unholed, None)
    yield from dig_fallbacks(case)
    yield _stations(case)
    yield from _gauges(case)


def _hole(hole: str, stops: tuple[Stop, ...], excavation: Excavation | None) -> StepDraft:
    where = "; ".join(f"{stop.id} on {place_words(stop)}" for stop in stops)
    doubts = "".join(f" Doubtful: {stop.confidence_note}." for stop in stops if stop.confidence_note)
    valves = tuple(stop.valve_id for stop in stops if stop.valve_id)
    begin = f"At {hole}, {where}:" if hole else f"{where}:"
    if len(valves) == len(stops):
        dig = (
            "; dig the pit for its zone vent and its gauge and prove that nothing lies where they go"
            if excavation
            else ""
        )
        proof = f"find the valve, prove which main it closes, and turn it a little and back{dig}."
        if_not = "A valve that is not found, is stiff or lacks room beside it is no stop: plan again."
    else:
        proof = (
            "dig the trial hole; prove material, outside diameter, wall and depth, that no fitting, joint, "
            "service or old squeeze mark lies in the assembly, and that no other main is mistaken for it."
        )
        if_not = "Plan again from what was found; do not move a stop by eye."
    return StepDraft(
        Stage.RECORDS,
        f"{begin} {_first(excavation)}{proof}{_asks(excavation)}{doubts}",
        Who.STOPS,
        if_not,
        uses=tuple(
            key for key in (hole, *(stop.id for stop in stops), *(s.main_id for s in stops), *valves) if key
        ),
        hold=True,
    )


def _excavation(one: Excavation) -> StepDraft:
    served = served_words(one)
    return StepDraft(
        Stage.RECORDS,
        f"At {one.id} on main {one.main_id}{f', {one.street}' if one.street else ''}, for {served}: "
        f"{_first(one)}dig; prove material, outside diameter and depth, and that no other main is mistaken "
        f"for it.{_asks(one)}",
        Who.STOPS,
        "Plan again from what was found; do not move a place by eye.",
        uses=(one.id, one.main_id),
        hold=True,
    )


def _first(excavation: Excavation | None) -> str:
    """Return what comes before anything is dug."""
    return f"{excavation.locate_first}; " if excavation else ""


def _asks(excavation: Excavation | None) -> str:
    """Return how an excavation is held open and guarded."""
    if excavation is None:
        return ""
    shoring = " Shore it." if excavation.shoring else ""
    return f"{shoring} Traffic: {'; '.join(excavation.traffic)}."


def _weather(case: OrderCase) -> StepDraft:
    limited = [b.id for b in case.option.bypasses if b.minimum_air_temp_c is not None]
    coldest = (
        " and not below the coldest weather that each bypass holds for (bypass sheet)" if limited else ""
    )
    return StepDraft(
        Stage.WEATHER,
        f"Read the forecast for the whole window: the air not colder than planned{coldest}; "
        "no lightning near the vents.",
        Who.CONTROL,
        "Put the work off, or plan again for the colder weather.",
        uses=tuple(limited),
        hold=True,
    )


def _stations(case: OrderCase) -> StepDraft:
    stations = case.carrying
    shut = case.option.shut_in
    named = f" {', '.join(stations)}" if stations else ""
    idle = f" Shut in, carrying nothing: {', '.join(shut)}." if shut else ""
    return StepDraft(
        Stage.STATIONS,
        f"Check the regulator stations{named} that carry the network during the work: outlet pressure as "
        "planned, spare capacity, no other work on them; control lines and sensing points lie outside the "
        f"zone and stay live.{idle}",
        Who.CONTROL,
        "No stop goes in: a station whose sensing point is cut off drives wide open.",
        uses=(*stations, *shut),
        hold=True,
    )


def _gauges(case: OrderCase) -> Iterator[StepDraft]:
    for gauge in case.option.gauges:
        if gauge.customer:
            yield _gauge_at_meter(gauge)
            continue
        yield StepDraft(
            Stage.GAUGES,
            f"Fit gauge {gauge.id} on main {gauge.main_id}, read it and have it watched without a break "
            "until all stops are out; warning and abort readings on the gauge sheet.",
            Who.WATCH,
            "Find out why the network is not as planned before going on.",
            uses=(gauge.id, gauge.main_id),
            expect_mbar=gauge.normal_mbar,
            expect_at=gauge.id,
        )
    if not case.option.gauges:
        yield StepDraft(
            Stage.GAUGES,
            "No gauge is planned: as recorded no stop has gas on its live side. Once the outlets of the "
            "stops are drilled, read on the live side of each that there is no pressure.",
            Who.WATCH,
            "The records are wrong: set no stop, find what feeds it, and plan again.",
            uses=tuple(stop.id for stop in case.stops),
            hold=True,
        )


def _gauge_at_meter(gauge: Gauge) -> StepDraft:
    return StepDraft(
        Stage.GAUGES,
        f"Fit gauge {gauge.id} to the test point of the meter of customer {gauge.customer}, the lowest kept "
        "inlet that the stops touch; read it and have it watched without a break until all stops are out; "
        "warning and abort readings on the gauge sheet.",
        Who.WATCH,
        "Find out why the network is not as planned before going on.",
        uses=(gauge.id, gauge.customer),
        expect_mbar=gauge.normal_mbar,
        expect_at=gauge.id,
    )


def tap(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the tappings of the stops, each tested before it is drilled."""
    for stop in case.stops:
        words = tapping_words(stop.tappings)
        if words:
            yield StepDraft(
                Stage.TAPPINGS,
                f"Fit the outlets of {stop.id} in order from the work outwards ({words}), test every outlet "
                "and its valve before drilling, then drill under pressure.",
                Who.STOPS,
                "Mend or cap the outlet; where it cannot be used, plan this stop again.",
                uses=tuple(key for key in (stop.id, stop.hole_id) if key),
            )
    yield from _purge_outlets(case)


def _purge_outlets(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the tapping of every purge point that is at no tapping of a stop, whatever shares its hole."""
    tapped = {
        (tapping.main_id or stop.main_id, tapping.chainage_m)
        for stop in case.stops
        for tapping in stop.tappings
    }
    for point in case.option.purge.points:
        holes = case.holes_of("purge point", point.id)
        if (point.main_id, point.chainage_m) not in tapped and holes:
            yield StepDraft(
                Stage.TAPPINGS,
                f"Tap main {point.main_id} in {holes[0]} for purge point {point.id}: test the "
                "outlet and its valve before drilling, then drill under pressure.",
                Who.STOPS,
                "Mend or cap the outlet; where it cannot be used, plan again.",
                uses=(point.id, *holes, point.main_id),
            )


def prove_doubts(case: OrderCase) -> Iterator[StepDraft]:
    """Yield a hold for each record that a priority customer hangs on, then one step for all others."""
    by_record: dict[tuple[str, str], list[InDoubt]] = {}
    for row in case.option.in_doubt:
        by_record.setdefault((row.layer, row.record_id), []).append(row)
    held = {key: rows for key, rows in by_record.items() if any(row.priority for row in rows)}
    for key in sorted(held):
        yield _hold(key, held[key])
    others = sorted(by_record.keys() - held.keys())
    if others:
        named = ", ".join(f"{_PROOF[layer][0]} {record}" for layer, record in others)
        customers = {row.id for key in others for row in by_record[key]}
        yield StepDraft(
            Stage.RECORDS,
            f"Prove the other records in doubt (page of customers in doubt): {named}.",
            Who.STOPS,
            "Where a record is otherwise or cannot be proved, treat the customers that hang on it as off, or "
            "plan again.",
            uses=(*dict.fromkeys(record for _, record in others), *sorted(customers)),
        )


def _hold(key: tuple[str, str], rows: list[InDoubt]) -> StepDraft:
    layer, record = key
    name, proof, who = _PROOF[layer]
    priority = ", ".join(
        f"{row.priority.replace('_', ' ')} {row.address or row.id} ({row.id})" for row in rows if row.priority
    )
    return StepDraft(
        Stage.RECORDS,
        f"Prove record {name} {record}: {proof}. If it is otherwise than planned, gas is lost at {priority}.",
        who,
        _OTHERWISE,
        uses=tuple(dict.fromkeys((record, *(row.id for row in rows)))),
        hold=True,
    )
