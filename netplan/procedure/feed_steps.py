"""Bypasses, hoses and opened valves: built, proved, accepted, and at the end removed."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Bypass, OrderItem, PressureTest, PurgePath
from netplan.planfile.naming import feed_shut_state
from netplan.procedure.order_item_building import hole_at_place
from netplan.procedure.step_case import OrderCase, feed_open_state
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = ["build_feeds", "close_feeds", "open_feeds", "remove_feeds"]

_NO_STOP = "Set no stop; find the fault, or choose the option without this feed."


def _ramps(bypass: Bypass) -> str:
    count = bypass.crossings
    return f" ({count} {'ramp' if count == 1 else 'ramps'} at carriageways)" if count else ""


def _tees(case: OrderCase, bypass: Bypass, end: str) -> str:
    """Return an end of a bypass or hose in words: its valve, outlets, main and excavation."""
    place = bypass.from_ if end == "from" else bypass.to
    outlets = " and ".join(item.id for item in case.items.tees(bypass.id, end))
    hole = hole_at_place(case.option.excavations, bypass, place)
    return f"{outlets} on main {place.main_id}{f' in {hole}' if hole else ''}"


def _places(case: OrderCase, bypass: Bypass) -> tuple[str, ...]:
    mains = (bypass.from_.main_id, bypass.to.main_id)
    tees = (item.id for end in ("from", "to") for item in case.items.tees(bypass.id, end))
    return (bypass.id, *tees, *mains, *case.holes_of_feed(bypass))


def build_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield every bypass and hose laid uncoupled, tested for tightness, and its resistance measured."""
    for bypass in case.option.bypasses:
        feed = case.items.feed(bypass.id)
        hoses = "" if bypass.parallel == 1 else f", {bypass.parallel} side by side, each with tees of its own"
        take = case.rules.duration
        yield StepDraft(
            Stage.FEED_BUILT,
            f"Lay {bypass.kind} {bypass.id}{hoses} along its route{_ramps(bypass)} between "
            f"{_tees(case, bypass, 'from')}, its live end, and {_tees(case, bypass, 'to')}, its fed end: a "
            "valve at either end, uncoupled, both ends plugged; guard it against traffic.",
            Who.FEEDS,
            "Do not lay it another way: plan again.",
            uses=_places(case, bypass),
            minutes=take.bypass + take.bypass_per_m * bypass.length_m,
            needs=in_state("dug", *(case.items.place(hole) for hole in case.holes_of_feed(bypass))),
            changes=in_state("laid", feed),
        )
        yield from _tested(case, bypass)


def _tested(case: OrderCase, bypass: Bypass) -> Iterator[StepDraft]:
    feed, test = case.items.feed(bypass.id), case.rules.pressure_test
    yield StepDraft(
        Stage.FEED_TESTED,
        f"Test {bypass.id} for tightness with air, uncoupled and plugged at both ends; then let the "
        f"pressure off fully, or air goes into the main.",
        Who.FEEDS,
        "Repair and retest; let no gas into it before it is tight.",
        uses=(bypass.id,),
        hold=True,
        minutes=test.feed,
        needs=in_state("laid", feed),
        changes=in_state("tested", feed),
        pressure_tests=(
            PressureTest(what="feed", test_mbar=test.feed_mbar, minutes=test.feed, medium="air"),
        ),
    )
    yield StepDraft(
        Stage.FEED_MEASURED,
        f"Measure the resistance of {bypass.id}, still uncoupled: blow air through it at its planned flow "
        "and read the drop from end to end, with the instrument named for this test and up to the greatest "
        "drop allowed.",
        Who.FEEDS,
        f"Look for a kink, a valve not full open, a wrong bore. {_NO_STOP}",
        uses=(bypass.id,),
        hold=True,
        needs=in_state("tested", feed),
    )


