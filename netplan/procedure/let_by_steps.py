"""Let-by tests: each shows what one barrier lets by, or a declared sum, before any air goes into a zone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from netplan.planfile.model import LetByTest, OrderItem, Stop
from netplan.planfile.naming import stop_in_state
from netplan.planfile.station_words import inlet_words, is_alone, is_inlet_barrier
from netplan.procedure.hours_by_counts import (
    L_PER_M3,
    MBAR_PER_ATMOSPHERE,
    PILOT_L_MIN,
    pilot_minutes,
)
from netplan.procedure.step_case import OrderCase, fallback_words
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import ZoneOrder, live_mbar, read_beside, tested_alone, zones_in_order

__all__ = ["test_for_let_by"]


def test_for_let_by(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the tests of every zone: T0, venting, T3 of what is tested alone, then T1 and T2 of each stop."""
    zones = zones_in_order(case)
    for zone in zones:
        yield _shut_in(case, zone)
    for zone in zones:
        yield _vent_zone(case, zone)
        yield from _vent_spaces(case, zone)
        yield _alone(case, zone)
        for stop in zone.stops:
            if is_inlet_barrier(stop):
                yield from _station_inlet(case, zone, stop)
            elif len(case.items.barriers(stop.id)) > 1:
                yield _outer(case, zone, stop)
        for stop in zone.stops:
            if len(case.items.barriers(stop.id)) > 1 and not is_inlet_barrier(stop):
                yield from _inner(case, zone, stop)


def _state(case: OrderCase) -> str:
    return stop_in_state(case.stops[-1].id)


def _barriers(case: OrderCase, stops: Sequence[Stop]) -> tuple[OrderItem, ...]:
    return tuple(barrier for stop in stops for barrier in case.items.barriers(stop.id))


def _between(case: OrderCase, stops: Sequence[Stop]) -> tuple[OrderItem, ...]:
    return tuple(vent for stop in stops if (vent := case.items.vent(stop.id)))


