"""Zones within the day first: the minutes that stops and customers add have a price of their own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from netplan.core.arrays import Ints32
from netplan.isolation import MINOR_PER_UNIT, Cut, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import day_limits
from netplan.planning.least_hours import minutes_as_prices, most_meters_of_any_zone
from netplan.planning.least_minutes import LeastMinutes, least_minutes_of_day

__all__ = ["DayLimit", "DayRelaxation", "ZoneKey", "limits_of_day", "relaxed_by_day", "zones_within_day"]

MOST_STEPS: Final = 10
"""Times the price of a minute is raised, then halved to be no higher than it has to be (own) [-]."""
ROUNDED_MINOR: Final = MINOR_PER_UNIT
"""More than the rounding of prices, stop by stop, adds up to (own) [minor units]."""
SAME_MIN: Final = 0.01
"""What rounding may add to a sum of minutes (own) [min]."""
MOST_LISTED: Final = 250
"""Zones within the day that are listed at most (own): listing as many takes a fifth of a second [-]."""

ZoneKey = tuple[tuple[int, ...], tuple[int, ...], tuple[str, ...]]
"""Supernodes of a zone, and segment and method of each of its stops."""


@dataclass(frozen=True, slots=True, eq=False)
class DayLimit:
    """What an order of work takes at least, as a sum, and the most that it may take [min]."""

    least: LeastMinutes
    most_min: float

    def over_min(self, methods: tuple[str, ...], zone: Ints32) -> float:
        """Return by how much a zone with these stops and customers takes too long at least [min]."""
        stops = sum(self.least.of_method[method] for method in methods)
        customers = float(self.least.of_customer[zone].sum())
        return self.least.alone_min + stops + customers - self.most_min


def limits_of_day(context: PlanningContext, problem: IsolationProblem) -> tuple[DayLimit, ...]:
    """Return the limits that every zone keeps: gas back in the window, the last meter relit in the day."""
    limits = day_limits(context.request)
    return tuple(
        DayLimit(least_minutes_of_day(context, problem, relit=relit, branches=True), most_min)
        for relit, most_min in ((False, limits.window_min), (True, limits.day_end_min / limits.overrun))
    )


@dataclass(frozen=True, slots=True, eq=False)
class DayRelaxation:
    """The question with a price on every minute that a zone adds to the day.

    A Lagrangian relaxation of the limit of the day: zones within it come first, and what it takes off is no
    more than what any zone within the day pays for its minutes.

    Parameters
    ----------
    problem : IsolationProblem
        Limited to zones whose meters the day holds.
    ease_minor : int
        What to take off a cut's bound to have one for options within the day [minor units]: the price of a
        minute times the minutes that the day leaves to stops and customers.
    of_method : dict of str to int
        What a stop of each method is dearer by [minor units]; empty without a price on minutes.
    """

    problem: IsolationProblem
    ease_minor: int = 0
    of_method: Mapping[str, int] = field(default_factory=dict)

    def at_own_prices(self, context: PlanningContext, cut: Cut) -> Cut:
        """Return a cut of the relaxed question with the prices of the rules."""
        if not self.of_method:
            return cut
        stops = tuple(
            replace(stop, price_minor=stop.price_minor - self.of_method[stop.method]) for stop in cut.stops
        )
        stops_minor = sum(stop.price_minor for stop in stops)
        interruption = int(context.off_minor[cut.customers].sum())
        parts = (stops_minor, interruption, cut.gas_minor, cut.stranded_minor)
        return replace(
            cut, stops=stops, stops_minor=stops_minor, interruption_minor=interruption, bound_minor=sum(parts)
        )


def relaxed_by_day(
    context: PlanningContext, problem: IsolationProblem, limits: tuple[DayLimit, ...]
) -> DayRelaxation:
    """Return the question relaxed by the limit that the cheapest zone breaks most.

    Where it breaks none, only zones with too many meters are left out.
    """
    in_day = most_meters_of_any_zone(context, problem)
    ordered = in_day if problem.most_meters is None else problem.most_meters
    limited = replace(problem, most_meters=min(in_day, ordered))
    cheapest = _cheapest(context, problem)
    worst = max(limits, key=lambda limit: _over_min(limit, cheapest))
    if _over_min(worst, cheapest) <= 0.0:
        return DayRelaxation(limited)
    minor = _least_price(context, problem, worst)
    if minor is None:
        # No price on minutes brings zones within the day to the front: the question stays as it was.
        return DayRelaxation(limited)
    relaxed = _with_price(context, problem, worst.least, minor)
    return DayRelaxation(
        replace(relaxed, most_meters=limited.most_meters),
        math.ceil(minor * (worst.most_min - worst.least.alone_min)) + ROUNDED_MINOR,
        _of_method(worst.least, minor),
    )


def zones_within_day(
    context: PlanningContext, problem: IsolationProblem, limits: tuple[DayLimit, ...]
) -> frozenset[ZoneKey] | None:
    """Return all zones that the day holds, by the least they take; None where they are too many to list."""
    first, *others = limits
    search = context.cuts(minutes_as_prices(problem, first.least))
    most_minor = (first.most_min - first.least.alone_min + SAME_MIN) * MINOR_PER_UNIT
    found: set[ZoneKey] = set()
    for _ in range(MOST_LISTED):
        try:
            zone = search.outline()
        except StopIteration:
            return None if search.gave_up else frozenset(found)
        if zone.bound_minor > most_minor:
            return frozenset(found)
        if all(limit.over_min(zone.methods, zone.customers) <= SAME_MIN for limit in others):
            found.add((zone.supernodes, zone.segments, zone.methods))
    return None


def _least_price(context: PlanningContext, problem: IsolationProblem, limit: DayLimit) -> int | None:
    """Return the least price of a minute with which the cheapest zone is within the day [minor units]."""

    def is_within(minor: int) -> bool:
        cut = _cheapest(context, _with_price(context, problem, limit.least, minor))
        return _over_min(limit, cut) <= 0.0

    low, high = 0, MINOR_PER_UNIT
    for _ in range(MOST_STEPS):
        if is_within(high):
            break
        low, high = high, 4 * high
    else:
        return None
    for _ in range(MOST_STEPS):
        middle = (low + high) // 2
        if middle == low:
            break
        low, high = (low, middle) if is_within(middle) else (middle, high)
    return high


def _cheapest(context: PlanningContext, problem: IsolationProblem) -> Cut:
    return next(context.cuts(replace(problem, feed_bound=None)))


def _over_min(limit: DayLimit, cut: Cut) -> float:
    return limit.over_min(tuple(stop.method for stop in cut.stops), cut.customers)


def _of_method(least: LeastMinutes, minor_per_min: int) -> dict[str, int]:
    return {name: math.floor(minor_per_min * minutes) for name, minutes in least.of_method.items()}


def _with_price(
    context: PlanningContext, problem: IsolationProblem, least: LeastMinutes, minor_per_min: int
) -> IsolationProblem:
    more = _of_method(least, minor_per_min)
    methods = tuple(
        method.model_copy(update={"price": method.price + more[method.name] / MINOR_PER_UNIT})
        for method in problem.rules.method
    )
    minutes = np.floor(minor_per_min * least.of_customer).astype(np.int64)
    return replace(
        problem,
        rules=problem.rules.model_copy(update={"method": methods}),
        off_minor=context.off_minor + minutes,
    )
