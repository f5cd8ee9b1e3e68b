"""Laws 3, 16, 25, 26 and 31: barriers proved, two of them before an open main, moved one at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from netplan.planfile.model import OrderItem, Step, TimelineBar
from netplan.procedure.order_laws.item_states import IN_PLACE, ChangeAt, Key, Moment, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach
from netplan.procedure.step_kinds import Who

__all__ = [
    "barriers_proved_first",
    "manned_while_in",
    "one_thing_moves",
    "space_then_inner_then_outer",
    "two_barriers_before_open_main",
]

MOVED_VALVES: Final = ("stop", "boundary", "station inlet", "feed end from", "feed end to")
SAME_MIN: Final = 0.05
"""Times nearer than this are one: half the last digit of a timeline [min]."""


def barriers_proved_first(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 3: every barrier, those of prepared fallbacks too, is proved before the first meter is off."""
    limit = min(walk.first_meter_off, walk.first_in)
    if limit == len(walk.moments):
        return
    moment = walk.moments[limit]
    proved = {one.item.id for one in walk.changed("barrier", "proved") if one.place < limit}
    late = tuple(item.id for item in walk.of_kind("barrier") if item.id not in proved)
    if late:
        yield LawBreach(3, moment.step.n, late, "barriers not proved before the first meter or stop")


