"""The steps over the crews of the rules: when each begins and ends, the longest path, and the latest cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Final, Literal

from netplan.core.constants import MINUTES_PER_HOUR
from netplan.customers import EARLIEST_START_H, day_end_after_min
from netplan.planfile.model import Conditions, Option, Step, Timeline, TimelineBar
from netplan.procedure.hours_by_counts import relight_minutes
from netplan.procedure.schedule import (
    BEFORE_STAGES,
    LATER_STAGES,
    RELIGHT_STAGES,
    Scheduled,
    Task,
    by_crew,
    in_order,
)
from netplan.procedure.step_kinds import Stage, Who
from netplan.rules import Rules
from netplan.rules.rule_set import CrewRules

__all__ = ["timeline"]

LATEST_TO_MIN: Final = 5
"""The latest time to cut is rounded down to this by the clock (own) [min]."""
Day = Literal["before", "day", "after"]


@dataclass(frozen=True, slots=True)
class _Dated:
    """A step, the part of the work it belongs to, and its bar."""

    step: Step
    day: Day
    start_min: float
    end_min: float
    critical: bool = False

    def bar(self) -> TimelineBar:
        return TimelineBar(
            n=self.step.n,
            day=self.day,
            crew=self.step.who,
            start_min=self.start_min,
            end_min=self.end_min,
            critical=self.critical,
        )


def timeline(steps: Sequence[Step], option: Option, conditions: Conditions, rules: Rules) -> Timeline:
    """Return when each step is done.

    Minutes of the day, and of what follows once gas is back, count from the start of the window; those of
    earlier days from their own beginning, crew by crew. A step without minutes takes none.

    Parameters
    ----------
    steps : sequence of Step
        The whole order.
    option : Option
        For the meters of those that are relit, and for its prepared fallbacks.
    conditions : Conditions
        Start and length of the window.
    rules : Rules
        Crews, the end of their day and the overrun.
    """
    start = None if conditions.start is None else datetime.fromisoformat(conditions.start)
    parts: dict[Day, list[Step]] = {"before": [], "day": [], "after": []}
    relight: list[Step] = []
    prepared = frozenset(one.id for one in option.prepared_fallbacks)
    for step in steps:
        if step.stage in RELIGHT_STAGES:
            relight.append(step)
        else:
            parts[_day_of(step, prepared)].append(step)
    plan = in_order([_task(step) for step in parts["day"]], rules.crew)
    gas_back = plan.last_min
    critical = set(plan.critical())
    dated = [
        *_dated(parts["before"], "before", _by_crew(parts["before"], rules.crew)),
        *(
            _Dated(step, "day", plan.start_min[k], plan.end_min[k], k in critical)
            for k, step in enumerate(parts["day"])
        ),
        *_relit(relight, option, rules, gas_back),
        *_dated(parts["after"], "after", _by_crew(parts["after"], rules.crew), gas_back),
    ]
    dated.sort(key=lambda one: one.step.n)
    last = max((one.end_min for one in dated if one.day == "day"), default=0.0)
    day_end = day_end_after_min(start, conditions.hours, rules.crew.day_end)
    latest = _latest_cut(dated, last, day_end, rules.duration.overrun)
    return Timeline(
        bars=tuple(one.bar() for one in dated),
        critical=tuple(one.step.n for one in dated if one.critical),
        path_min=last,
        gas_back_min=gas_back,
        off_from_min=_first(dated, Stage.METERS_OFF),
        relit_min=last if relight else None,
        latest_cut_min=latest,
        latest_cut="" if latest is None else _by_the_clock(start, latest),
        window_min=MINUTES_PER_HOUR * conditions.hours,
        day_end_min=day_end,
        slack_min=day_end - rules.duration.overrun * last,
        start_min=_minute_of_day(start),
    )


def _day_of(step: Step, prepared: frozenset[str]) -> Day:
    """Return on which part of the work a step is done; bags and tools of fallbacks are proved beforehand."""
    stage = Stage(step.stage)
    if stage in BEFORE_STAGES or (stage is Stage.BARRIERS_PROVED and prepared.intersection(step.uses)):
        return "before"
    return "after" if stage in LATER_STAGES else "day"


def _task(step: Step) -> Task:
    return Task(Stage(step.stage), Who(step.who), step.minutes or 0.0)


def _by_crew(steps: Sequence[Step], crew: CrewRules) -> Scheduled:
    """Return when each step of an earlier or later day is done: not before what it needs, or starts from."""
    made: dict[tuple[str, str], int] = {}
    after: list[list[int]] = []
    for k, step in enumerate(steps):
        keys = [(one.kind, one.id) for one in step.needs] + [(one.kind, one.id) for one in step.changes]
        after.append(sorted({made[key] for key in keys if key in made}))
        made |= {(one.kind, one.id): k for one in step.changes}
    return by_crew([_task(step) for step in steps], after, crew)


def _dated(steps: Sequence[Step], day: Day, plan: Scheduled, from_min: float = 0.0) -> list[_Dated]:
    return [
        _Dated(step, day, from_min + plan.start_min[k], from_min + plan.end_min[k])
        for k, step in enumerate(steps)
    ]


def _relit(steps: Sequence[Step], option: Option, rules: Rules, gas_back: float) -> list[_Dated]:
    """Return the rounds of relighting, one after another; the steps of a round share its time evenly."""
    meters = {customer.id: max(customer.meters, 1) for customer in option.customers}
    found: list[_Dated] = []
    done = 0
    for who, group in groupby(steps, key=lambda step: step.uses):
        own, count = list(group), sum(meters.get(ident, 0) for ident in who)
        start = gas_back + relight_minutes(done, rules)
        done += count
        each = relight_minutes(count, rules) / len(own)
        found += [
            _Dated(step, "day", start + k * each, start + (k + 1) * each, critical=True)
            for k, step in enumerate(own)
        ]
    return found


def _first(dated: Sequence[_Dated], stage: Stage) -> float | None:
    return min((one.start_min for one in dated if one.step.stage == stage), default=None)


def _latest_cut(dated: Sequence[_Dated], last: float, day_end: float, overrun: float) -> float | None:
    """Return when the main is cut at the latest; None without such a step."""
    cut = _first(dated, Stage.WORK)
    return None if cut is None else day_end - overrun * (last - cut)


def _minute_of_day(start: datetime | None) -> float:
    if start is None:
        return MINUTES_PER_HOUR * EARLIEST_START_H
    return float(MINUTES_PER_HOUR * start.hour + start.minute)


def _by_the_clock(start: datetime | None, minutes: float) -> str:
    """Return a time as HH:MM, rounded down, with the day where it is a later one than that of the start."""
    midnight = datetime(2000, 1, 1)
    at = midnight + timedelta(minutes=_minute_of_day(start) + math.floor(round(minutes, 6)))
    at -= timedelta(minutes=at.minute % LATEST_TO_MIN)
    later = (at - midnight).days
    return f"{at:%H:%M}{f', day {later + 1}' if later > 0 else ''}"
