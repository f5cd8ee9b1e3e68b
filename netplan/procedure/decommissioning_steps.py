"""Air in and gas out of a zone, and the proof that nothing flammable is left in it."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import PurgePath, PurgePoint
from netplan.planfile.naming import stop_in_state
from netplan.procedure.hours_by_counts import doors_minutes
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state
from netplan.procedure.zone_order import ZoneOrder, single_barrier, zones_in_order

__all__ = ["empty"]


def empty(case: OrderCase) -> Iterator[StepDraft]:
    """Yield purging out, the services, the proof that the zone is gas-free and the latest time to cut."""
    zones = zones_in_order(case)
    for zone in zones:
        for point in zone.outlets or (None,):
            yield _purge_out(case, zone, point)
        if zone.services:
            yield _services(zone, case)
    for zone in zones:
        yield _gas_free(case, zone)
    yield from _exceptions(case)
    yield StepDraft(
        Stage.LATEST_CUT,
        "Do not cut after the latest time to cut (on the cover): the steps that remain would not end "
        "within the day.",
        Who.COMPETENT,
        "After that time: do not cut; put gas back, and plan the work for another day.",
        uses=tuple(stop.id for stop in case.stops),
        hold=True,
    )


def _exceptions(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the exception that every single barrier takes before people work beyond it."""
    for stop in case.stops:
        barrier = single_barrier(case, stop)
        if barrier is None:
            continue
        stations = ", ".join(one.station_id for one in stop.shuts_in)
        of = f" and station {stations}" if stations else " and live gas"
        yield StepDraft(
            Stage.EXCEPTION,
            f"Exception for {barrier.id}: it is the only barrier between the work{of}. Sign that people "
            f"may work beyond it, with somebody at it and a gas detector running all the time; or plan "
            f"again.",
            Who.COMPETENT,
            "Not signed: nobody works beyond it. Put gas back, and plan the work again with two barriers.",
            uses=tuple(key for key in (stop.id, stop.valve_id) if key),
            hold=True,
            needs=in_state("accepted", barrier),
            trench="empty",
            manned=(barrier.id,),
        )


def _purge_out(case: OrderCase, zone: ZoneOrder, point: PurgePoint | None) -> StepDraft:
    items, purge = case.items, case.option.purge
    inlet = zone.inlet(point)
    is_inert = purge.medium.startswith("inert")
    into = items.air_inlet(inlet.id) if inlet else None
    out = items.zone_vent(point.id) if point else zone.stack
    where = f"{point.id} on main {point.main_id}" if point else "the zone vents of the stops"
    between = tuple(vent for stop in zone.stops if (vent := items.vent(stop.id)))
    own = 0.0 if point is None or point.minutes_out is None else point.minutes_out
    end = case.end_point("out") or "end point of the procedure"
    return StepDraft(
        Stage.PURGE_OUT,
        f"Purge {zone.ident} with {'inert gas' if is_inert else 'air'}: in at "
        f"{inlet.id if inlet else 'the far end'}, with a relief set no higher than the lowest live "
        f"pressure, out at "
        f"{where}{'' if is_inert else ' by an air mover'}, without a break and not slower than the least "
        "flow of the purge sheet; every other outlet of the zone shut, vents between barriers on their own "
        "stacks; never through a service or a meter.",
        Who.STOPS,
        "If the flow is not reached: use a larger stack, the other end, or inert gas; start this branch "
        "again.",
        uses=tuple(key for key in (inlet.id if inlet else "", point.id if point else "") if key)
        or tuple(stop.id for stop in zone.stops),
        minutes=case.rules.duration.purge_branch + own,
        needs=(
            *in_state("accepted", *(b for stop in zone.stops for b in items.barriers(stop.id))),
            *in_state("open", *between),
        ),
        changes=(
            *in_state("shut", *(vent for vent in zone.vents if vent != out)),
            *in_state("shut", *(items.air_inlet(one.id) for one in zone.inlets if one != inlet)),
            *in_state("open", into, out),
            *in_state("air", zone.part),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
        purge=PurgePath(
            part_id=zone.ident,
            inlet=inlet.id if inlet else "",
            outlet=point.id if point else out.id if out else "",
            medium="inert gas" if is_inert else "air",
            end=end,
        ),
    )


def _services(zone: ZoneOrder, case: OrderCase) -> StepDraft:
    count = len(zone.services)
    return StepDraft(
        Stage.SERVICES_PURGED,
        f"{count} service{'s' * (count != 1)} of {zone.ident} still hold{'s' * (count == 1)} gas: sample "
        "each at its shut valve before the meter, purge it from there to the open air with the zone as its "
        "inlet, sample it again; never through a meter. The tally sheet lists them.",
        Who.METERS,
        "Cut off from the main and cap any service that cannot be reached or does not purge clean, before "
        "anybody works beside it.",
        uses=zone.services,
        hold=True,
        minutes=doors_minutes(count, case.rules),
        needs=in_state("air", zone.part),
        trench="empty",
    )


def _gas_free(case: OrderCase, zone: ZoneOrder) -> StepDraft:
    entry = case.end_point("entry")
    into = [case.items.air_inlet(one.id) for one in zone.inlets]
    trench = f"; before anybody goes in: {entry}" if entry else ""
    return StepDraft(
        Stage.GAS_FREE,
        f"Prove {zone.ident} gas-free at every vent and in every trench: "
        f"{case.end_point('out') or 'end point'}, first with an instrument that needs no oxygen; read % "
        f"LFL only where oxygen is above the least value below; two readings, ten minutes apart{trench}. "
        f"From now on monitor without a break; at any rising reading everybody leaves.",
        Who.COMPETENT,
        "Go on purging; if the reading rises again, look for let-by or for a branch that was not purged. "
        "After an alarm or a break in monitoring: repeat this hold.",
        uses=tuple(vent.id for vent in zone.vents) or tuple(stop.id for stop in zone.stops),
        hold=True,
        minutes=case.rules.duration.gas_free,
        needs=in_state("air", zone.part),
        changes=(
            *in_state("shut", *into),
            *in_state("open", *zone.vents),
            *in_state("gas-free", zone.part),
        ),
        reads=(*case.gauge_ids, *zone.gauge_ids),
        state=stop_in_state(case.stops[-1].id),
        trench="empty",
    )
