"""How long each stage took against what was planned."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from netplan.outputs.work_day.planned_times import bars_by_step
from netplan.planfile.model import Option, Step, TimelineBar

__all__ = ["StageTime", "stage_times"]


@dataclass(frozen=True, slots=True)
class StageTime:
    """A stage of the order, with its minutes.

    Parameters
    ----------
    stage : str
        Empty where the plan names none.
    first, last : int
        Numbers of its first and last step.
    done : int
        How many of its steps are done.
    planned_min : float or None
        From the beginning of its first step to the end of its last by the timeline, day by day; the sum of
        its steps where the plan has no timeline [min].
    actual_min : float or None
        From the step done before it on the same day to its last one, day by day; None where there is no such
        step, or none of its own is done [min].
    """

    stage: str
    first: int
    last: int
    done: int
    planned_min: float | None
    actual_min: float | None


def stage_times(option: Option, times: dict[int, datetime]) -> tuple[StageTime, ...]:
    """Return the stages in their order.

    Parameters
    ----------
    option : Option
    times : dict
        When each step was done, by its number.
    """
    bars = bars_by_step(option)
    found = []
    for stage, group in groupby(option.steps, key=lambda step: step.stage):
        steps = list(group)
        numbers = [step.n for step in steps]
        found.append(
            StageTime(
                stage=stage,
                first=numbers[0],
                last=numbers[-1],
                done=sum(n in times for n in numbers),
                planned_min=_planned(steps, bars),
                actual_min=_actual(numbers, times),
            )
        )
    return tuple(found)


def _planned(steps: Iterable[Step], bars: dict[int, TimelineBar]) -> float | None:
    rows = list(steps)
    days: dict[str, list[TimelineBar]] = {}
    for step in rows:
        if step.n in bars:
            days.setdefault(bars[step.n].day, []).append(bars[step.n])
    if days:
        return sum(max(b.end_min for b in day) - min(b.start_min for b in day) for day in days.values())
    minutes = [step.minutes for step in rows if step.minutes is not None]
    return sum(minutes) if minutes else None


def _actual(numbers: list[int], times: dict[int, datetime]) -> float | None:
    own = [times[n] for n in numbers if n in times]
    days: dict[date, list[datetime]] = {}
    for time in own:
        days.setdefault(time.date(), []).append(time)
    total, is_known = 0.0, False
    for day, done in days.items():
        before = [t for n, t in times.items() if n not in numbers and t.date() == day and t <= min(done)]
        if before or len(done) > 1:
            is_known = True
            total += (max(done) - max(before, default=min(done))).total_seconds() / 60.0
    return total if is_known else None