def open_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield every feed from coupling to its acceptance, then the valves that are opened."""
    for bypass in case.option.bypasses:
        yield from _coupled_and_purged(case, bypass)
        yield from _opened(case, bypass)
    yield from _open_valves(case)


def _coupled_and_purged(case: OrderCase, bypass: Bypass) -> Iterator[StepDraft]:
    items, feed = case.items, case.items.feed(bypass.id)
    live, fed = items.feed_end(bypass.id, "from"), items.feed_end(bypass.id, "to")
    stack = items.feed_vent(bypass.id)
    tees = (*items.tees(bypass.id, "from"), *items.tees(bypass.id, "to"))
    yield StepDraft(
        Stage.FEED_COUPLED,
        f"Couple {bypass.id} at {_tees(case, bypass, 'from')} and {_tees(case, bypass, 'to')}, both its "
        "valves shut and no pressure in it; a stack on the shut valve at its fed end.",
        Who.FEEDS,
        "Uncouple it; let no gas into it.",
        uses=(*_places(case, bypass), *_ids(live, fed, stack)),
        needs=(*in_state("tested", feed), *in_state("drilled", *tees), *in_state("shut", live, fed, stack)),
    )
    yield StepDraft(
        Stage.FEED_PURGED,
        f"Purge {bypass.id} from its live end through the stack at its shut fed end: open the stack first, "
        f"then its live end slowly. Pass its whole volume through, until at least 90 % gas by volume, two "
        f"steady "
        "readings.",
        Who.FEEDS,
        "Go on purging; do not open it into the main before both readings hold.",
        uses=(bypass.id, *_ids(live, stack)),
        minutes=case.rules.duration.bypass_purge,
        needs=(*in_state("tested", feed), *in_state("drilled", *tees), *in_state("shut", fed)),
        changes=(*in_state("open", stack), *in_state("open", live)),
        purge=PurgePath(
            part_id=bypass.id,
            inlet=live.id if live else bypass.id,
            outlet=stack.id if stack else bypass.id,
            medium="gas",
            end="at least 90 % gas by volume, two steady readings",
        ),
    )
    yield StepDraft(
        Stage.FEED_PURGED,
        f"Shut the stack of {bypass.id} and cap it; its live end stays open, its fed end shut.",
        Who.FEEDS,
        "Shut its live end and find the leak.",
        uses=(bypass.id, *_ids(live, stack)),
        needs=(*in_state("open", live, stack), *in_state("shut", fed)),
        changes=(*in_state("shut", stack), *in_state("purged", feed)),
    )


def _opened(case: OrderCase, bypass: Bypass) -> Iterator[StepDraft]:
    items, feed, name = case.items, case.items.feed(bypass.id), feed_open_state(bypass.id)
    live, fed = items.feed_end(bypass.id, "from"), items.feed_end(bypass.id, "to")
    state = case.states.get(name)
    yield StepDraft(
        Stage.FEED_OPENED,
        f"Open {bypass.id} slowly at its fed end, with somebody at each end{case.while_watched()}.",
        Who.FEEDS,
        "At an abort reading, or if any gauge falls: shut its fed end and find the fault.",
        uses=(bypass.id, *_ids(live, fed), *case.gauge_ids),
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        minutes=case.rules.duration.bypass_open,
        needs=(*in_state("purged", feed), *in_state("open", live), *in_state("shut", fed)),
        changes=(*in_state("open", fed), *in_state("open", feed)),
        reads=case.gauge_ids,
        state=name,
        manned=_ids(live, fed),
    )
    yield StepDraft(
        Stage.FEED_PROVED,
        f"Accept {bypass.id} before any stop relies on it: resistance measured, both ends full open and "
        f"manned{case.while_watched(', every gauge in the band of this state')}. It carries little gas "
        f"until stops are in: the first outer barrier confirms that it carries.",
        Who.FEEDS,
        _NO_STOP,
        uses=(bypass.id, *case.gauge_ids),
        hold=True,
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        needs=(*in_state("open", feed), *in_state("open", live, fed)),
        changes=in_state("accepted", feed),
        reads=case.gauge_ids,
        state=name,
    )


def _open_valves(case: OrderCase) -> Iterator[StepDraft]:
    for opened in case.option.opened_valves:
        name = feed_open_state(opened.valve_id)
        state, feed = case.states.get(name), case.items.opened(opened.valve_id)
        valve = case.items.boundary(opened.valve_id)
        yield StepDraft(
            Stage.FEED_OPENED,
            f"Open boundary valve {opened.valve_id} slowly, with both sides gauged and network control on "
            "the line.",
            Who.FEEDS,
            "The two sides do not agree: close it again.",
            uses=(opened.valve_id, *case.gauge_ids),
            expect_mbar=state.least_mbar if state else None,
            expect_at=state.at if state else "",
            minutes=case.rules.duration.open_valve,
            needs=in_state("shut", valve),
            changes=(*in_state("open", valve), *in_state("open", feed)),
            reads=case.gauge_ids,
            state=name,
        )
        yield StepDraft(
            Stage.FEED_PROVED,
            f"Accept valve {opened.valve_id}: gas flows through it, no station hunts or locks up"
            f"{case.while_watched(', every gauge in the band of this state')}.",
            Who.CONTROL,
            _NO_STOP,
            uses=(opened.valve_id, *case.gauge_ids),
            hold=True,
            expect_mbar=state.least_mbar if state else None,
            expect_at=state.at if state else "",
            needs=(*in_state("open", valve), *in_state("open", feed)),
            changes=in_state("accepted", feed),
            reads=case.gauge_ids,
            state=name,
        )


def close_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the closing of every feed, one end at a time, while the meters are still off: so it is solved."""
    for opened in case.option.opened_valves:
        valve, feed = case.items.boundary(opened.valve_id), case.items.opened(opened.valve_id)
        yield StepDraft(
            Stage.FEED_CLOSED,
            f"Close boundary valve {opened.valve_id} slowly{case.while_watched()}.",
            Who.FEEDS,
            "Open it again and find what is still shut.",
            uses=(opened.valve_id, *case.gauge_ids),
            needs=in_state("open", valve),
            changes=(*in_state("shut", valve), *in_state("shut", feed)),
            reads=case.gauge_ids,
            state=feed_shut_state(opened.valve_id),
        )
    for bypass in case.option.bypasses:
        yield from _closed(case, bypass)


