"""Bypasses, hoses and opened valves: built, proved, and at the end closed again."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from netplan.planfile.model import Bypass
from netplan.planfile.model import Place as FeedPlace
from netplan.procedure.step_case import OrderCase, feed_open_state
from netplan.procedure.step_kinds import Stage, StepDraft, Who

__all__ = ["close_feeds", "open_feeds", "prove_through_flow"]

_NO_STOP = "Set no stop; find the fault, or choose the option without this feed."


def _ramps(bypass: Bypass) -> str:
    count = bypass.crossings
    return f" ({count} {'ramp' if count == 1 else 'ramps'} at carriageways)" if count else ""


def _in_hole(case: OrderCase, bypass: Bypass, end: FeedPlace) -> str:
    """Return in which excavation an end of a bypass or hose is tapped."""
    holes = [one for ident in case.holes_of_feed(bypass) if (one := case.excavation(ident))]
    nearest = min(
        holes,
        key=lambda one: shapely.distance(shapely.Polygon(one.outline), shapely.Point(end.x, end.y)),
        default=None,
    )
    return "" if nearest is None else f" in {nearest.id}"


def open_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield every feed from laying to proof of its flow."""
    for bypass in case.option.bypasses:
        kind, state = bypass.kind, case.states.get(feed_open_state(bypass.id))
        mains = (bypass.from_.main_id, bypass.to.main_id)
        tees = "; each of its hoses has a tee of its own at either end" if bypass.parallel > 1 else ""
        yield StepDraft(
            Stage.FEED_BUILT,
            f"Tap main {bypass.from_.main_id}{_in_hole(case, bypass, bypass.from_)} for the feeding end and "
            f"main {bypass.to.main_id}{_in_hole(case, bypass, bypass.to)} for the fed end (places on the "
            f"bypass sheet{tees}), lay {kind} {bypass.id} between them along its route{_ramps(bypass)}, "
            "guard it against traffic, and test it for strength and tightness before any gas is in it.",
            Who.FEEDS,
            "Mend and test again; no gas into it before it is tight.",
            uses=(bypass.id, *mains, *case.holes_of_feed(bypass)),
            hold=True,
        )
        yield StepDraft(
            Stage.FEED_PURGED,
            f"Purge {bypass.id} from its feeding end through a stack at the other end until gas alone comes "
            "out.",
            Who.FEEDS,
            "Purge on; do not open it into the main before the reading holds.",
            uses=(bypass.id,),
        )
        yield StepDraft(
            Stage.FEED_OPENED,
            f"Open {bypass.id} slowly at both ends{case.while_watched(' and watch the gauges')}.",
            Who.FEEDS,
            "Close it and find the fault.",
            uses=(bypass.id, *case.gauge_ids),
            expect_mbar=state.least_mbar if state else None,
            expect_at=state.at if state else "",
        )
        yield StepDraft(
            Stage.FEED_PROVED,
            f"Prove the flow of {bypass.id} before any stop relies on it: take its planned flow through a "
            "meter to a stack at the end it feeds, for as long as a reading needs, and read the pressure "
            "there.",
            Who.FEEDS,
            _NO_STOP,
            uses=(bypass.id,),
            hold=True,
            expect_mbar=bypass.pressure_to_mbar,
            expect_at=bypass.id,
        )
    yield from _open_valves(case)


def _open_valves(case: OrderCase) -> Iterator[StepDraft]:
    for valve in case.option.opened_valves:
        state = case.states.get(feed_open_state(valve.valve_id))
        yield StepDraft(
            Stage.FEED_OPENED,
            f"Open boundary valve {valve.valve_id} slowly, with both sides gauged and network control on "
            "the line.",
            Who.FEEDS,
            "Close it again; the two sides do not agree.",
            uses=(valve.valve_id, *case.gauge_ids),
            expect_mbar=state.least_mbar if state else None,
            expect_at=state.at if state else "",
        )
        yield StepDraft(
            Stage.FEED_PROVED,
            f"Prove that gas flows through valve {valve.valve_id} and that no station hunts or locks up.",
            Who.CONTROL,
            _NO_STOP,
            uses=(valve.valve_id,),
            hold=True,
        )


def prove_through_flow(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the proof that the main itself carries again, before any feed is closed."""
    gauge = case.option.gauges[0] if case.option.gauges else None
    throttled = ", and staying there while the feeds are throttled one at a time" if case.feed_ids else ""
    yield StepDraft(
        Stage.THROUGH_FLOW,
        "Prove that gas flows through the whole length worked on and past every stop's place"
        f"{case.while_watched(': every gauge back at its normal reading')}{throttled}.",
        Who.CONTROL,
        "Leave every feed open; something is still shut in the main.",
        uses=(*(stop.id for stop in case.stops), *case.gauge_ids, *case.feed_ids),
        hold=True,
        expect_mbar=gauge.normal_mbar if gauge else None,
        expect_at=gauge.id if gauge else "",
    )


def close_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the closing of every feed."""
    for valve in case.option.opened_valves:
        yield StepDraft(
            Stage.FEED_CLOSED,
            f"Close boundary valve {valve.valve_id} slowly{case.while_watched()}.",
            Who.FEEDS,
            "Open it again and look for what is still shut.",
            uses=(valve.valve_id, *case.gauge_ids),
        )
    for bypass in case.option.bypasses:
        yield StepDraft(
            Stage.FEED_CLOSED,
            f"Close {bypass.id} slowly{case.while_watched()}, shut both its ends, vent it through a stack, "
            "purge it and take it away.",
            Who.FEEDS,
            "Open it again and look for what is still shut.",
            uses=(bypass.id, *case.gauge_ids),
        )
