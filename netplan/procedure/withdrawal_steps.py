"""Stops out, one by one: space purged, inner barrier out, outer equalised and out; then through-flow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from netplan.planfile.model import OrderItem, PurgePath, Stop
from netplan.planfile.naming import feed_shut_state, stop_in_state, stop_out_state
from netplan.planfile.station_words import inlet_words, is_inlet_barrier
from netplan.procedure.station_steps import feeds_purge
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import ZoneOrder, live_mbar, read_beside, zones_in_order

__all__ = ["prove_through_flow", "station_back", "withdraw"]

_END = "at least 90 % gas by volume, two steady readings"


def withdraw(case: OrderCase) -> Iterator[StepDraft]:
    """Yield each stop out of a zone with gas in it: the last one set comes out first."""
    zones = zones_in_order(case)
    out: list[Stop] = []
    for stop in reversed(case.stops):
        zone = next(one for one in zones if stop in one.stops)
        barriers = case.items.barriers(stop.id)
        before = _state_before(case, out)
        if is_inlet_barrier(stop):
            if not feeds_purge(case, stop):
                yield from _space_and_inner(case, zone, stop, before)
                yield _station_in_use(case, stop, zone)
            else:
                yield from _last_barrier(case, stop, zone, out, before)
        elif stop.stays_shut:
            yield from _stays_shut(case, stop, zone, before)
        else:
            if len(barriers) > 1:
                yield from _space_and_inner(case, zone, stop, before, shut_in=_is_first(zone, out))
            yield from _last_barrier(case, stop, zone, out, before)
        out.append(stop)


def _is_first(zone: ZoneOrder, out: Sequence[Stop]) -> bool:
    """Return whether no stop of a zone is out yet: it holds gas then, but nothing feeds it."""
    return not any(one in zone.stops and not one.stays_shut for one in out)


def _state_before(case: OrderCase, out: Sequence[Stop]) -> str:
    return stop_out_state(out[-1].id) if out else stop_in_state(case.stops[-1].id)


def _space_and_inner(
    case: OrderCase, zone: ZoneOrder, stop: Stop, state: str, *, shut_in: bool = False
) -> Iterator[StepDraft]:
    inner, vent, space = case.items.barriers(stop.id)[-1], case.items.vent(stop.id), case.items.space(stop.id)
    at = vent.id if vent else "its vent"
    valves = tuple(map(case.items.valve, inner.valve_ids))
    crack = (
        f"open valve {stop.valve_id} slightly"
        if stop.kind == "valve"
        else f"ease the inner barrier of {stop.id} slightly open"
    )
    yield StepDraft(
        Stage.SPACE_PURGED,
        f"Purge the space between the barriers of {stop.id}: with {at} open to its stack {crack}, until "
        f"{_END}.",
        Who.STOPS,
        f"Shut it again: if gas does not come, or does not come clean, {at} or the zone is not as planned.",
        uses=(stop.id, *((vent.id,) if vent else ())),
        hold=True,
        minutes=case.rules.duration.vent,
        needs=in_state("accepted", inner),
        changes=(*in_state("open", vent), *in_state("gas", space)),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=state,
        trench="empty",
        purge=PurgePath(part_id=space.id if space else "", inlet=inner.id, outlet=at, medium="gas", end=_END),
    )
    yield StepDraft(
        Stage.SPACE_PURGED,
        f"Shut {at} and wait until the space of {stop.id} is at the pressure of the zone.",
        Who.STOPS,
        f"If it does not rise, {at} or a joint leaks: find it before a barrier comes out.",
        uses=(stop.id, *((vent.id,) if vent else ())),
        minutes=case.rules.duration.vent,
        needs=in_state("gas", space),
        changes=in_state("shut", vent),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=state,
        trench="empty",
    )
    yield StepDraft(
        Stage.INNER_OUT,
        f"{_takes_out(stop, inner, _feed_meanwhile(case, zone) if shut_in else '')}.",
        Who.STOPS,
        "Set it again and find the fault.",
        uses=(stop.id, *((vent.id,) if vent else ()), *((stop.valve_id,) if stop.valve_id else ())),
        across_mbar=0.0,
        minutes=case.rules.duration.withdraw,
        needs=(*in_state("gas", space), *in_state("shut", vent)),
        changes=(*in_state("withdrawn", inner), *in_state("open", *valves)),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=state,
        trench="empty",
    )


def _feed_meanwhile(case: OrderCase, zone: ZoneOrder) -> str:
    """Return how a zone that is shut in keeps its pressure while a bag in it loses its volume."""
    inlet = zone.inlet(None)
    gas = case.items.gas_inlet(inlet.id) if inlet else None
    return f"with {gas.id if gas else 'a hose round one stop'} open to the live side, shut again after it"


def _takes_out(stop: Stop, barrier: OrderItem, fed: str = "") -> str:
    """Return how a barrier is taken out, by its kind; a bag while the zone is fed, and by what."""
    if stop.kind == "valve":
        return (
            f"Take lock and tag off and open valve {stop.valve_id} slowly and fully, counting the turns: "
            f"{barrier.id} is out"
        )
    if stop.kind == "squeeze":
        return (
            f"Release {barrier.id} at the maker's rate and take it out; mark the place, never to be squeezed "
            "again"
        )
    return f"Let {barrier.id} down slowly {fed or 'while the zone is fed'}, and take it out"


def _last_barrier(
    case: OrderCase, stop: Stop, zone: ZoneOrder, out: Sequence[Stop], state: str
) -> Iterator[StepDraft]:
    """Yield the barrier on the live side equalised, or ready for a controlled release, and taken out."""
    barriers = case.items.barriers(stop.id)
    last = barriers[-1] if is_inlet_barrier(stop) else barriers[0]
    hose = case.items.test_hose(stop.id)
    valves = tuple(map(case.items.valve, last.valve_ids))
    across = stop.withdraw_mbar
    name = hose.id if hose else "a hose"
    gauges = read_beside(case, stop)
    uses = (stop.id, *((stop.valve_id,) if stop.valve_id else ()), *((hose.id,) if hose else ()))
    is_first = _is_first(zone, out)
    left = 0.0 if is_first and across is not None else across
    yield StepDraft(
        Stage.EQUALISE,
        f"Equalise across {last.id}: open {name} from the gauge outlet of {stop.id} to the zone's side "
        f"until both sides are steady. "
        f"{_levelled(zone, stop) if is_first else _difference(case, stop, across)}",
        Who.STOPS,
        "Do not take it out while the difference is larger: look for a leak, an open outlet or a closed end.",
        uses=uses,
        hold=True,
        expect_mbar=live_mbar(stop),
        expect_at=stop.id,
        across_mbar=across,
        minutes=case.rules.duration.vent,
        needs=in_state("accepted", last),
        changes=in_state("open", hose),
        # A zone that is shut in comes to the pressure of this stop's live side meanwhile.
        reads=gauges if is_first else (*gauges, *zone.gauge_ids),
        state=state,
        trench="empty",
    )
    yield StepDraft(
        Stage.STOP_OUT,
        f"{_takes_out(stop, last, f'while {name} feeds the zone' if is_first else '')}; then take {name} "
        f"off and cap its ends.{case.while_watched(' Watch the gauges.')}",
        Who.STOPS,
        "Set it again and find the fault.",
        uses=(*uses, *case.gauge_ids),
        across_mbar=left,
        minutes=case.rules.duration.withdraw,
        needs=in_state("sealed", *(case.items.meters_off() if is_first else ())),
        changes=(
            *in_state("withdrawn", last),
            *in_state("open", *valves),
            *in_state("shut", hose),
            *in_state("live", case.items.space(stop.id), *((zone.part, *zone.cut_parts) if is_first else ())),
        ),
        reads=gauges,
        state=stop_out_state(stop.id),
        trench="empty",
    )


def _stays_shut(case: OrderCase, stop: Stop, zone: ZoneOrder, state: str) -> Iterator[StepDraft]:
    """Yield a valve that was shut on record given back as it was: it parts what was apart before."""
    barrier = case.items.barriers(stop.id)[-1]
    uses = tuple(key for key in (stop.id, stop.valve_id) if key)
    yield StepDraft(
        Stage.EQUALISE,
        f"Read both sides of valve {stop.valve_id}: it was shut before the work and stays shut, so do not "
        f"equalise across it.",
        Who.STOPS,
        "If both sides read the same where they should differ, the valve lets by: tell network control.",
        uses=uses,
        hold=True,
        expect_mbar=live_mbar(stop),
        expect_at=stop.id,
        minutes=case.rules.duration.vent,
        needs=in_state("accepted", barrier),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=state,
        trench="empty",
    )
    joined = zone.with_parts("live") if all(one.stays_shut for one in zone.stops) else ()
    yield StepDraft(
        Stage.STOP_OUT,
        f"Leave valve {stop.valve_id} shut, as it was before the work, and take the lock and tag of this "
        f"work off: {barrier.id} counts as out.",
        Who.STOPS,
        "Do not open it: that would join parts that are kept apart.",
        uses=(*uses, *case.gauge_ids),
        minutes=case.rules.duration.withdraw,
        needs=in_state("sealed", *case.items.meters_off()),
        changes=(*in_state("withdrawn", barrier), *joined),
        reads=case.gauge_ids,
        state=stop_out_state(stop.id),
        trench="empty",
    )


def _levelled(zone: ZoneOrder, stop: Stop) -> str:
    """Return what the hose does to a zone that nothing else feeds."""
    at = f", {' and '.join(zone.gauge_ids)} too" if zone.gauge_ids else ""
    return (
        f"Nothing else feeds {zone.ident}: it comes to the pressure of the live side of {stop.id}{at}, and "
        f"no difference is left. The figure of this step is the difference before that."
    )


def _difference(case: OrderCase, stop: Stop, across: float | None) -> str:
    if across is None:
        return "The records show no gas behind it."
    if across <= case.rules.let_by.withdraw_mbar:
        return (
            "The solved difference (figure of this step) is no more than a barrier may be taken out against."
        )
    if stop.kind == "valve":
        return (
            "The solved difference (figure of this step) stays, because the live side is lower or higher "
            "than the zone: open the valve a little at a time."
        )
    return (
        "The solved difference (figure of this step) stays and is more than a barrier may be taken out "
        "against: make a controlled release, and only where its maker allows this figure; otherwise plan "
        "again."
    )


def station_back(case: OrderCase, stop: Stop) -> Iterator[StepDraft]:
    """Yield a station put back behind its shut outlet valve, where gas for the purge in comes from it.

    Its inlet, the outer barrier, is then open before the outlet valve is: the space between is purged first.
    """
    if not is_inlet_barrier(stop):
        return
    outer, vent, space = case.items.barriers(stop.id)[0], case.items.vent(stop.id), case.items.space(stop.id)
    at = vent.id if vent else "its vent"
    yield StepDraft(
        Stage.INLET_OPENED,
        f"Put {_stations(stop)} back, nobody in the trench, valve {stop.valve_id} still shut and locked: "
        f"take the lock off {_inlets(stop)}, open it slowly with {at} on its stack, until {_END}.",
        Who.STOPS,
        "Shut the inlet again, vent the space and find the fault.",
        uses=_ids(case, stop),
        hold=True,
        minutes=stop.minutes,
        needs=in_state("accepted", outer),
        changes=(
            *in_state("open", *case.items.station_inlets(stop)),
            *in_state("withdrawn", outer),
            *in_state("gas", space),
        ),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
        purge=PurgePath(part_id=space.id if space else "", inlet=outer.id, outlet=at, medium="gas", end=_END),
    )
    yield StepDraft(
        Stage.INLET_OPENED,
        f"Shut {at} and cap it; wait until the outlet of {_stations(stop)} is at its set pressure.",
        Who.STOPS,
        "Shut the inlet again, vent the space and find the fault.",
        uses=_ids(case, stop),
        hold=True,
        expect_mbar=stop.shuts_in[0].outlet_mbar,
        expect_at=stop.id,
        minutes=case.rules.duration.vent,
        changes=(*in_state("shut", vent), *in_state("live", space)),
        trench="empty",
    )


def _station_in_use(case: OrderCase, stop: Stop, zone: ZoneOrder) -> StepDraft:
    """Return the inlet of a station opened again, its outlet valve being open."""
    outer = case.items.barriers(stop.id)[0]
    return StepDraft(
        Stage.STOP_OUT,
        f"Put {_stations(stop)} back, nobody in the trench: take the lock off {_inlets(stop)}, open it "
        f"slowly and wait until the outlet is at its set pressure; the last of {stop.id}."
        f"{case.while_watched(' Watch the gauges.')}",
        Who.STOPS,
        "Shut the inlet again and find the fault.",
        uses=(*_ids(case, stop), *case.gauge_ids),
        hold=True,
        expect_mbar=stop.shuts_in[0].outlet_mbar,
        expect_at=stop.id,
        minutes=stop.minutes,
        needs=in_state("accepted", outer),
        changes=(
            *in_state("open", *case.items.station_inlets(stop)),
            *in_state("withdrawn", outer),
            *in_state("live", case.items.space(stop.id), zone.part, *zone.cut_parts),
        ),
        reads=case.gauge_ids,
        state=stop_out_state(stop.id),
        trench="empty",
    )


def _stations(stop: Stop) -> str:
    ids = [one.station_id for one in stop.shuts_in]
    return f"station{'s' * (len(ids) > 1)} {', '.join(ids)}"


def _inlets(stop: Stop) -> str:
    return " and ".join(f"{inlet_words(one)} of station {one.station_id}" for one in stop.shuts_in)


def _ids(case: OrderCase, stop: Stop) -> tuple[str, ...]:
    vent = case.items.vent(stop.id)
    behind = [key for one in stop.shuts_in for key in (one.station_id, one.inlet_valve_id)]
    keys = (stop.id, stop.valve_id, vent.id if vent else "", *behind)
    return tuple(key for key in keys if key)


def prove_through_flow(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof that the main itself carries again: each feed throttled in turn at the end it feeds."""
    gauge = case.option.gauges[0] if case.option.gauges else None
    feeds = case.feed_ids
    stop_ids = tuple(stop.id for stop in case.stops)
    ends: list[OrderItem] = [
        end for feed in case.option.bypasses if (end := case.items.feed_end(feed.id, "to"))
    ]
    until = "the gauges read as planned with it shut" if case.gauge_ids else "no pressure falls where it fed"
    throttled = (
        f"throttle {', then '.join(_throttled(case, feed) for feed in feeds)}, slowly and one at a time, "
        f"until {until}, and open it again"
        if feeds
        else case.while_watched("read every gauge") or "read the meters nearest to every stop"
    )
    yield StepDraft(
        Stage.THROUGH_FLOW,
        f"Prove that gas flows through the whole length of the work and past the place of every stop: "
        f"{throttled}.",
        Who.CONTROL,
        "Leave every feed open: something in the main is still shut. Find it."
        if feeds
        else "Something in the main is still shut: find it before any outlet is capped.",
        uses=(*stop_ids, *case.gauge_ids, *feeds),
        hold=True,
        expect_mbar=gauge.normal_mbar if gauge else None,
        expect_at=gauge.id if gauge else "",
        minutes=case.rules.duration.through_flow,
        needs=in_state("withdrawn", *(b for stop in case.stops for b in case.items.barriers(stop.id))),
        reads=case.gauge_ids,
        state=feed_shut_state(feeds[-1]) if feeds else _state_before(case, tuple(reversed(case.stops))),
        trench="empty",
        manned=tuple(end.id for end in ends),
    )


def _throttled(case: OrderCase, feed: str) -> str:
    end = case.items.feed_end(feed, "to")
    return f"{feed} at its fed end {end.id}" if end else f"valve {feed}"