def remove_feeds(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the removal of bypasses and hoses, shut at both ends."""
    for bypass in case.option.bypasses:
        yield from _removed(case, bypass)


def _closed(case: OrderCase, bypass: Bypass) -> Iterator[StepDraft]:
    feed = case.items.feed(bypass.id)
    live, fed = case.items.feed_end(bypass.id, "from"), case.items.feed_end(bypass.id, "to")
    yield StepDraft(
        Stage.FEED_CLOSED,
        f"Shut {bypass.id} slowly at its fed end{case.while_watched()}.",
        Who.FEEDS,
        "Open it again and find what is still shut.",
        uses=(bypass.id, *_ids(fed), *case.gauge_ids),
        needs=in_state("open", fed),
        changes=(*in_state("shut", fed), *in_state("shut", feed)),
        reads=case.gauge_ids,
        state=feed_shut_state(bypass.id),
    )
    yield StepDraft(
        Stage.FEED_CLOSED,
        f"Shut {bypass.id} at its live end.",
        Who.FEEDS,
        "Leave it manned and find out why the valve does not shut.",
        uses=(bypass.id, *_ids(live)),
        needs=(*in_state("shut", fed), *in_state("open", live)),
        changes=in_state("shut", live),
    )


def _removed(case: OrderCase, bypass: Bypass) -> Iterator[StepDraft]:
    items, feed = case.items, case.items.feed(bypass.id)
    live, fed, stack = (
        items.feed_end(bypass.id, "from"),
        items.feed_end(bypass.id, "to"),
        items.feed_vent(bypass.id),
    )
    yield StepDraft(
        Stage.FEED_REMOVED,
        f"Vent {bypass.id} through its stack, both ends shut; purge it with air or nitrogen to the stack "
        "until no gas is read, two steady readings.",
        Who.FEEDS,
        "If the pressure does not fall or comes back, one end valve lets by: do not uncouple it.",
        uses=(bypass.id, *_ids(stack)),
        hold=True,
        minutes=case.rules.duration.bypass_off,
        needs=in_state("shut", live, fed),
        changes=in_state("open", stack),
    )
    yield StepDraft(
        Stage.FEED_REMOVED,
        f"Shut the stack, uncouple {bypass.id} at both ends, plug its outlets at once and take it away.",
        Who.FEEDS,
        "Couple it again and find the leak.",
        uses=(*_places(case, bypass), *_ids(live, fed, stack)),
        needs=(*in_state("shut", live, fed), *in_state("open", stack)),
        changes=(*in_state("shut", stack), *in_state("removed", feed)),
    )


def _ids(*items: OrderItem | None) -> tuple[str, ...]:
    return tuple(item.id for item in items if item is not None)