def two_barriers_before_open_main(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 16: with people in the trench each stop holds with two accepted barriers and its vent open.

    A single barrier needs an exception that the competent person signed: a hold of theirs that needs it.
    """
    signed: set[str] = set()
    for place, moment in enumerate(walk.moments):
        step = moment.step
        if step.hold and step.who == Who.COMPETENT.value:
            signed.update(
                need.id for need in step.needs if need.kind == "barrier" and need.state == "accepted"
            )
        if step.trench != "occupied" or place >= walk.gas_back:
            continue
        for states in (moment.before, moment.after):
            weak = tuple(stop_id for stop_id in walk.stops if not _holds(walk, states, stop_id, signed))
            if weak:
                what = "people in the trench without two accepted barriers, vent open, or a signed exception"
                yield LawBreach(16, step.n, weak, what)
                break


def _holds(walk: OrderWalk, states: Mapping[Key, str], stop_id: str, signed: set[str]) -> bool:
    accepted = [item for item in walk.barriers_of(stop_id) if states.get(("barrier", item.id)) == "accepted"]
    vents = [item for item in walk.of_kind("vent", "between") if item.of == stop_id]
    vented = bool(vents) and all(states.get(("vent", item.id)) == "open" for item in vents)
    if len(accepted) >= 2:
        return vented
    return len(accepted) == 1 and accepted[0].role == "single" and accepted[0].id in signed


def one_thing_moves(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 25: neither both ends of anything, nor two barriers, move at one time."""
    for moment in walk.moments:
        moved = _moved(walk, moment.step)
        if len(moved) > 1:
            yield LawBreach(25, moment.step.n, tuple(moved), "more than one thing moves at this step")
    yield from _moving_side_by_side(walk)


def _moved(walk: OrderWalk, step: Step) -> dict[str, None]:
    """Return what a step moves in the gas, a valve and the barrier or feed that it is as one thing."""
    moved: dict[str, None] = {}
    for change in step.changes:
        item = walk.items.get((change.kind, change.id))
        if item is None:
            continue
        is_valve = item.kind == "valve" and item.role in MOVED_VALVES
        if is_valve or _is_moved_barrier(change.from_, change.to, item):
            moved[_thing(walk, item)] = None
    return moved


def _is_moved_barrier(before: str, after: str, item: OrderItem) -> bool:
    if item.kind != "barrier":
        return False
    return after in ("set", "withdrawn") or (before in IN_PLACE and after not in IN_PLACE)


def _thing(walk: OrderWalk, item: OrderItem) -> str:
    """Return what moves: for a valve that is a barrier, that barrier."""
    if item.kind == "valve" and item.role in ("stop", "station inlet"):
        roles = ("outer",) if item.role == "station inlet" else ("inner", "single")
        for barrier in walk.barriers_of(item.of):
            if barrier.role in roles:
                return barrier.id
    return item.id


def _moving_side_by_side(walk: OrderWalk) -> Iterator[LawBreach]:
    if walk.option.timeline is None:
        return
    bars = {bar.n: bar for bar in walk.option.timeline.bars}
    moving = [(m.step, bars[m.step.n]) for m in walk.moments if m.step.n in bars and _moved(walk, m.step)]
    latest: tuple[Step, TimelineBar] | None = None
    for step, bar in sorted(moving, key=lambda pair: (pair[1].day != "before", pair[1].start_min)):
        if latest is not None and latest[1].day == bar.day and bar.start_min < latest[1].end_min - SAME_MIN:
            ids = (*_moved(walk, latest[0]), *_moved(walk, step))
            yield LawBreach(25, step.n, ids, f"moves while step {latest[0].n} moves another thing")
        latest = (step, bar)


def space_then_inner_then_outer(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 26: the space between is purged, its vent shut, the inner barrier taken out, then the outer."""
    for one in walk.changed("barrier", "withdrawn", roles=("inner", "outer")):
        if one.item.of not in walk.stops:
            continue
        before, step = one.moment.before, one.moment.step
        if one.item.role == "outer":
            inner = [item for item in walk.barriers_of(one.item.of) if item.role == "inner"]
            if _is_station_put_back(walk, one):
                continue
            still_in = tuple(item.id for item in inner if before[("barrier", item.id)] != "withdrawn")
            if still_in:
                yield LawBreach(
                    26, step.n, (one.item.id, *still_in), "the outer barrier before the inner one"
                )
            continue
        spaces = [item for item in walk.of_kind("part", "space") if item.of == one.item.of]
        not_gas = tuple(item.id for item in spaces if before[("part", item.id)] not in ("gas", "live"))
        if not_gas or not spaces:
            ids = (one.item.id, *not_gas)
            yield LawBreach(26, step.n, ids, "the inner barrier before the space between is purged")
        vents = [item for item in walk.of_kind("vent", "between") if item.of == one.item.of]
        still_open = tuple(item.id for item in vents if one.moment.after[("vent", item.id)] != "shut")
        if still_open:
            yield LawBreach(26, step.n, (one.item.id, *still_open), "the inner barrier with its vent open")


def _is_station_put_back(walk: OrderWalk, one: ChangeAt) -> bool:
    """Return whether a station's inlet is opened to purge from it: trench empty, the space on its vent."""
    step = one.moment.step
    spaces = {item.id for item in walk.of_kind("part", "space") if item.of == one.item.of}
    is_inlet = any(item.of == one.item.of for item in walk.of_kind("valve", "station inlet"))
    return is_inlet and step.trench == "empty" and step.purge is not None and step.purge.part_id in spaces


def manned_while_in(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 31: a set bag, and each end of a bypass that is open, has a person at it all the time."""
    bags = tuple(item for item in walk.barriers if walk.stops[item.of].kind == "bag")
    for moment in walk.moments:
        wanted = [item.id for item in bags if _in_throughout(moment, item)]
        wanted += [
            ident for feed in walk.feed_ids if _is_open(walk, moment, feed) for ident in _ends(walk, feed)
        ]
        missing = tuple(ident for ident in wanted if ident not in moment.step.manned)
        if missing:
            yield LawBreach(31, moment.step.n, missing, "in, or open, with nobody at it")


def _in_throughout(moment: Moment, item: OrderItem) -> bool:
    key = (item.kind, item.id)
    return moment.before[key] in IN_PLACE and moment.after[key] in IN_PLACE


def _is_open(walk: OrderWalk, moment: Moment, feed: str) -> bool:
    states = (walk.feed_state(moment.before, feed), walk.feed_state(moment.after, feed))
    return all(state in ("open", "accepted") for state in states)


def _ends(walk: OrderWalk, feed: str) -> tuple[str, ...]:
    return tuple(item.id for item in walk.of_kind("valve", "feed end from", "feed end to") if item.of == feed)
