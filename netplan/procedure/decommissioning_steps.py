"""From the last stop to a gas-free work section, and the work itself."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.procedure.step_case import OrderCase, fallback_words
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["do_work", "empty"]


def empty(case: OrderCase) -> Iterator[StepDraft]:
    """Yield venting, purging out and the proof that the zone is gas-free."""
    stop_ids = tuple(stop.id for stop in case.stops)
    vents, inlets, purge = case.vents(), case.inlets(), case.option.purge
    through = ", ".join(point.id for point in vents) or "the zone vents of the stops"
    yield StepDraft(
        Stage.VENT,
        f"Vent the zone through {through}: stacks upright, earthed, with flame arrester, clear of ignition, "
        "openings and air intakes; ignition sources out, extinguishers ready, people kept away.",
        Who.STOPS,
        "If the pressure does not fall to nothing or comes back, a stop lets by: do not go on.",
        uses=(*(point.id for point in vents), *stop_ids),
        hold=True,
        expect_mbar=0.0,
        expect_at=vents[0].id if vents else stop_ids[0],
    )
    medium = purge.medium or "by air mover or inert gas"
    for point in vents or (None,):
        ids = (*(inlet.id for inlet in inlets), *((point.id,) if point else stop_ids))
        where = f"{point.id} on main {point.main_id}" if point else "the zone vents of the stops"
        yield StepDraft(
            Stage.PURGE_OUT,
            f"Purge out ({medium}): in at {', '.join(i.id for i in inlets) or 'the far end'}, out at "
            f"{where}, without a break and not slower than the least flow of the purge sheet; every other "
            "outlet shut; never through a service or a meter.",
            Who.STOPS,
            "If the flow is not reached: larger stack, other end, or inert gas; begin this branch again.",
            uses=ids,
            minutes=point.minutes_out if point else purge.minutes_out,
        )
    entry = case.end_point("entry")
    trench = f"; before anybody goes in: {entry}" if entry else ""
    yield StepDraft(
        Stage.GAS_FREE,
        f"Prove the zone gas-free at every vent: {case.end_point('out') or 'end point of the procedure'}"
        f"{trench}; read twice some minutes apart and write every reading with its unit.",
        Who.COMPETENT,
        "Purge on; if the reading rises again, look for let-by or for a branch that was not purged.",
        uses=tuple(point.id for point in vents) or stop_ids,
        hold=True,
    )


def do_work(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the work, the test of the new pipe, tie-in and what happens overnight."""
    stop_ids = tuple(stop.id for stop in case.stops)
    mains = tuple(dict.fromkeys(item.main_id for item in case.work))
    yield StepDraft(
        Stage.NEW_PIPE,
        "Test the new pipe for strength and tightness before it is joined to anything, capped at both "
        "ends; never against bags or squeezes.",
        Who.WORK,
        "Mend it and test again; nothing is tied in that has not passed.",
        uses=mains,
        hold=True,
    )
    lost = ". ".join(
        f"{stop.id}: {fallback_words(case.fallback(stop.id, 'lost during open work'))}" for stop in case.stops
    )
    yield StepDraft(
        Stage.WORK,
        "Cut out and work with a gas detector running in the trench, the vents between barriers open, the "
        "stops manned; bond across the cut before cutting metal.",
        Who.WORK,
        f"Everybody leaves the trench, then: {lost}.",
        uses=(*mains, *stop_ids),
    )
    yield StepDraft(
        Stage.TIE_IN,
        "Tie in; let fusion joints cool their full time; every joint recorded by number and welder.",
        Who.WORK,
        "Cut the joint out and make it again.",
        uses=mains,
    )
    at = case.stops[0]
    yield StepDraft(
        Stage.JOINTS,
        "Test the tie-in joints at operating pressure with leak fluid, by air or inert gas let in through "
        "a purge point; not above operating pressure, because the stops hold against it.",
        Who.WORK,
        "Let the pressure off, mend the joint and test again.",
        uses=(*mains, *(point.id for point in case.inlets())),
        hold=True,
        expect_mbar=at.pressure_mbar,
        expect_at=at.id,
    )
    yield StepDraft(
        Stage.OVERNIGHT,
        "If the work does not end today: cap both cut ends and test the caps, then leave. Bags are never "
        "left unattended; a cap is the barrier overnight, not a bag or a squeeze.",
        Who.COMPETENT,
        "A crew stays with every stop until capped.",
        uses=stop_ids,
        hold=True,
    )
