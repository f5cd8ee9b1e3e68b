"""Gas back into the zones: the second tally, nitrogen or gas branch by branch, joints tested on gas."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import OrderItem, PurgePath, PurgePoint, Stop
from netplan.planfile.naming import INERT_GAS_IN, THROUGH_THE_GAUGE, purge_state, stop_in_state
from netplan.procedure.station_steps import feeds_purge
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.withdrawal_steps import station_back
from netplan.procedure.work_steps import reverse_rating_mbar
from netplan.procedure.zone_order import ZoneOrder, live_mbar, read_beside, zones_in_order

__all__ = ["fill", "tally_again"]


def tally_again(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the trench cleared and the second count, before gas comes back."""
    ids, meters = case.off_ids, case.off_meters
    if ids:
        count = f"{meters} meter{'s' * (meters != 1)} of {len(ids)} customer{'s' * (len(ids) != 1)}"
        tally = f": reconcile again, {count} still off and sealed, none turned on by anybody"
    else:
        tally = ", and no meter was turned off"
    yield StepDraft(
        Stage.METERS_AGAIN,
        f"Before gas comes back nobody is in the trench{tally}.",
        Who.METERS if ids else Who.COMPETENT,
        "Let no gas back until every one of them is known to be shut."
        if ids
        else "Let no gas back while anybody is in the trench.",
        uses=ids,
        hold=True,
        minutes=case.rules.duration.tally,
        needs=in_state("sealed", *case.items.meters_off()),
        reads=case.gauge_ids,
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
    )


