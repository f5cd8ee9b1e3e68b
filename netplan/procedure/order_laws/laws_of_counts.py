"""Law 32: counts and times are the same wherever the plan says them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Final

from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.planfile.model import Timeline, TimelineBar
from netplan.procedure.order_laws.item_states import GAS_OFF, Key, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["equal_counts_and_times"]

SAME_MIN: Final = 0.15
"""Times nearer than this are one: three times half the last digit of a timeline [min]."""
ROUND_MIN: Final = 30.0
"""Times told to customers are rounded to this [min]: from when they are off, down; until when, up."""
DAYS: Final = ("before", "day", "after")


def equal_counts_and_times(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 32: who is off, who is tallied and who is relit are the same; so are the times of the plan."""
    off = {customer.id for customer in walk.option.customers if customer.effect == "off"}
    tallied = {
        need.id
        for moment in walk.moments
        if walk.is_tally(moment)
        for need in moment.step.needs
        if need.kind == "meter"
    }
    shut = {one.item.id for one in walk.changed("meter", *GAS_OFF)}
    relit = {one.item.id for one in walk.changed("meter", "relit", "no access")}
    ended = {item.id for item in walk.meters if walk.moments and _is_closed(walk, item.id)}
    for name, found in (
        ("meters of the order", {item.id for item in walk.meters}),
        ("meters tallied", tallied),
        ("meters turned off", shut),
        ("meters relit or sealed", relit | ended),
    ):
        if walk.moments and found != off:
            what = f"{name}: {len(found)} customers, the plan has {len(off)} off"
            yield LawBreach(32, None, tuple(sorted(found ^ off)), what)
    for row in walk.option.loss_sheet:
        if off & set(row.customers) or row.meters < len(row.customers):
            yield LawBreach(32, None, (row.id,), "a failure counts others than customers kept so far")
    standby = set(walk.option.standby)
    if standby & off:
        yield LawBreach(32, None, tuple(sorted(standby & off)), "on standby and off")
    yield from _times(walk)


def _is_closed(walk: OrderWalk, ident: str) -> bool:
    return walk.moments[-1].after[("meter", ident)] in ("relit", "sealed", "no access")


def _times(walk: OrderWalk) -> Iterator[LawBreach]:
    timeline = walk.option.timeline
    if timeline is None:
        if walk.moments:
            yield LawBreach(32, None, (), "the order has no times")
        return
    numbers = [bar.n for bar in timeline.bars]
    steps = [moment.step.n for moment in walk.moments]
    if sorted(numbers) != steps:
        yield LawBreach(32, None, (), "the times are not those of the steps, one each")
        return
    bars = {bar.n: bar for bar in timeline.bars}
    yield from _first_and_last(walk, timeline, bars)
    yield from _in_order_of_needs(walk, bars)
    yield from _promised(walk, timeline, bars)


def _first_and_last(walk: OrderWalk, timeline: Timeline, bars: dict[int, TimelineBar]) -> Iterator[LawBreach]:
    off = [one.moment.step.n for one in walk.changed("meter") if one.change.from_ == "on"]
    lit = [one.moment.step.n for one in walk.changed("meter", "relit")]
    first = min((bars[n].start_min for n in off), default=None)
    last = max((bars[n].end_min for n in lit), default=None)
    for name, told, found in (
        ("the first meter is off", timeline.off_from_min, first),
        ("the last is relit", timeline.relit_min, last),
    ):
        if (told is None) != (found is None) or (
            told is not None and found is not None and abs(told - found) > SAME_MIN
        ):
            yield LawBreach(32, None, (), f"when {name}: {told} min in the times, {found} min by the steps")
    out = [one.moment.step.n for one in walk.changed("barrier", "withdrawn")]
    if out and max(bars[n].end_min for n in out) > timeline.gas_back_min + SAME_MIN:
        yield LawBreach(32, None, (), "gas is back before the last stop is out")


def _promised(walk: OrderWalk, timeline: Timeline, bars: dict[int, TimelineBar]) -> Iterator[LawBreach]:
    """Yield who is told to be off later, or much earlier, or on again sooner, than the times say."""
    if walk.conditions.start is None:
        return
    start = datetime.fromisoformat(walk.conditions.start)
    lit = {one.item.id: bars[one.moment.step.n].end_min for one in walk.changed("meter", "relit")}
    for customer in walk.option.customers:
        if customer.effect != "off":
            continue
        off, on = _after_min(start, customer.off_from), _after_min(start, customer.on_by)
        first = timeline.off_from_min
        if first is not None and (off is None or not first - ROUND_MIN < off <= first + SAME_MIN):
            yield LawBreach(32, None, (customer.id,), f"told to be off from {customer.off_from}")
        relit = lit.get(customer.id)
        if relit is not None and (on is None or on < relit - SAME_MIN):
            yield LawBreach(32, None, (customer.id,), f"told to be on by {customer.on_by}, relit later")


def _after_min(start: datetime, told: str | None) -> float | None:
    if told is None:
        return None
    return (datetime.fromisoformat(told) - start).total_seconds() / SECONDS_PER_MINUTE


def _in_order_of_needs(walk: OrderWalk, bars: dict[int, TimelineBar]) -> Iterator[LawBreach]:
    """Yield where a step begins before what it needs, or starts from, has been brought about."""
    made_by: dict[Key, int] = {}
    for moment in walk.moments:
        step = moment.step
        bar = bars[step.n]
        changed = [(change.kind, change.id) for change in step.changes]
        for key in dict.fromkeys([*((need.kind, need.id) for need in step.needs), *changed]):
            earlier = made_by.get(key)
            if earlier is not None and _begins_too_early(bars[earlier], bar):
                what = f"begins before step {earlier}, which it rests on, is done"
                yield LawBreach(32, step.n, (key[1],), what)
        made_by |= dict.fromkeys(changed, step.n)


def _begins_too_early(earlier: TimelineBar, bar: TimelineBar) -> bool:
    if earlier.day != bar.day:
        return DAYS.index(earlier.day) > DAYS.index(bar.day)
    return bar.start_min < earlier.end_min - SAME_MIN