def _shut_in(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    rules = case.rules
    minutes, fall = pilot_minutes(zone.volume_m3, rules), None
    if zone.volume_m3:
        fall = MBAR_PER_ATMOSPHERE * PILOT_L_MIN * minutes / (zone.volume_m3 * L_PER_M3)
    return StepDraft(
        Stage.LET_BY,
        f"T0, {zone.ident}: nobody in the trench; every vent of the zone and of the spaces between barriers "
        f"shut, the zone at live pressure; let it settle, then read {_gauge(zone)}. A fall is a meter left "
        "on or a branch missed. No fall proves nothing, as let-by hides it: the tally governs.",
        Who.STOPS,
        "Nothing is vented: find what draws, close the tally again, then T0 again.",
        uses=(*zone.gauge_ids, *(stop.id for stop in zone.stops)),
        hold=True,
        minutes=rules.duration.settle + minutes,
        needs=(
            *in_state("set", *_barriers(case, zone.stops)),
            *in_state("shut", *zone.vents, *_between(case, zone.stops)),
            *in_state("sealed", *case.items.meters_off()),
        ),
        reads=case.gauge_ids,
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
        f"Vent {zone.ident} through {through}, the zone before any space between barriers: stack upright, "
        "earthed, with flame arrester, clear of ignition, openings and air intakes; ignition sources out, "
        "extinguishers ready, people kept away.",
        Who.STOPS,
        "If the pressure does not fall to nothing or comes back, a stop lets by: do not go on.",
        uses=tuple(key for key in (stack.id if stack else "", *zone.gauge_ids) if key),
        hold=True,
        expect_mbar=0.0,
        expect_at=zone.gauge.id if zone.gauge else zone.stops[0].id,
        minutes=case.rules.duration.vent,
        needs=in_state("set", *_barriers(case, zone.stops)),
        changes=(*in_state("open", stack), *zone.with_parts("vented")),
        reads=case.gauge_ids,
        state=_state(case),
        trench="empty",
    )


def _vent_spaces(case: OrderCase, zone: ZoneOrder) -> Iterator[StepDraft]:
    """Yield the vent of each space; that of a station stays shut in for the test of its outlet valve."""
    for stop in zone.stops:
        vent = case.items.vent(stop.id)
        if vent is None or is_inlet_barrier(stop):
            continue
        yield StepDraft(
            Stage.SPACE_VENTED,
            f"Vent the space between the barriers of {stop.id} through {vent.id}, on a stack of its own; it "
            "stays open, but for the tests that name it, until gas goes back.",
            Who.STOPS,
            f"If what comes out does not die down, {stop.id} lets by: do not go on.",
            uses=(stop.id, vent.id),
            minutes=case.rules.duration.vent,
            needs=in_state("vented", zone.part),
            changes=(*in_state("open", vent), *in_state("vented", case.items.space(stop.id))),
            trench="empty",
        )


def _alone(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    """Return T3: what the barriers that are tested alone let by, and whatever else feeds the zone."""
    tested = [(stop, barrier) for stop in zone.stops if (barrier := tested_alone(case, stop))]
    limit = case.rules.let_by.single_l_min
    live = [value for stop, _ in tested if (value := live_mbar(stop))]
    named = ", ".join(barrier.id for _, barrier in tested)
    shows = (
        f"shows what {named} lets by"
        if len(tested) == 1
        else f"shows what {named} let by together, against one limit"
        if tested
        else "shows a feed that nobody knows of: no barrier has gas behind it now"
    )
    return StepDraft(
        Stage.LET_BY,
        f"T3, {zone.ident}: the zone on its stack, every space between barriers open, then a meter or "
        f"bubbler on {_meter(zone)}: its flow {shows}. A rise of pressure is no test: the flow decides."
        f"{_watch_alone(tested)}",
        Who.STOPS,
        _over(case, [stop for stop, _ in tested]),
        uses=tuple(key for key in (*(stop.id for stop, _ in tested), _meter_id(zone)) if key),
        hold=True,
        expect_mbar=0.0,
        expect_at=zone.gauge.id if zone.gauge else zone.stops[0].id,
        minutes=case.rules.duration.let_by,
        needs=(*in_state("open", zone.stack), *in_state("set", *(barrier for _, barrier in tested))),
        changes=in_state("accepted", *(barrier for _, barrier in tested)),
        reads=case.gauge_ids,
        state=_state(case),
        trench="empty",
        let_by=LetByTest(
            name="T3",
            barriers=tuple(barrier.id for _, barrier in tested),
            is_sum=len(tested) != 1,
            meter_at=_meter_id(zone),
            across_mbar=min(live, default=None),
            limit_l_min=limit,
            resolution_l_min=limit * case.rules.let_by.resolution_share,
            zone_mbar=0.0,
            minutes=case.rules.duration.let_by,
        ),
    )


def _meter(zone: ZoneOrder) -> str:
    return zone.stack.id if zone.stack else "the zone vent"


def _meter_id(zone: ZoneOrder) -> str:
    return zone.stack.id if zone.stack else ""


def _watch_alone(tested: Sequence[tuple[Stop, OrderItem]]) -> str:
    """Return what single barriers ask of the people beyond them."""
    words = []
    for stop, barrier in tested:
        if is_inlet_barrier(stop):
            words.append(
                f" The space behind {barrier.id} is shut in at the station's set pressure: where that falls "
                "by half meanwhile, the test shows nothing and is made again."
            )
        elif is_alone(stop):
            stations = ", ".join(one.station_id for one in stop.shuts_in)
            words.append(f" {stop.id} is the only barrier between the work and station {stations}.")
        else:
            words.append(
                f" {stop.id} is a single barrier: nobody works beyond it without a gas detector running all "
                "the time."
            )
    return "".join(words)


def _over(case: OrderCase, stops: Sequence[Stop]) -> str:
    """Return what to do over a limit: one reset, or tightening, a new test, then the fallback."""
    if not stops:
        return "Find what feeds the zone: nothing goes on, and the plan is made again."
    lines = []
    for stop in stops:
        planned = fallback_words(case.fallback(stop.id, "will not set"))
        once = {
            "bag": "reset it once; that voids every test read so far of this zone: test again",
            "squeeze": "tighten it within its stops, no reset; that voids its tests: test again",
            "valve": "work it shut once more; that voids its tests: test again",
        }[stop.kind]
        lines.append(f"{stop.id} over the limit: {once}; if it still passes gas: {planned}.")
    return " ".join(lines)


def _outer(case: OrderCase, zone: ZoneOrder, stop: Stop) -> StepDraft:
    outer, vent = case.items.barriers(stop.id)[0], case.items.vent(stop.id)
    limits = case.rules.let_by
    at = vent.id if vent else "its vent"
    return StepDraft(
        Stage.LET_BY,
        f"T1, {outer.id}: {zone.ident} on its stack with its gauge at nothing, so that the inner barrier "
        f"carries nothing, every other space open; meter on {at}: the flow shows what {outer.id} lets by. "
        "Measure the pressure in the space too.",
        Who.STOPS,
        _over(case, [stop]),
        uses=(stop.id, *((vent.id,) if vent else ()), *zone.gauge_ids),
        hold=True,
        minutes=case.rules.duration.let_by,
        needs=(
            *in_state("open", zone.stack, *_between_open(case, zone)),
            *in_state("set", outer),
        ),
        changes=in_state("accepted", outer),
        reads=case.gauge_ids,
        state=_state(case),
        trench="empty",
        let_by=LetByTest(
            name="T1",
            barriers=(outer.id,),
            meter_at=vent.id if vent else "",
            across_mbar=live_mbar(stop) or 0.0,
            limit_l_min=limits.outer_l_min,
            limit_mbar=limits.space_mbar,
            resolution_l_min=limits.outer_l_min * limits.resolution_share,
            zone_mbar=0.0,
            minutes=case.rules.duration.let_by,
        ),
    )


def _between_open(case: OrderCase, zone: ZoneOrder) -> tuple[OrderItem, ...]:
    return _between(case, [stop for stop in zone.stops if not is_inlet_barrier(stop)])


def _inner(case: OrderCase, zone: ZoneOrder, stop: Stop) -> Iterator[StepDraft]:
    """Yield T2: the space raised by a hose, the test at the zone's vent, the hose off and its ends capped."""
    inner, vent, hose = (
        case.items.barriers(stop.id)[-1],
        case.items.vent(stop.id),
        case.items.test_hose(stop.id),
    )
    space, limits = case.items.space(stop.id), case.rules.let_by
    name, at = hose.id if hose else "a hose", vent.id if vent else "its vent"
    gauges = read_beside(case, stop)
    ids = (stop.id, *(item.id for item in (vent, hose) if item), *gauges)
    # Whatever is tested alone has gas behind it now as before: it is part of the reading.
    others = [barrier for other in zone.stops if other != stop and (barrier := _still_live(case, other))]
    together = f", with {', '.join(one.id for one in others)} in the reading" if others else ""
    yield StepDraft(
        Stage.LET_BY,
        f"T2, {inner.id}, made ready: shut {at}, then couple {name} from the gauge outlet of {stop.id} and "
        "hold the space at live pressure, so that the outer barrier carries nothing.",
        Who.STOPS,
        f"Shut {name} again and open {at}.",
        uses=ids,
        minutes=case.rules.duration.vent,
        needs=(*in_state("open", zone.stack), *in_state("accepted", case.items.barriers(stop.id)[0])),
        changes=(*in_state("shut", vent), *in_state("open", hose), *in_state("live", space)),
        reads=gauges,
        state=_state(case),
        trench="empty",
    )
    behind = [one for one in zone.stops if one == stop or _still_live(case, one)]
    live = [value for one in behind if (value := live_mbar(one))]
    yield StepDraft(
        Stage.LET_BY,
        f"T2, {inner.id}: meter on {_meter(zone)}, not on the hose, which would miss what the outer barrier "
        f"gives; every other space open: the flow shows what {inner.id} lets by{together}.",
        Who.STOPS,
        _over(case, [stop]),
        uses=(*ids, *((zone.stack.id,) if zone.stack else ()), *zone.gauge_ids),
        hold=True,
        minutes=case.rules.duration.let_by,
        needs=(
            *in_state("open", zone.stack, hose, *(one for one in _between_open(case, zone) if one != vent)),
            *in_state("shut", vent),
            *in_state("set", inner),
        ),
        changes=in_state("accepted", inner),
        reads=gauges,
        state=_state(case),
        trench="empty",
        let_by=LetByTest(
            name="T2",
            barriers=(inner.id, *(one.id for one in others)),
            is_sum=bool(others),
            meter_at=_meter_id(zone),
            across_mbar=min(live, default=0.0),
            limit_l_min=limits.inner_l_min,
            resolution_l_min=limits.inner_l_min * limits.resolution_share,
            zone_mbar=0.0,
            minutes=case.rules.duration.let_by,
        ),
    )
    yield StepDraft(
        Stage.LET_BY,
        f"Shut {name}, uncouple it at both ends and cap them, as it goes round the outer barrier of "
        f"{stop.id}; then open {at} on its stack. The competent person sees it.",
        Who.COMPETENT,
        "No air goes in while a hose goes round a barrier.",
        uses=ids,
        hold=True,
        minutes=case.rules.duration.vent,
        changes=(*in_state("shut", hose), *in_state("open", vent), *in_state("vented", space)),
        reads=case.gauge_ids,
        state=_state(case),
        trench="empty",
    )


def _still_live(case: OrderCase, stop: Stop) -> OrderItem | None:
    """Return the barrier of a stop that gas stands behind while all spaces are vented."""
    return None if is_inlet_barrier(stop) else tested_alone(case, stop)


def _station_inlet(case: OrderCase, zone: ZoneOrder, stop: Stop) -> Iterator[StepDraft]:
    """Yield the vent of the space behind an outlet valve, and T1 of the station's inlet."""
    outer, vent = case.items.barriers(stop.id)[0], case.items.vent(stop.id)
    limits = case.rules.let_by
    inlets = " and ".join(f"{inlet_words(one)} of station {one.station_id}" for one in stop.shuts_in)
    stations = (one.station_id for one in stop.shuts_in)
    ids = tuple(dict.fromkeys((stop.id, *((vent.id,) if vent else ()), *stations)))
    yield StepDraft(
        Stage.SPACE_VENTED,
        f"Vent the space between {inlets} and valve {stop.valve_id} to a stack outside; it stays open until "
        "gas goes back. Lock and tag both valves and the open vent; the keys stay with the competent person.",
        Who.STOPS,
        "If what comes out does not die down, the inlet lets by: do not go on.",
        uses=ids,
        hold=True,
        expect_mbar=0.0,
        expect_at=stop.id,
        minutes=case.rules.duration.vent,
        needs=in_state("vented", zone.part),
        changes=(*in_state("open", vent), *in_state("vented", case.items.space(stop.id))),
        trench="empty",
    )
    yield StepDraft(
        Stage.LET_BY,
        f"T1, {outer.id}: {zone.ident} on its stack, meter on the vent of the space: the flow shows what "
        f"{inlets} lets by, at the inlet pressure of the station, which no record gives. Measure the "
        "pressure in the space too.",
        Who.STOPS,
        "The inlet lets by and is no barrier: stand down and plan again.",
        uses=ids,
        hold=True,
        minutes=case.rules.duration.let_by,
        needs=(*in_state("open", zone.stack, vent), *in_state("set", outer)),
        changes=in_state("accepted", outer),
        trench="empty",
        let_by=LetByTest(
            name="T1",
            barriers=(outer.id,),
            meter_at=vent.id if vent else "",
            limit_l_min=limits.outer_l_min,
            limit_mbar=limits.space_mbar,
            resolution_l_min=limits.outer_l_min * limits.resolution_share,
            zone_mbar=0.0,
            minutes=case.rules.duration.let_by,
        ),
    )
