"""The beginning of the day: forecast, stations, gauges, and the readings before anything is changed."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Gauge
from netplan.planfile.naming import NORMAL_STATE
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = ["begin_day"]

_NOT_AS_PLANNED = "Find out why the network is not as planned before going on."


def begin_day(case: OrderCase) -> Iterator[StepDraft]:
    """Yield what is read and checked before the network is changed."""
    yield _weather(case)
    yield _stations(case)
    yield from _gauges(case)
    if case.option.gauges:
        yield StepDraft(
            Stage.BASELINE,
            f"Read {', '.join(case.gauge_ids)} before anything is changed: each steady and in its band for "
            f"this hour and this air temperature; write every reading down with its time.",
            Who.WATCH,
            f"Change nothing. {_NOT_AS_PLANNED}",
            uses=case.gauge_ids,
            hold=True,
            expect_mbar=case.option.gauges[0].normal_mbar,
            expect_at=case.gauge_ids[0],
            minutes=case.rules.duration.baseline,
            needs=in_state("drilled", *(case.items.tapping_of_gauge(one) for one in case.option.gauges)),
            reads=case.gauge_ids,
            state=NORMAL_STATE,
        )


def _weather(case: OrderCase) -> StepDraft:
    limited = [b.id for b in case.option.bypasses if b.minimum_air_temp_c is not None]
    coldest = (
        " and not below the coldest weather that each bypass holds for (bypass sheet)" if limited else ""
    )
    return StepDraft(
        Stage.WEATHER,
        "Brief the crews on this order and its holds. Read the forecast for the whole window: the air not "
        f"colder than planned{coldest}; "
        "no lightning near the vents.",
        Who.CONTROL,
        "Put the work off, or plan again for the colder weather.",
        uses=tuple(limited),
        hold=True,
        minutes=case.rules.duration.briefing,
    )


def _stations(case: OrderCase) -> StepDraft:
    stations = case.carrying
    shut = case.option.shut_in
    named = f" {', '.join(stations)}" if stations else ""
    s, carry, they = ("", "carries", "it") if len(stations) == 1 else ("s", "carry", "them")
    idle = f" Shut in, carrying nothing: {', '.join(shut)}." if shut else ""
    return StepDraft(
        Stage.STATIONS,
        f"Check the regulator station{s}{named} that {carry} the network during the work: outlet pressure as "
        f"planned, spare capacity, no other work on {they}; control lines and sensing points lie outside the "
        f"zone and stay live. Inlet valves are rarely on record: confirm on site where they are.{idle}",
        Who.CONTROL,
        "No stop goes in: a station whose sensing point is cut off goes to full flow: overpressure risk.",
        uses=(*stations, *shut),
        hold=True,
    )


def _gauges(case: OrderCase) -> Iterator[StepDraft]:
    for gauge in case.option.gauges:
        tapping = case.items.tapping_of_gauge(gauge)
        yield StepDraft(
            Stage.GAUGES,
            f"Fit gauge {gauge.id} {_at(gauge, tapping.id if tapping else '')}; read it and have it watched "
            "without a break until all stops are out; each step gives the warning and abort readings.",
            Who.WATCH,
            _NOT_AS_PLANNED,
            uses=tuple(
                key
                for key in (gauge.id, gauge.customer or gauge.main_id, tapping.id if tapping else "")
                if key
            ),
            expect_mbar=gauge.normal_mbar,
            expect_at=gauge.id,
            needs=in_state("drilled", tapping),
            reads=(gauge.id,),
            state=NORMAL_STATE,
        )
    for zone_gauge in case.option.zone_gauges:
        tapping = case.items.find("tapping", zone_gauge.tapping_id)
        yield StepDraft(
            Stage.GAUGES,
            f"Fit gauge {zone_gauge.id} on the zone, on its outlet {zone_gauge.tapping_id} on main "
            f"{zone_gauge.main_id}: read it while stops go in, in the let-by tests and until gas is back.",
            Who.WATCH,
            _NOT_AS_PLANNED,
            uses=(zone_gauge.id, zone_gauge.tapping_id, zone_gauge.main_id),
            needs=in_state("drilled", tapping),
        )
    if not case.option.gauges:
        yield StepDraft(
            Stage.GAUGES,
            "No gauge is planned: the records show no gas on the live side of any stop. Check at the "
            "drilled outlets of the stops, on the live side of each, that there is no pressure.",
            Who.WATCH,
            "The records are wrong: set no stop, find what feeds it, and plan again.",
            uses=tuple(stop.id for stop in case.stops),
            hold=True,
            minutes=case.rules.duration.baseline,
            state=NORMAL_STATE,
        )


def _at(gauge: Gauge, tapping: str) -> str:
    if gauge.customer:
        return (
            f"to the test point of the meter of customer {gauge.customer}, the lowest kept inlet that the "
            f"stops affect"
        )
    return f"on main {gauge.main_id}{f', on its outlet {tapping}' if tapping else ''}"
