"""When the plan has each step, and by when the main must be cut."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Final

from netplan.planfile.model import Option, Plan, Step, Timeline, TimelineBar
from netplan.procedure.step_kinds import Stage

__all__ = [
    "FIRST_HOUR",
    "PlannedOrder",
    "bars_by_step",
    "cut_hold",
    "latest_cut_min",
    "minutes_in",
    "start_clock",
    "window_start",
]

FIRST_HOUR: Final = 8
"""Hour at which a window without a start begins, as the timeline takes it."""
_SAME_DAY: Final = timedelta(hours=36)
_AHEAD: Final = timedelta(hours=6)
"""A log belongs to the planned day within the first; else its day begins at most the second ahead (own). The
scripts of the page take the same."""
_DAY_MIN: Final = 24 * 60
_DAYS: Final = ("before", "day", "after")


def start_clock(plan: Plan) -> tuple[int, int]:
    """Return hour and minute at which the window begins."""
    if plan.conditions.start is None:
        return FIRST_HOUR, 0
    start = datetime.fromisoformat(plan.conditions.start)
    return start.hour, start.minute


def latest_cut_min(plan: Plan, timeline: Timeline) -> float | None:
    """Return the latest time to cut as printed, rounded down by the clock [min since the start]."""
    if timeline.latest_cut_min is None:
        return None
    hour, minute = start_clock(plan)
    printed = re.match(r"(\d\d):(\d\d)", timeline.latest_cut)
    if printed is None:
        return timeline.latest_cut_min
    by_clock = 60 * hour + minute + timeline.latest_cut_min
    return timeline.latest_cut_min - (by_clock - 60 * int(printed[1]) - int(printed[2])) % _DAY_MIN


def bars_by_step(option: Option) -> dict[int, TimelineBar]:
    """Return the first bar of the timeline of each step, by its number; none in old plans."""
    bars = option.timeline.bars if option.timeline is not None else ()
    found: dict[int, TimelineBar] = {}
    for bar in bars:
        found.setdefault(bar.n, bar)
    return found


def cut_hold(option: Option) -> Step | None:
    """Return the hold of the latest time to cut; the cut itself where the plan has no such hold."""
    for step in option.steps:
        if step.stage == Stage.LATEST_CUT:
            return step
    parts = {item.id for item in option.items if item.kind == "part" and item.role == "cut part"}
    for step in option.steps:
        if any(change.kind == "part" and change.id in parts for change in step.changes):
            return step
    return None


def window_start(plan: Plan, moment: datetime) -> datetime:
    """Return the start of the window that a local moment belongs to.

    The planned one, or, where the plan has none or it is another day, the last one by the clock that is not
    more than six hours ahead.
    """
    if plan.conditions.start is not None:
        planned = datetime.fromisoformat(plan.conditions.start)
        if abs(moment - planned) < _SAME_DAY:
            return planned
    hour, minute = start_clock(plan)
    start = moment.replace(hour=hour, minute=minute, second=0, microsecond=0)
    return start - timedelta(days=1) if start - moment > _AHEAD else start


def minutes_in(plan: Plan, moment: datetime) -> float:
    """Return how long after the start of the window a local moment is [min]."""
    return (moment - window_start(plan, moment)).total_seconds() / 60.0


class PlannedOrder:
    """Which steps the plan ends before others begin.

    Parameters
    ----------
    option : Option
        By its timeline; by the numbers of its steps where it has none.
    """

    def __init__(self, option: Option) -> None:
        self._bars = bars_by_step(option)

    def bar(self, n: int) -> TimelineBar | None:
        """Return the bar of a step; None where the timeline has none."""
        return self._bars.get(n)

    def precedes(self, one: int, other: int) -> bool:
        """Return whether step `one` ends before step `other` begins."""
        first, second = self._bars.get(one), self._bars.get(other)
        if one >= other or first is None or second is None:
            return one < other
        if first.day != second.day:
            return _DAYS.index(first.day) < _DAYS.index(second.day)
        return first.end_min <= second.start_min
