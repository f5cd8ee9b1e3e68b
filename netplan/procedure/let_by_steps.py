"""Let-by tests: each shows what one barrier lets by, or a declared sum, before any air goes into a zone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal

from netplan.planfile.model import LetByTest, OrderItem, Stop
from netplan.planfile.naming import stop_in_state
from netplan.planfile.station_words import inlet_words, is_inlet_barrier
from netplan.procedure.hours_by_counts import (
    L_PER_M3,
    MBAR_PER_ATMOSPHERE,
    PILOT_L_MIN,
    pilot_minutes,
)
from netplan.procedure.step_case import OrderCase, fallback_words
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import ZoneOrder, live_mbar, read_beside, single_barrier, zones_in_order

__all__ = ["test_for_let_by"]


def test_for_let_by(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the tests of every zone: T0, venting, T3 of single barriers, T1 and T2 of each double stop."""
    zones = zones_in_order(case)
    for zone in zones:
        yield _shut_in(case, zone)
    for zone in zones:
        yield _vent_zone(case, zone)
        doubles = [stop for stop in zone.stops if len(case.items.barriers(stop.id)) > 1]
        for stop in doubles:
            yield _vent_space(case, zone, stop)
        yield _single(case, zone)
        for stop in doubles:
            yield _outer(case, zone, stop)
        for stop in doubles:
            yield from _inner(case, zone, stop)


def _state(case: OrderCase) -> str:
    return stop_in_state(case.stops[-1].id)


def _barriers(case: OrderCase, stops: Sequence[Stop]) -> tuple[OrderItem, ...]:
    return tuple(barrier for stop in stops for barrier in case.items.barriers(stop.id))


def _between(case: OrderCase, stops: Sequence[Stop]) -> tuple[OrderItem, ...]:
    return tuple(vent for stop in stops if (vent := case.items.vent(stop.id)))


def _greatest_fall(case: OrderCase, zone: ZoneOrder, minutes: float) -> tuple[float | None, str]:
    """Return how far a zone may fall while it is watched [mbar], and why: what a pilot light draws.

    A zone so small that a pilot would empty it may fall by half its pressure at most. One that no stop has
    gas behind holds what stood in it: at least what a meter inlet must have.
    """
    if not zone.volume_m3:
        return None, ""
    pilot = MBAR_PER_ATMOSPHERE * PILOT_L_MIN * minutes / (zone.volume_m3 * L_PER_M3)
    lives = [live for stop in zone.stops if (live := live_mbar(stop))]
    half = min(lives, default=case.rules.pressure.minimum_mbar) / 2.0
    if pilot <= half:
        return (
            pilot,
            f" The limit is what {PILOT_L_MIN:g} l/min, a pilot light, takes out of the zone in that time.",
        )
    of = "its pressure" if lives else "the least that a meter inlet must have"
    return (
        half,
        f" The limit is half {of}: {PILOT_L_MIN:g} l/min, a pilot light, takes more in that time.",
    )


