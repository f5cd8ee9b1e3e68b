"""When the plan has each step, and by when the main must be cut."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from netplan.planfile.model import Option, Plan, Step, TimelineBar

__all__ = [
    "FIRST_HOUR",
    "PlannedOrder",
    "bars_by_step",
    "clock_at",
    "cut_step",
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
_DAYS: Final = ("before", "day", "after")


def start_clock(plan: Plan) -> tuple[int, int]:
    """Return hour and minute at which the window begins."""
    if plan.conditions.start is None:
        return FIRST_HOUR, 0
    start = datetime.fromisoformat(plan.conditions.start)
    return start.hour, start.minute


def clock_at(plan: Plan, minutes: float) -> str:
    """Return the time of day some minutes after the start of the window: "13:40"."""
    hour, minute = start_clock(plan)
    moment = datetime(2000, 1, 3, hour, minute) + timedelta(minutes=minutes)
    return f"{moment:%H:%M}"


def bars_by_step(option: Option) -> dict[int, TimelineBar]:
    """Return the first bar of the timeline of each step, by its number; none in old plans."""
    bars = option.timeline.bars if option.timeline is not None else ()
    found: dict[int, TimelineBar] = {}
    for bar in bars:
        found.setdefault(bar.n, bar)
    return found


def cut_step(option: Option) -> Step | None:
    """Return the step in which the main is cut: the first that changes a part which the cut makes."""
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
