"""How many hours an order of work takes, by what it is made of: the same minutes as its steps take.

What is counted are stops, feeds, meters and branches. More of any of them never takes less time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from netplan.procedure.schedule import Task, in_order
from netplan.procedure.step_kinds import Stage, Who
from netplan.rules import Rules

__all__ = [
    "BranchMinutes",
    "LeastOfMeter",
    "OrderCounts",
    "OrderHours",
    "StopMinutes",
    "hours_by_counts",
    "least_minutes_of_meter",
    "least_minutes_of_stop",
    "meters_minutes",
]

MINUTES_DIGITS: Final = 1
"""Steps last whole tenths of a minute, as a plan states them [-]."""
ROUNDING_MIN: Final = 0.06
"""More than that rounding takes from a step (own) [min]."""
SLACK: Final = 1e-3
"""Share left out of a bound for the rounding of prices (own) [-]."""


@dataclass(frozen=True, slots=True)
class StopMinutes:
    """What a stop adds to the day.

    Parameters
    ----------
    minutes : float
        That its method takes from ready to tight [min].
    barriers : int
        That it sets, a station's inlet not counted.
    has_inlet : bool
        Whether the inlet of a station is shut as its outer barrier.
    """

    minutes: float
    barriers: int
    has_inlet: bool = False


@dataclass(frozen=True, slots=True)
class BranchMinutes:
    """What purging one branch takes [min]; 0 where inert gas alone is used, at the operator's rate."""

    out: float
    into: float


@dataclass(frozen=True, slots=True)
class OrderCounts:
    """What an order of work is made of.

    Parameters
    ----------
    stops : tuple of StopMinutes
    hoses, valves : int
        Bypasses and hoses; valves opened.
    meters : int
        Meters off.
    branches : tuple of BranchMinutes
        Branches that are purged.
    """

    stops: tuple[StopMinutes, ...]
    hoses: int = 0
    valves: int = 0
    meters: int = 0
    branches: tuple[BranchMinutes, ...] = ()

    def with_meters(self, meters: int) -> OrderCounts:
        """Return the same with so many meters off."""
        return replace(self, meters=meters)


@dataclass(frozen=True, slots=True)
class OrderHours:
    """When the milestones of the day are reached, in minutes after its beginning.

    Parameters
    ----------
    off_from_min : float or None
        The first meter is turned off; None with nobody off.
    cut_min : float
        The main is cut.
    gas_back_min : float
        The last stop is out and through-flow is proved.
    last_min : float
        The last meter is relit; with nobody off gas is back.
    """

    off_from_min: float | None
    cut_min: float
    gas_back_min: float
    last_min: float

    @property
    def relit_min(self) -> float | None:
        """When the last meter is relit [min]; None with nobody off."""
        return None if self.off_from_min is None else self.last_min


def hours_by_counts(counts: OrderCounts, rules: Rules) -> OrderHours:
    """Return when an order of these counts reaches the milestones of its day."""
    tasks = list(_tasks(counts, rules))
    plan = in_order(tasks, rules.crew)
    starts = dict(zip((task.stage for task in reversed(tasks)), reversed(plan.start_min), strict=True))
    gas_back = plan.last_min
    return OrderHours(
        off_from_min=starts.get(Stage.METERS_OFF),
        cut_min=starts[Stage.WORK],
        gas_back_min=gas_back,
        last_min=gas_back + relight_minutes(counts.meters, rules),
    )


def meters_minutes(meters: int, rules: Rules) -> float:
    """Return how long turning meters off and sealing them takes, the fitters side by side [min]."""
    return math.ceil(meters / rules.crew.meter_fitters) * rules.duration.door


def relight_minutes(meters: int, rules: Rules) -> float:
    """Return how long relighting so many meters takes, one after another [min]."""
    return 60.0 * meters / rules.crew.relights_per_hour


@dataclass(frozen=True, slots=True)
class LeastOfMeter:
    """What one more meter off adds to the day at least, before gas is back and after it [min]."""

    before_gas: float
    relit: float


def least_minutes_of_meter(rules: Rules) -> LeastOfMeter:
    """Return what each meter off adds to the day at least, however many there are."""
    before = rules.duration.door / rules.crew.meter_fitters
    return LeastOfMeter(max(before - ROUNDING_MIN, 0.0), 60.0 / rules.crew.relights_per_hour * (1.0 - SLACK))


def least_minutes_of_stop(minutes: float, rules: Rules) -> float:
    """Return what each stop of a method adds to the day at least, one barrier and any feeds [min]."""
    take = rules.duration
    own = minutes + take.let_by + take.withdraw + take.prove / rules.crew.stop_crews
    return max(own - 4 * ROUNDING_MIN, 0.0)


def _tasks(counts: OrderCounts, rules: Rules) -> Iterator[Task]:
    """Yield what is done on the day until gas is back, in its order."""
    yield from (
        Task(stage, who, round(minutes, MINUTES_DIGITS)) for stage, who, minutes in _parts(counts, rules)
    )


def _parts(counts: OrderCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    yield Stage.SIGNED, Who.COMPETENT, take.briefing
    yield Stage.GAUGES, Who.WATCH, take.baseline
    for _ in range(counts.hoses):
        yield Stage.FEED_PURGED, Who.FEEDS, take.bypass_test_and_purge
        yield Stage.FEED_OPENED, Who.FEEDS, take.bypass_open
    for _ in range(counts.valves):
        yield Stage.FEED_OPENED, Who.FEEDS, take.open_valve
    for _ in counts.stops:
        yield Stage.BARRIERS_PROVED, Who.STOPS, take.prove
    if counts.meters:
        yield Stage.METERS_OFF, Who.METERS, meters_minutes(counts.meters, rules)
        yield Stage.METERS_RECONCILED, Who.METERS, take.tally
    for stop in counts.stops:
        yield Stage.STOP_IN, Who.STOPS, stop.minutes * (2 if stop.has_inlet else 1)
    yield Stage.LET_BY, Who.STOPS, take.settle
    for stop in counts.stops:
        yield Stage.LET_BY, Who.STOPS, take.let_by * (stop.barriers + stop.has_inlet)
    yield Stage.VENT, Who.STOPS, take.vent
    for branch in counts.branches:
        yield Stage.PURGE_OUT, Who.STOPS, take.purge_branch + round(branch.out, MINUTES_DIGITS)
    yield Stage.GAS_FREE, Who.COMPETENT, take.gas_free
    yield Stage.WORK, Who.WORK, take.cut_and_fit
    yield Stage.TIE_IN, Who.WORK, take.joint
    yield Stage.JOINTS, Who.WORK, take.tie_in_test
    if counts.meters:
        yield Stage.METERS_AGAIN, Who.METERS, take.tally
    for branch in counts.branches:
        yield Stage.PURGE_IN, Who.STOPS, take.purge_branch + round(branch.into, MINUTES_DIGITS)
    for stop in counts.stops:
        yield Stage.STOP_OUT, Who.STOPS, take.withdraw + (stop.minutes if stop.has_inlet else 0.0)
    yield Stage.THROUGH_FLOW, Who.CONTROL, take.through_flow
