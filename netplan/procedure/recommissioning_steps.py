"""Gas back in and stops out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from netplan.planfile.model import PurgePoint
from netplan.procedure.station_steps import feeds_purge, open_inlet
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["fill", "withdraw"]


def fill(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the purge in, branch by branch, and a look at what was stranded."""
    vents, inlets, purge = case.vents(), case.inlets(), case.option.purge
    stop_ids = tuple(stop.id for stop in case.stops)
    for stop in case.stops:
        if feeds_purge(case, stop):
            yield from open_inlet(stop)
    yield from _nitrogen(case)
    first = ", inert gas first and then gas" if purge.medium.startswith("inert") else ""
    filled = any(point.slug_m3 is not None for point in vents)
    end = case.end_point("in", without="oxygen" if filled else "") or "end point of the procedure"
    watched = tuple(key for key in case.gauge_ids if key not in case.gauges_taken)
    for point in vents or (None,):
        ids = (*(inlet.id for inlet in inlets), *((point.id,) if point else stop_ids))
        where = f"{point.id} on main {point.main_id}" if point else "the zone vents of the stops"
        if _has_no_gas(case, point):
            yield _stays_inert(inlets, where, ids)
            continue
        yield StepDraft(
            Stage.PURGE_IN,
            f"Purge in{first} from the live side through "
            f"{', '.join(i.id for i in inlets) or 'a hose round one stop'}, out at {where}, {_rate(point)}, "
            f"until {end}; then shut that outlet.{_watched(case, watched)}",
            Who.STOPS,
            _too_slow(filled=filled) + " A gauge at its warning reading: throttle the feed." * bool(watched),
            uses=(*ids, *watched),
            hold=True,
            minutes=point.minutes_in if point else purge.minutes_in,
        )
    stranded = tuple(c.id for c in case.option.customers if c.effect == "off" and c.cause == "stranded")
    if stranded:
        yield StepDraft(
            Stage.STRANDED,
            f"Read the pressure in the parts beyond the zone that had no supply ({len(stranded)} "
            "customers): they keep their gas only while every meter there is shut.",
            Who.STOPS,
            "If the pressure is gone, air may be in them: purge them too, to a point at every branch end, "
            "before anybody is relit.",
            uses=stranded,
            hold=True,
        )


def _has_no_gas(case: OrderCase, point: PurgePoint | None) -> bool:
    """Return whether a purge point is on a part of the zone that no stop has gas behind."""
    return point is not None and case.option.purge.reached is False and point.least_m3h is None


def _stays_inert(inlets: Sequence[PurgePoint], where: str, ids: tuple[str, ...]) -> StepDraft:
    return StepDraft(
        Stage.NITROGEN_IN,
        f"No stop of this part has gas behind it: let nitrogen in at {', '.join(i.id for i in inlets)}, out "
        f"at {where}, until no air is left there; then shut that outlet. Gas goes in only once the part is "
        "fed again, behind the nitrogen, by the operator's procedure.",
        Who.STOPS,
        "No gas goes in while a reading fails: go on with nitrogen.",
        uses=ids,
        hold=True,
    )


def _watched(case: OrderCase, watched: Sequence[str]) -> str:
    """Return which gauges are read while gas goes in."""
    taken = case.gauges_taken
    if not taken:
        return case.while_watched(" Gauges watched: the draw lowers the live network.")
    off = f"the hose takes the outlet of {' and '.join(taken)}: fit it again once the hose is off"
    if not watched:
        return f" No gauge can be read meanwhile: {off}."
    return f" Watch {', '.join(watched)}: the draw lowers the live network; {off}."


def _nitrogen(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the nitrogen that goes in ahead of gas that cannot reach its least flow."""
    vents, inlets = case.vents(), case.inlets()
    filled = tuple(point for point in vents if point.slug_m3 is not None)
    if not filled:
        return
    end = case.end_point("in", within="oxygen") or "no air is left"
    yield StepDraft(
        Stage.NITROGEN_IN,
        f"Nitrogen first: let it in at {', '.join(i.id for i in inlets) or 'one stop'}, out at "
        f"{', then '.join(point.id for point in filled)}, every other outlet shut, as much as the purge "
        f"sheet says and until {end} at each; leave all outlets shut.",
        Who.STOPS,
        "No gas goes in while a reading fails: go on with nitrogen, and get more where it runs out.",
        uses=(*(i.id for i in inlets), *(point.id for point in filled)),
        hold=True,
    )


def _rate(point: PurgePoint | None) -> str:
    """Return how fast gas goes back in: what can be had, where that is below the least flow."""
    if point is not None and point.is_short:
        return (
            "behind the nitrogen and at the flow that can be had (purge sheet): it is below the least flow, "
            "and no air may be ahead of it"
        )
    return "not slower than the least flow of the purge sheet"


def _too_slow(*, filled: bool) -> str:
    if filled:
        return "Stopped on the way: begin again with nitrogen."
    return "Too slow: larger hose or stack, other end, or nitrogen in all of the zone first."


def withdraw(case: OrderCase) -> Iterator[StepDraft]:
    """Yield each stop equalised, then taken out: the last one set comes out first."""
    for stop in reversed(case.stops):
        if not feeds_purge(case, stop):
            yield from open_inlet(stop)
        valve = (stop.valve_id,) if stop.valve_id else ()
        yield StepDraft(
            Stage.EQUALISE,
            f"Equalise across {stop.id}: open a hose from the gauge tapping to the zone vent until both "
            "sides read the same and stand still.",
            Who.STOPS,
            "Do not take it out against a difference: look for a leak, an open outlet or a closed end.",
            uses=(stop.id, *valve),
            hold=True,
            expect_mbar=stop.pressure_mbar,
            expect_at=stop.id,
        )
        out = (
            f"open valve {stop.valve_id} fully, slowly, count the turns, take lock and tag off"
            if stop.kind == "valve"
            else "shut the vent between; the barrier nearest the work comes out first, then the other"
            if stop.barriers == 2
            else "take the barrier out"
        )
        slow = (
            "; release slowly and mark the place, never to be squeezed again"
            if stop.kind == "squeeze"
            else ""
        )
        yield StepDraft(
            Stage.STOP_OUT,
            f"Take out {stop.id}: {out}{slow}.{case.while_watched(' Watch the gauges.')}",
            Who.STOPS,
            "Set it again and find the fault.",
            uses=(stop.id, *valve, *case.gauge_ids),
        )