def _shut_in(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    rules = case.rules
    minutes = pilot_minutes(zone.volume_m3, rules)
    fall, why = _greatest_fall(case, zone, minutes)
    return StepDraft(
        Stage.LET_BY,
        f"T0, {zone.ident}: nobody in the trench; every vent of the zone and of the spaces between barriers "
        f"shut, the zone at live pressure; let the pressure settle, then read {_gauge(zone)}. A fall means "
        f"a meter left on or a branch missed. A steady reading proves nothing, because let-by can hide the "
        f"draw: the tally decides."
        f"{why}",
        Who.STOPS,
        "Vent nothing: find what is drawing gas, reconcile the tally again, then repeat T0.",
        uses=(*zone.gauge_ids, *(stop.id for stop in zone.stops)),
        hold=True,
        minutes=rules.duration.settle + minutes,
        needs=(
            *in_state("set", *_barriers(case, zone.stops)),
            *in_state("shut", *zone.vents, *_between(case, zone.stops)),
            *in_state("sealed", *case.items.meters_off()),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=_state(case),
        trench="empty",
        let_by=LetByTest(name="T0", barriers=(), limit_mbar=fall, minutes=minutes),
    )


def _gauge(zone: ZoneOrder) -> str:
    return f"gauge {zone.gauge.id}" if zone.gauge else "a gauge on the zone"


def _vent_zone(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    stack = zone.stack
    through = stack.id if stack else "the zone vents of the stops"
    return StepDraft(
        Stage.VENT,
        f"Vent {zone.ident} through {through}, before any space between barriers: stack upright, "
        "earthed, with flame arrester, clear of ignition, openings and air intakes; ignition sources out, "
        "extinguishers ready, people kept away.",
        Who.STOPS,
        "If the pressure does not fall to zero, or rises again, a stop lets by: do not go on.",
        uses=tuple(key for key in (stack.id if stack else "", *zone.gauge_ids) if key),
        hold=True,
        expect_mbar=0.0,
        expect_at=zone.gauge.id if zone.gauge else next((stop.id for stop in zone.stops), ""),
        minutes=case.rules.duration.vent,
        needs=in_state("set", *_barriers(case, zone.stops)),
        changes=(*in_state("open", stack), *in_state("vented", zone.part)),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=_state(case),
        trench="empty",
    )


def _vent_space(case: OrderCase, zone: ZoneOrder, stop: Stop) -> StepDraft:
    vent = case.items.vent(stop.id)
    at = vent.id if vent else "its vent"
    if is_inlet_barrier(stop):
        words = (
            f"Vent the space between {_inlets(stop)} and valve {stop.valve_id} through {at} to a stack "
            "outside. Lock and tag both valves and the open vent; the keys stay with the competent person. "
        )
    else:
        words = f"Vent the space between the barriers of {stop.id} through {at}, on a stack of its own. "
    behind = [key for one in stop.shuts_in for key in (one.station_id, one.inlet_valve_id)]
    return StepDraft(
        Stage.SPACE_VENTED,
        f"{words}Keep it open until gas goes back, except in the tests that name it.",
        Who.STOPS,
        f"If the flow does not die down, {stop.id} lets by: do not go on.",
        uses=tuple(
            dict.fromkeys(key for key in (stop.id, at if vent else "", stop.valve_id, *behind) if key)
        ),
        hold=is_inlet_barrier(stop),
        minutes=case.rules.duration.vent,
        needs=in_state("vented", zone.part),
        changes=(*in_state("open", vent), *in_state("vented", case.items.space(stop.id))),
        trench="empty",
    )


def _inlets(stop: Stop) -> str:
    return " and ".join(f"{inlet_words(one)} of station {one.station_id}" for one in stop.shuts_in)


def _single(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    """Return T3: what single barriers let by; without one, a look for a feed that nobody knows of."""
    tested = [(stop, barrier) for stop in zone.stops if (barrier := single_barrier(case, stop))]
    named = ", ".join(barrier.id for _, barrier in tested)
    barriers = tuple(barrier for _, barrier in tested)
    one_limit = " let by together, against one limit" if len(tested) > 1 else " lets by"
    shows = (
        f"its flow shows what {named}{one_limit}. Go by the flow, not by a rise of pressure."
        if tested
        else "no flow may show there, because no barrier has gas behind it now: any flow comes from an "
        "unknown feed."
    )
    return StepDraft(
        Stage.LET_BY,
        f"T3, {zone.ident}: the zone open to its stack, every space between barriers open; a meter or "
        f"bubbler on "
        f"{_meter(zone)}: {shows}",
        Who.STOPS,
        _over(case, [stop for stop, _ in tested]),
        uses=tuple(key for key in (*(stop.id for stop, _ in tested), *_meter_ids(zone)) if key)
        or tuple(stop.id for stop in zone.stops),
        hold=True,
        expect_mbar=0.0,
        expect_at=zone.gauge.id if zone.gauge else next((stop.id for stop in zone.stops), ""),
        minutes=case.rules.duration.let_by,
        needs=(*in_state("open", zone.stack, *_between(case, zone.stops)), *in_state("set", *barriers)),
        changes=in_state("accepted", *barriers),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=_state(case),
        trench="empty",
        let_by=_test(case, "T3", barriers, zone.stack, [stop for stop, _ in tested]) if tested else None,
    )


def _meter(zone: ZoneOrder) -> str:
    return zone.stack.id if zone.stack else "the zone vent"


def _meter_ids(zone: ZoneOrder) -> tuple[str, ...]:
    return (zone.stack.id,) if zone.stack else ()


def _test(
    case: OrderCase,
    name: Literal["T1", "T2", "T3"],
    barriers: Sequence[OrderItem],
    meter_at: OrderItem | None,
    loaded: Sequence[Stop],
) -> LetByTest:
    """Return a test that shows barriers, with the least difference across any of them [mbar]."""
    rules = case.rules.let_by
    # Where no gas stands behind an inner barrier nitrogen is put there; nothing loads an outer one then.
    live = live_mbar if name != "T2" else lambda stop: _held_mbar(case, stop)
    limit = {"T1": rules.outer_l_min, "T2": rules.inner_l_min, "T3": rules.single_l_min}[name]
    return LetByTest(
        name=name,
        barriers=tuple(barrier.id for barrier in barriers),
        is_sum=len(barriers) > 1,
        meter_at=meter_at.id if meter_at else "",
        across_mbar=min((value for stop in loaded if (value := live(stop))), default=None),
        limit_l_min=limit,
        limit_mbar=rules.space_mbar if name == "T1" else None,
        resolution_l_min=limit * rules.resolution_share,
        zone_mbar=0.0,
        minutes=case.rules.duration.let_by,
    )


def _over(case: OrderCase, stops: Sequence[Stop]) -> str:
    """Return what to do over a limit: one reset, or tightening, a new test, then the fallback."""
    if not stops:
        return "Stop here: find what feeds the zone, and plan again."
    return " ".join(
        f"{stop.id} over the limit: {_ONCE[stop.kind]}; if it still passes gas: "
        f"{fallback_words(case.fallback(stop.id, 'will not set'))}."
        for stop in stops
    )


_ONCE: Final = {
    "bag": "reset it once (this voids every test it has passed and those at the zone vent) and test again",
    "squeeze": "tighten it within the stops of its tool, without releasing it (this voids its tests), and "
    "test again",
    "valve": "work it shut once more (this voids its tests) and test again",
}


def _outer(case: OrderCase, zone: ZoneOrder, stop: Stop) -> StepDraft:
    outer, vent = case.items.barriers(stop.id)[0], case.items.vent(stop.id)
    inlet = is_inlet_barrier(stop)
    what = _inlets(stop) if inlet else outer.id
    at_least = ", at no less than the set pressure of the station" if inlet else ""
    return StepDraft(
        Stage.LET_BY,
        f"T1, {outer.id}: {zone.ident} open to its stack with its gauge at zero, so that the inner barrier "
        f"carries no pressure; every other space open; meter on {vent.id if vent else 'its vent'}: the flow "
        f"shows what {what} lets by{at_least}. Measure the pressure in the space too.",
        Who.STOPS,
        "The inlet lets by and cannot serve as a barrier: stand down and plan again."
        if inlet
        else _over(case, [stop]),
        uses=tuple(key for key in (stop.id, vent.id if vent else "", *zone.gauge_ids) if key),
        hold=True,
        minutes=case.rules.duration.let_by,
        needs=(*in_state("open", zone.stack, *_between(case, zone.stops)), *in_state("set", outer)),
        changes=in_state("accepted", outer),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=_state(case),
        trench="empty",
        let_by=_test(case, "T1", [outer], vent, [stop]),
    )


def _inner(case: OrderCase, zone: ZoneOrder, stop: Stop) -> Iterator[StepDraft]:
    """Yield T2: the space raised by a hose, the test at the zone's vent, the hose off and its ends capped."""
    items = case.items
    outer, inner = items.barriers(stop.id)[0], items.barriers(stop.id)[-1]
    vent, hose, space = items.vent(stop.id), items.test_hose(stop.id), items.space(stop.id)
    name, at = hose.id if hose else "a hose", vent.id if vent else "its vent"
    gauges = read_beside(case, stop)
    ids = (stop.id, *(item.id for item in (vent, hose) if item), *gauges)
    state = _state(case)
    minutes = case.rules.duration
    yield StepDraft(
        Stage.LET_BY,
        f"T2, {inner.id}, made ready: shut {at}, then couple {name} at the gauge outlet of {stop.id} and "
        f"{_held(stop)}, so that the outer barrier carries no pressure.",
        Who.STOPS,
        f"Shut {name} again and open {at}.",
        uses=ids,
        minutes=minutes.vent,
        needs=(*in_state("open", zone.stack), *in_state("accepted", outer)),
        changes=(*in_state("shut", vent), *in_state("open", hose), *in_state("live", space)),
        reads=(*gauges, *zone.gauge_ids),
        state=state,
        trench="empty",
    )
    # A single barrier has gas behind it now as before: it is part of the reading.
    beside = [(one, barrier) for one in zone.stops if (barrier := single_barrier(case, one))]
    together = f", with {', '.join(barrier.id for _, barrier in beside)} in the reading" if beside else ""
    yield StepDraft(
        Stage.LET_BY,
        f"T2, {inner.id}: meter on {_meter(zone)}, not on the hose, where it would miss what the outer "
        f"barrier lets by; every other space open: the flow shows what {inner.id} lets by{together}.",
        Who.STOPS,
        _over(case, [stop]),
        uses=(*ids, *_meter_ids(zone), *zone.gauge_ids),
        hold=True,
        minutes=minutes.let_by,
        needs=(
            *in_state("open", zone.stack, hose, *(v for v in _between(case, zone.stops) if v != vent)),
            *in_state("shut", vent),
            *in_state("set", inner),
        ),
        changes=in_state("accepted", inner),
        reads=(*gauges, *zone.gauge_ids),
        state=state,
        trench="empty",
        let_by=_test(
            case,
            "T2",
            [inner, *(barrier for _, barrier in beside)],
            zone.stack,
            [stop, *(one for one, _ in beside)],
        ),
    )
    yield StepDraft(
        Stage.LET_BY,
        f"Shut {name}, uncouple it at both ends and cap the ends, because it bypasses a barrier of "
        f"{stop.id}; then open {at} to its stack. The competent person witnesses this.",
        Who.COMPETENT,
        "Let no air in while a hose bypasses a barrier.",
        uses=ids,
        hold=True,
        minutes=minutes.vent,
        needs=in_state("open", hose),
        changes=(*in_state("shut", hose), *in_state("open", vent), *in_state("vented", space)),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=state,
        trench="empty",
    )


def _held_mbar(case: OrderCase, stop: Stop) -> float | None:
    """Return what the space between the barriers of a stop is held at for T2 [mbar gauge]."""
    others = [value for one in case.stops if (value := live_mbar(one))]
    return live_mbar(stop) or min(others, default=None)


def _held(stop: Stop) -> str:
    """Return how the space between the barriers of a stop is held at the pressure the test needs."""
    if not live_mbar(stop):
        return (
            "hold the space at the lowest live pressure with nitrogen from a regulated bottle, because the "
            "records show no gas behind this stop"
        )
    if is_inlet_barrier(stop):
        return "hold the space at the set pressure of the station with nitrogen from a regulated bottle"
    return "hold the space at live pressure"
