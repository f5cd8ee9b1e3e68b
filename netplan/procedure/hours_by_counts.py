"""How many hours an order of work takes, by what it is made of: the same minutes as its steps take.

What is counted are stops, feeds, meters and branches. More of any of them never takes less time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from netplan.core.constants import ATMOSPHERE_PA_ABS, PA_PER_MBAR
from netplan.procedure.schedule import BESIDE_STAGES, Task, in_order
from netplan.procedure.step_kinds import Stage, Who
from netplan.rules import Rules

__all__ = [
    "L_PER_M3",
    "MBAR_PER_ATMOSPHERE",
    "PILOT_L_MIN",
    "BranchMinutes",
    "OrderCounts",
    "OrderHours",
    "StopMinutes",
    "ZoneCounts",
    "doors_minutes",
    "hours_by_counts",
    "pilot_minutes",
    "relight_minutes",
]

MINUTES_DIGITS: Final = 1
"""Steps last whole tenths of a minute, as a plan states them [-]."""
PILOT_L_MIN: Final = 0.4
"""What a pilot that was left on draws (from memory) [l/min of gas]."""
LONGEST_T0: Final = 30.0
"""Longest that a zone is watched for a pilot (own) [min]."""
L_PER_M3: Final = 1000.0
MBAR_PER_ATMOSPHERE: Final = ATMOSPHERE_PA_ABS / PA_PER_MBAR


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
    """What purging one branch takes.

    Parameters
    ----------
    out, into : float
        Times of the purge itself [min]; 0 where inert gas alone is used, at the operator's rate.
    has_nitrogen : bool
        Whether nitrogen goes in ahead of the gas.
    has_gas : bool
        Whether a stop has gas behind it to purge with.
    """

    out: float = 0.0
    into: float = 0.0
    has_nitrogen: bool = False
    has_gas: bool = True


@dataclass(frozen=True, slots=True)
class ZoneCounts:
    """What a zone adds to the day.

    Parameters
    ----------
    volume_m3 : float or None
        Of its bores [m³ actual]: a leak shows the later the larger it is.
    services : int
        That are purged with it.
    branches : tuple of BranchMinutes
        Ends that it is purged to.
    """

    volume_m3: float | None = None
    services: int = 0
    branches: tuple[BranchMinutes, ...] = ()


@dataclass(frozen=True, slots=True)
class OrderCounts:
    """What an order of work is made of.

    Parameters
    ----------
    stops : tuple of StopMinutes
    zones : tuple of ZoneCounts
    hoses, valves : int
        Bypasses and hoses; valves opened.
    meters : int
        Meters off.
    has_stranded : bool
        Whether some of them are beyond the zones.
    """

    stops: tuple[StopMinutes, ...]
    zones: tuple[ZoneCounts, ...] = ()
    hoses: int = 0
    valves: int = 0
    meters: int = 0
    has_stranded: bool = False

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


LEAST_ZONE: Final = ZoneCounts(branches=(BranchMinutes(has_gas=False),))
"""What any zone adds to the day at least."""


def hours_by_counts(counts: OrderCounts, rules: Rules) -> OrderHours:
    """Return when an order of these counts reaches the milestones of its day."""
    at_min, starts = 0.0, dict[Stage, float]()
    beside: list[Task] = []
    for stage, who, minutes in _parts(counts, rules):
        whole = round(minutes, MINUTES_DIGITS)
        if stage in BESIDE_STAGES:
            beside.append(Task(stage, who, whole))
            continue
        if beside:
            # As `in_order` has them; all else is one after another, and adds up.
            before = Task(Stage.WEATHER, Who.CONTROL, at_min)
            at_min, beside = in_order([before, *beside], rules.crew).last_min, []
        starts.setdefault(stage, at_min)
        at_min += whole
    return OrderHours(
        off_from_min=starts.get(Stage.METERS_OFF),
        cut_min=starts[Stage.WORK],
        gas_back_min=at_min,
        last_min=at_min + relight_minutes(counts.meters, rules),
    )


def doors_minutes(doors: int, rules: Rules) -> float:
    """Return how long going to so many doors takes, the fitters side by side [min]."""
    return math.ceil(doors / rules.crew.meter_fitters) * rules.duration.door


def pilot_minutes(volume_m3: float | None, rules: Rules) -> float:
    """Return how long a zone is shut in and watched for a pilot that was left on [min].

    Until the fall that a pilot makes is twice the gauge's error over the finest share of a limit, or as long
    as is of use.
    """
    if not volume_m3:
        return rules.duration.let_by
    seen_mbar = 2.0 * rules.gauge.error_mbar / rules.let_by.resolution_share
    needed = seen_mbar * L_PER_M3 * volume_m3 / (MBAR_PER_ATMOSPHERE * PILOT_L_MIN)
    return min(max(rules.duration.let_by, needed), LONGEST_T0)


def relight_minutes(meters: int, rules: Rules) -> float:
    """Return how long relighting so many meters takes, one after another [min]."""
    return 60.0 * meters / rules.crew.relights_per_hour


def _parts(counts: OrderCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    """Yield what is done on the day until gas is back, in its order, and how long each takes [min]."""
    take = rules.duration
    yield from _before_stops(counts, rules)
    for stop in counts.stops:
        yield Stage.STOP_IN, Who.STOPS, stop.minutes
        if stop.has_inlet:
            yield Stage.INLET_SHUT, Who.STOPS, stop.minutes
    yield from _let_by(counts, rules)
    for zone in counts.zones:
        yield from _out(zone, rules)
    for _ in counts.zones:
        yield Stage.GAS_FREE, Who.COMPETENT, take.gas_free
    yield Stage.WORK, Who.WORK, take.cut_and_fit
    yield Stage.TIE_IN, Who.WORK, take.joint
    for _ in counts.zones:
        yield Stage.JOINTS, Who.WORK, take.tie_in_test
        yield Stage.TEST_LET_OFF, Who.WORK, take.vent
    yield Stage.METERS_AGAIN, Who.METERS, take.tally
    for zone in counts.zones:
        yield from _into(zone, rules)
    if counts.has_stranded:
        yield Stage.STRANDED, Who.STOPS, take.tally
    for stop in counts.stops:
        yield from _withdrawn(stop, rules)
    yield Stage.THROUGH_FLOW, Who.CONTROL, take.through_flow


def _before_stops(counts: OrderCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    yield Stage.WEATHER, Who.CONTROL, take.briefing
    yield Stage.BASELINE, Who.WATCH, take.baseline
    for _ in counts.stops:
        yield Stage.BARRIERS_PROVED, Who.STOPS, take.prove
    for _ in range(counts.hoses):
        yield Stage.FEED_COUPLED, Who.FEEDS, 0.0
        yield Stage.FEED_PURGED, Who.FEEDS, take.bypass_purge
        yield Stage.FEED_OPENED, Who.FEEDS, take.bypass_open
    for _ in range(counts.valves):
        yield Stage.FEED_OPENED, Who.FEEDS, take.open_valve
    if counts.meters:
        yield Stage.METERS_OFF, Who.METERS, doors_minutes(counts.meters, rules)
        yield Stage.METERS_RECONCILED, Who.METERS, take.tally


def _let_by(counts: OrderCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    for zone in counts.zones:
        yield Stage.LET_BY, Who.STOPS, take.settle + pilot_minutes(zone.volume_m3, rules)
        yield Stage.VENT, Who.STOPS, take.vent
        yield Stage.LET_BY, Who.STOPS, take.let_by
    for stop in counts.stops:
        if stop.has_inlet or stop.barriers > 1:
            # Its space vented; the hose of the inner barrier's test on, and off again.
            for _ in range(3):
                yield Stage.SPACE_VENTED, Who.STOPS, take.vent
            for _ in range(2):
                yield Stage.LET_BY, Who.STOPS, take.let_by


def _withdrawn(stop: StopMinutes, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    if stop.has_inlet or stop.barriers > 1:
        # Its space purged, then that vent shut.
        for _ in range(2):
            yield Stage.SPACE_PURGED, Who.STOPS, take.vent
        yield Stage.INNER_OUT, Who.STOPS, take.withdraw
    if stop.has_inlet:
        yield Stage.INLET_OPENED, Who.STOPS, stop.minutes
        return
    yield Stage.EQUALISE, Who.STOPS, take.vent
    yield Stage.STOP_OUT, Who.STOPS, take.withdraw


def _out(zone: ZoneCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    for branch in zone.branches or (BranchMinutes(),):
        yield Stage.PURGE_OUT, Who.STOPS, take.purge_branch + round(branch.out, MINUTES_DIGITS)
    if zone.services:
        yield Stage.SERVICES_PURGED, Who.METERS, doors_minutes(zone.services, rules)


def _into(zone: ZoneCounts, rules: Rules) -> Iterator[tuple[Stage, Who, float]]:
    take = rules.duration
    filled = [one for one in zone.branches if one.has_nitrogen]
    for branch in (*filled, *(one for one in zone.branches if not one.has_gas)):
        yield Stage.NITROGEN_IN, Who.STOPS, take.purge_branch + round(branch.out, MINUTES_DIGITS)
    if all(branch.has_gas for branch in zone.branches):
        for branch in zone.branches or (BranchMinutes(),):
            yield Stage.PURGE_IN, Who.STOPS, take.purge_branch + round(branch.into, MINUTES_DIGITS)
        yield Stage.RAISED, Who.STOPS, take.settle
        yield Stage.JOINTS_ON_GAS, Who.WORK, take.tie_in_test