def fill(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the purge in of every zone, its joints tested on gas, and a look at what was stranded."""
    for stop in case.stops:
        if feeds_purge(case, stop):
            yield from station_back(case, stop)
    for zone in zones_in_order(case):
        yield from _fill_zone(case, zone)
    stranded = tuple(c.id for c in case.option.customers if c.effect == "off" and c.cause == "stranded")
    if stranded:
        yield StepDraft(
            Stage.STRANDED,
            f"Read the pressure in the parts beyond the zone that had no supply ({len(stranded)} "
            "customers): they keep their gas only while every meter there is shut.",
            Who.STOPS,
            "If the pressure is gone, air may be in them: purge them too, to a point at every branch end, "
            "before any customer is relit.",
            uses=stranded,
            hold=True,
            minutes=case.rules.duration.tally,
            needs=in_state("sealed", *(case.items.meter(key) for key in stranded)),
        )


def _fill_zone(case: OrderCase, zone: ZoneOrder) -> Iterator[StepDraft]:
    filled = [point for point in zone.outlets if point.slug_m3 is not None]
    for point in filled:
        yield _nitrogen(case, zone, point)
    no_gas = [point for point in zone.outlets if has_no_gas(case, point)]
    for point in no_gas:
        yield _stays_inert(case, zone, point)
    if filled or no_gas:
        yield _nitrogen_off(case, zone)
    with_gas = [point for point in zone.outlets if point not in no_gas]
    if no_gas and not with_gas:
        return
    inlets = list(dict.fromkeys(zone.inlet(point) for point in with_gas)) or [_gas_inlet(zone)]
    for inlet in inlets:
        source = _source(case, zone, inlet)
        yield from _spaces_raised(case, zone, source)
        for outlet in [point for point in with_gas if zone.inlet(point) == inlet] or (None,):
            yield _purge_in(case, zone, outlet, inlet)
    yield _raised(case, zone, inlets[-1])
    yield _joints_on_gas(case, zone, _source(case, zone, inlets[0]))


def _source(case: OrderCase, zone: ZoneOrder, inlet: PurgePoint | None) -> Stop | None:
    """Return the stop that gas comes round to an inlet."""
    return next((stop for stop in zone.stops if inlet and _is_source(case, stop, inlet)), None)


def _is_source(case: OrderCase, stop: Stop, inlet: PurgePoint) -> bool:
    """Return whether a purge point stands on the zone vent of a stop: gas comes from its live side."""
    own = {vent.tapping_id for vent in case.items.zone_vents_at(stop.id)}
    vent = case.items.zone_vent(inlet.id)
    return vent is not None and bool(vent.tapping_id) and vent.tapping_id in own


def _gas_inlet(zone: ZoneOrder) -> PurgePoint | None:
    """Return where gas goes in: the first inlet that is not one for inert gas alone."""
    return next((one for one in zone.inlets if one.note != INERT_GAS_IN), next(iter(zone.inlets), None))


def _other_air(case: OrderCase, zone: ZoneOrder, inlet: PurgePoint | None) -> tuple[OrderItem, ...]:
    """Return the air inlets of a zone but for one."""
    others = (case.items.air_inlet(one.id) for one in zone.inlets if one != inlet)
    return tuple(valve for valve in others if valve)


def _nitrogen_off(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    """Return the end of the nitrogen: what it went in and out at is shut before anything else is opened."""
    into = tuple(valve for one in zone.inlets if (valve := case.items.air_inlet(one.id)))
    return StepDraft(
        Stage.NITROGEN_IN,
        f"Shut the nitrogen off and every outlet of {zone.ident}: "
        f"{', '.join(item.id for item in (*into, *zone.vents))}.",
        Who.STOPS,
        "Open nothing else before they are shut.",
        uses=tuple(one.id for one in zone.inlets) or tuple(stop.id for stop in zone.stops),
        changes=in_state("shut", *into, *zone.vents),
        trench="empty",
    )


def has_no_gas(case: OrderCase, point: PurgePoint) -> bool:
    """Return whether a purge point is on a part of the zone that no stop has gas behind."""
    return case.option.purge.reached is False and point.least_m3h is None


def _all_but(zone: ZoneOrder, out: OrderItem | None) -> tuple[OrderItem, ...]:
    return tuple(vent for vent in zone.vents if vent != out)


def _nitrogen(case: OrderCase, zone: ZoneOrder, point: PurgePoint) -> StepDraft:
    """Return the nitrogen that goes in ahead of gas that cannot reach its least flow."""
    inlet = zone.inlet(point)
    end = case.end_point("in", within="oxygen") or "no air is left"
    into = case.items.air_inlet(inlet.id) if inlet else None
    out = case.items.zone_vent(point.id)
    return StepDraft(
        Stage.NITROGEN_IN,
        f"Nitrogen first, {zone.ident}: let it in at {inlet.id if inlet else 'one stop'}, out at {point.id} "
        f"on main {point.main_id}, every other outlet shut, as much as the purge sheet says and until {end}; "
        "then shut that outlet.",
        Who.STOPS,
        "Let no gas in while a reading fails: go on with nitrogen, and fetch more if it runs out.",
        uses=(*((inlet.id,) if inlet else ()), point.id),
        hold=True,
        minutes=case.rules.duration.purge_branch + (point.minutes_out or 0.0),
        needs=in_state("sealed", *case.items.meters_off()),
        changes=(
            *in_state("shut", *_all_but(zone, out), *_other_air(case, zone, inlet)),
            *in_state("open", into, out),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
        purge=PurgePath(
            part_id=zone.ident,
            inlet=inlet.id if inlet else "",
            outlet=point.id,
            medium="inert gas",
            end=end,
        ),
    )


def _stays_inert(case: OrderCase, zone: ZoneOrder, point: PurgePoint) -> StepDraft:
    inlet = zone.inlet(point)
    into = case.items.air_inlet(inlet.id) if inlet else None
    out = case.items.zone_vent(point.id)
    at = inlet.id if inlet else "one end"
    return StepDraft(
        Stage.NITROGEN_IN,
        f"No stop of this part has gas behind it: let nitrogen in at {at}, out at {point.id} on main "
        f"{point.main_id}, until no air is left there; then shut that outlet. Gas goes in only once the part "
        "is fed again, behind the nitrogen, by the operator's procedure.",
        Who.STOPS,
        "Let no gas in while a reading fails: go on with nitrogen.",
        uses=(*((inlet.id,) if inlet else ()), point.id),
        hold=True,
        minutes=case.rules.duration.purge_branch + (point.minutes_out or 0.0),
        changes=(
            *in_state("shut", *_all_but(zone, out), *_other_air(case, zone, inlet)),
            *in_state("open", into, out),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
        purge=PurgePath(
            part_id=zone.ident,
            inlet=inlet.id if inlet else "",
            outlet=point.id,
            medium="inert gas",
            end=case.end_point("in", within="oxygen") or "no air is left",
        ),
    )


def _spaces_raised(case: OrderCase, zone: ZoneOrder, source: Stop | None) -> Iterator[StepDraft]:
    """Yield the shutting of vents beside inner barriers that may not carry the pressure of the zone."""
    given = (live_mbar(source) if source else None) or 0.0
    for stop in zone.stops:
        vent, rated = case.items.vent(stop.id), reverse_rating_mbar(case, stop)
        if vent is None or rated is None or given <= rated:
            continue
        yield StepDraft(
            Stage.SPACE_VENTED,
            f"Shut {vent.id} and join it by a hose to the zone vent of {stop.id}: gas from the zone would "
            "load the inner barrier beyond what its maker allows from the work side; the space rises with "
            "the zone.",
            Who.STOPS,
            "Let no gas in while this space is vented.",
            uses=(stop.id, vent.id),
            changes=in_state("shut", vent),
            trench="empty",
        )


def _purge_in(
    case: OrderCase, zone: ZoneOrder, point: PurgePoint | None, inlet: PurgePoint | None
) -> StepDraft:
    items, purge = case.items, case.option.purge
    source = _source(case, zone, inlet)
    first = ", inert gas first and then gas" if purge.medium.startswith("inert") else ""
    filled = any(one.slug_m3 is not None for one in zone.outlets)
    end = case.end_point("in", without="oxygen" if filled else "") or "end point of the procedure"
    gas, air = (items.gas_inlet(inlet.id), items.air_inlet(inlet.id)) if inlet else (None, None)
    out = items.zone_vent(point.id) if point else zone.stack
    where = f"{point.id} on main {point.main_id}" if point else "the zone vents of the stops"
    watched = _watched(case, source, inlet)
    own = purge.minutes_in if point is None else point.minutes_in
    return StepDraft(
        Stage.PURGE_IN,
        f"Purge in{first}, {zone.ident}, from the live side through "
        f"{inlet.id if inlet else 'a hose round one stop'}, out at {where}, {_rate(point)}, until {end}, "
        f"twice; then shut that outlet.{_words_on_gauges(case, watched)}",
        Who.STOPS,
        _too_slow(filled=filled) + " A gauge at its warning reading: throttle the feed." * bool(watched),
        uses=tuple(key for key in (inlet.id if inlet else "", point.id if point else "", *watched) if key)
        or tuple(stop.id for stop in zone.stops),
        hold=True,
        minutes=case.rules.duration.purge_branch + (own or 0.0),
        needs=in_state("sealed", *items.meters_off()),
        changes=(
            *in_state("shut", air, *_all_but(zone, out)),
            *in_state("shut", *(items.gas_inlet(one.id) for one in zone.inlets if one != inlet)),
            *in_state("open", gas, out),
            *zone.with_parts("gas"),
        ),
        reads=(*watched, *zone.gauge_ids),
        state=_state_of_draw(case, source),
        trench="empty",
        purge=PurgePath(
            part_id=zone.ident,
            inlet=inlet.id if inlet else "",
            outlet=point.id if point else out.id if out else "",
            medium="gas",
            end=end,
        ),
    )


def _state_of_draw(case: OrderCase, source: Stop | None) -> str:
    """Return the state with the draw in it; behind inert gas no draw is planned."""
    drawn = purge_state(source.id) if source else ""
    return drawn if drawn in case.states else stop_in_state(case.stops[-1].id)


def _watched(case: OrderCase, source: Stop | None, inlet: PurgePoint | None) -> tuple[str, ...]:
    """Return the gauges that are read while gas goes in: not one whose outlet the hose takes."""
    if source is not None and inlet is not None and inlet.note == THROUGH_THE_GAUGE:
        return read_beside(case, source)
    return case.gauge_ids


def _words_on_gauges(case: OrderCase, watched: tuple[str, ...]) -> str:
    taken = [key for key in case.gauge_ids if key not in watched]
    if not taken:
        return case.while_watched(" Watch the gauges: the draw lowers the pressure of the live network.")
    off = f"the hose takes the outlet of {' and '.join(taken)}: fit it again once the hose is off"
    if not watched:
        return f" No gauge can be read during this step: {off}."
    return f" Watch {', '.join(watched)}: the draw lowers the pressure of the live network; {off}."


def _rate(point: PurgePoint | None) -> str:
    """Return how fast gas goes back in: what can be had, where that is below the least flow."""
    if point is not None and point.is_short:
        return (
            "behind the nitrogen and at the flow available (purge sheet): it is below the least flow, so "
            "no air may be ahead of it"
        )
    return "not slower than the least flow of the purge sheet"


def _too_slow(*, filled: bool) -> str:
    if filled:
        return "If it stops on the way: start again with nitrogen."
    return (
        "Too slow: use a larger hose or stack, or the other end, or fill all of the zone with nitrogen first."
    )


def _raised(case: OrderCase, zone: ZoneOrder, inlet: PurgePoint | None) -> StepDraft:
    source = _source(case, zone, inlet)
    gas = case.items.gas_inlet(inlet.id) if inlet else None
    at = inlet.id if inlet else "the hose"
    return StepDraft(
        Stage.RAISED,
        f"Shut all outlets of {zone.ident}, let the zone rise to live pressure through {at}, then shut "
        f"{at} and check that the pressure holds.",
        Who.STOPS,
        "A fall means an open outlet, a leaking joint or a meter left on: find it before any stop comes out.",
        uses=tuple(key for key in (inlet.id if inlet else "", *zone.gauge_ids) if key)
        or tuple(stop.id for stop in zone.stops),
        hold=True,
        expect_mbar=live_mbar(source) if source else None,
        expect_at=(zone.gauge.id if zone.gauge else source.id) if source else "",
        minutes=case.rules.duration.settle,
        changes=in_state("shut", *zone.vents, gas),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
    )


def _joints_on_gas(case: OrderCase, zone: ZoneOrder, source: Stop | None) -> StepDraft:
    mains = tuple(dict.fromkeys(item.main_id for item in case.work))
    given, inlet = live_mbar(source) if source else None, _gas_inlet(zone)
    return StepDraft(
        Stage.JOINTS_ON_GAS,
        f"Test every tie-in joint of {zone.ident} once more with leak fluid, now on gas at operating "
        f"pressure. Treat the trench as a pit on live pipe: a gas check first, a gas detector running.",
        Who.WORK,
        "Everybody leaves; vent the zone, purge it out, prove it gas-free again, and repair the joint.",
        uses=(*mains, *zone.gauge_ids),
        hold=True,
        expect_mbar=given,
        expect_at=(zone.gauge.id if zone.gauge else source.id) if source else "",
        minutes=case.rules.duration.tie_in_test,
        needs=(
            *in_state("gas", zone.part),
            *in_state("shut", case.items.gas_inlet(inlet.id) if inlet else None),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
    )
