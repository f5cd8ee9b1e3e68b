"""Which task begins when: crews work side by side where the order lets them, else one task after another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from netplan.procedure.step_kinds import Stage, Who
from netplan.rules.rule_set import CrewRules

__all__ = [
    "BEFORE_STAGES",
    "BESIDE_STAGES",
    "LATER_STAGES",
    "RELIGHT_STAGES",
    "Scheduled",
    "Task",
    "by_crew",
    "in_order",
]

BEFORE_STAGES: Final = frozenset(
    {
        Stage.SIGNED,
        Stage.RECORDS,
        Stage.SADDLES,
        Stage.TAPPINGS,
        Stage.FEED_BUILT,
        Stage.FEED_TESTED,
        Stage.FEED_MEASURED,
        Stage.NEW_PIPE,
    }
)
"""Done on an earlier day, each by its own crew."""
LATER_STAGES: Final = frozenset(
    {
        Stage.FEED_CLOSED,
        Stage.FEED_REMOVED,
        Stage.TAPPINGS_SEALED,
        Stage.COUPONS_COUNTED,
        Stage.SECOND_VISIT,
        Stage.REINSTATE,
    }
)
"""Done once gas is back, beside relighting or on a later day."""
RELIGHT_STAGES: Final = frozenset({Stage.SERVICE_BACK, Stage.RELIGHT})
"""By the fitters once gas is back, one round after another."""
_ALONE, _TOGETHER, _BESIDE = "alone", "together", "beside"
"""One after another; all at once; side by side, each by its own crew."""
_KINDS: Final = {
    Stage.GAUGES: _TOGETHER,
    Stage.FEED_COUPLED: _BESIDE,
    Stage.FEED_PURGED: _BESIDE,
    Stage.FEED_OPENED: _BESIDE,
    Stage.FEED_PROVED: _BESIDE,
    Stage.BARRIERS_PROVED: _BESIDE,
    Stage.VALVE_TRIED: _BESIDE,
}
BESIDE_STAGES: Final = frozenset(stage for stage, kind in _KINDS.items() if kind == _BESIDE)
"""Side by side, each by its own crew."""
_PROOFS: Final = frozenset({Stage.BARRIERS_PROVED, Stage.VALVE_TRIED})
_OPENINGS: Final = frozenset({Stage.FEED_OPENED, Stage.FEED_PROVED})
"""Never two at once, whatever the crews: what is solved is one feed opened after another."""
_FOLLOWING: Final = frozenset({Stage.FEED_PURGED, *_OPENINGS, Stage.VALVE_TRIED})
"""Done after what stands before it in the list, by the same crew."""
SAME_MIN: Final = 1e-6
"""Minutes nearer than this are one (own) [min]."""


@dataclass(frozen=True, slots=True)
class Task:
    """A step as the schedule sees it: which part of the order, whose, and how long [min]."""

    stage: Stage
    who: Who
    minutes: float


@dataclass(frozen=True, slots=True)
class Scheduled:
    """When each of a list of tasks begins and ends [min after the first begins], in their order.

    `after` names the tasks that each waits for, by their place in the list.
    """

    start_min: tuple[float, ...]
    end_min: tuple[float, ...]
    after: tuple[tuple[int, ...], ...]

    @property
    def last_min(self) -> float:
        """When the last task ends [min]; 0 without tasks."""
        return max(self.end_min, default=0.0)

    def critical(self) -> tuple[int, ...]:
        """Return the tasks of which none can be late without the last one being so, ascending.

        Each ends when another one of them begins that waits for it; the last one ends last.
        """
        found: set[int] = set()
        look = [k for k, end in enumerate(self.end_min) if end >= self.last_min - SAME_MIN]
        while look:
            task = look.pop()
            if task in found:
                continue
            found.add(task)
            start = self.start_min[task]
            look += [k for k in self.after[task] if self.end_min[k] >= start - SAME_MIN]
        return tuple(sorted(found))


class _Builder:
    """Gives tasks their times one by one."""

    def __init__(self, crew: CrewRules) -> None:
        self._crew = crew
        self._start: list[float] = []
        self._end: list[float] = []
        self._after: list[tuple[int, ...]] = []
        self._last: dict[Who, list[int]] = {}

    def add(self, task: Task, after: Sequence[int]) -> int:
        """Add a task that waits for others; return its place."""
        start = max((self._end[k] for k in after), default=0.0)
        self._start.append(start)
        self._end.append(start + task.minutes)
        self._after.append(tuple(dict.fromkeys(after)))
        return len(self._start) - 1

    def add_for_crew(self, task: Task, after: Sequence[int], with_crew_of: int | None = None) -> int:
        """Add a task that also waits for the first crew of its kind to be free, or for that of a task."""
        last = self._last.setdefault(task.who, [-1] * self._crews(task.who))
        crew = min(range(len(last)), key=lambda k: self._end[last[k]] if last[k] >= 0 else 0.0)
        if with_crew_of is not None and with_crew_of in last:
            crew = last.index(with_crew_of)
        place = self.add(task, [*after, *([last[crew]] if last[crew] >= 0 else [])])
        last[crew] = place
        return place

    def _crews(self, who: Who) -> int:
        return {Who.STOPS: self._crew.stop_crews, Who.FEEDS: self._crew.bypass_crews}.get(who, 1)

    def done(self) -> Scheduled:
        return Scheduled(tuple(self._start), tuple(self._end), tuple(self._after))


def by_crew(tasks: Sequence[Task], after: Sequence[Sequence[int]], crew: CrewRules) -> Scheduled:
    """Return when each task of an earlier or later day begins and ends: every crew works on its own.

    `after` names for each task those that it waits for, by their place.
    """
    build = _Builder(crew)
    for task, waits in zip(tasks, after, strict=True):
        build.add_for_crew(task, waits)
    return build.done()


def in_order(tasks: Sequence[Task], crew: CrewRules) -> Scheduled:
    """Return when each task of the day begins and ends.

    Gauges are read all at once; feeds are purged and opened beside the proofs of barriers, one feed opened
    after another; all else is one after another, so that a crew that attends bags or the ends of a bypass
    never has to be elsewhere.

    Parameters
    ----------
    tasks : sequence of Task
        In the order of the work.
    crew : CrewRules
        How many crews of a kind there are.
    """
    build = _Builder(crew)
    before: list[int] = []
    now: list[int] = []
    kind = ""
    last: dict[bool, int] = {}
    opened: list[int] = []
    for task in tasks:
        own = _KINDS.get(task.stage, _ALONE)
        if now and (own != kind or own == _ALONE):
            before, now, last, opened = now, [], {}, []
        kind = own
        if own != _BESIDE:
            now.append(build.add(task, before))
            continue
        is_proof, is_opening = task.stage in _PROOFS, task.stage in _OPENINGS
        follows = last.get(is_proof) if task.stage in _FOLLOWING else None
        waits = [*before, *(opened if is_opening else ()), *([] if follows is None else [follows])]
        place = build.add_for_crew(task, waits, follows)
        last[is_proof] = place
        opened = [place] if is_opening else opened
        now.append(place)
    return build.done()
