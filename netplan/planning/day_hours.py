"""Whether the day is long enough for the work: gas back in the window, the last meter relit by its end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Ints
from netplan.core.constants import MINUTES_PER_HOUR
from netplan.core.units import rounded_down, rounded_up
from netplan.customers import (
    EARLIEST_START_H,
    OffOnTimes,
    RelightOrder,
    day_end_after_min,
    off_on_times,
)
from netplan.feeds import SizedFeed
from netplan.isolation import Cut
from netplan.planfile.numbers import METRES_DIGITS
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import failure_case
from netplan.planning.final_network import FinalNetwork
from netplan.planning.least_zone_counts import least_zones
from netplan.planning.request import PlanRequest
from netplan.planning.stations_shut_in import may_count_inlets, stations_shut_in, vented_places
from netplan.planning.zone_lengths import ZoneComponent, volume_m3, zone_lengths
from netplan.planning.zone_purges import Purges, is_reached
from netplan.procedure.hours_by_counts import (
    LEAST_ZONE,
    BranchMinutes,
    OrderCounts,
    OrderHours,
    StopMinutes,
    ZoneCounts,
    doors_minutes,
    hours_by_counts,
    relight_minutes,
)

__all__ = [
    "DayLimits",
    "counts_of",
    "day_limits",
    "least_counts",
    "least_counts_of",
    "least_counts_with",
    "meters_of",
    "most_meters",
    "promised_times",
    "refusal",
]

VOLUME_DIGITS = 3
"""Decimals to which a plan states the volume of a zone [-]."""
SPARE_MIN = 1e-6
"""What rounding may cost the day (own) [min]."""
MOST_ASKED = 1 << 20
"""Meters beyond which nobody asks how many a day holds (own) [-]."""


@dataclass(frozen=True, slots=True)
class DayLimits:
    """How long the work may take, in minutes after the start of the window.

    Parameters
    ----------
    window_min : float
        Gas is back by then.
    day_end_min : float
        The crew's day ends then.
    overrun : float
        What the time of the last relighting is multiplied by.
    """

    window_min: float
    day_end_min: float
    overrun: float

    def is_back_in_window(self, hours: OrderHours) -> bool:
        """Return whether gas is back within the window."""
        return hours.gas_back_min <= self.window_min + SPARE_MIN

    def is_done_in_day(self, hours: OrderHours) -> bool:
        """Return whether the last meter is relit before the crew's day ends, the overrun counted."""
        return self.overrun * hours.last_min <= self.day_end_min + SPARE_MIN

    def holds(self, hours: OrderHours) -> bool:
        """Return whether the day is long enough."""
        return self.is_back_in_window(hours) and self.is_done_in_day(hours)


def day_limits(request: PlanRequest) -> DayLimits:
    """Return how long the work of a request may take."""
    return DayLimits(
        window_min=MINUTES_PER_HOUR * request.window_hours,
        day_end_min=day_end_after_min(request.start, request.window_hours, request.rules.crew.day_end),
        overrun=request.rules.duration.overrun,
    )


def meters_of(context: PlanningContext, off: Ints) -> int:
    """Return the meters of customers that are off, at least one each."""
    return int(np.maximum(context.request.network.customers.meters[off], 1).sum())


def least_counts(context: PlanningContext, meters: int) -> OrderCounts:
    """Return counts that no order of work undercuts which turns so many meters off: one stop, no feed."""
    methods = context.request.rules.method
    stop = StopMinutes(min(one.minutes for one in methods), 1)
    return OrderCounts((stop,), (LEAST_ZONE,), meters=meters)


def least_counts_of(context: PlanningContext, cut: Cut, reach: CutConnectivity, meters: int) -> OrderCounts:
    """Return counts that no order of work on a cut undercuts: its stops and zones, no feeds."""
    minutes = {method.name: method.minutes for method in context.request.rules.method}
    stops = tuple(StopMinutes(minutes[stop.method], stop.barriers) for stop in cut.stops)
    zones = context.once("least zones", cut, lambda: least_zones(context, cut, reach))
    return OrderCounts(stops, zones, meters=meters)


def least_counts_with(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    off: Ints,
    feeds: Sequence[SizedFeed | None],
) -> OrderCounts:
    """Return the same with the feeds of an option and its customers that are off."""
    kinds = [feed.size.feed.valve_link >= 0 for feed in feeds if feed is not None]
    least = least_counts_of(context, cut, reach, meters_of(context, off))
    return replace(least, hoses=kinds.count(False), valves=kinds.count(True))


def counts_of(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork, purges: Purges
) -> OrderCounts:
    """Return what the order of work of an option is made of.

    Parameters
    ----------
    context, option
    final : FinalNetwork
        Of the option.
    purges : list of (PurgePlan, int)
        How its zones are purged.
    """
    least = least_counts_with(context, option.cut, option.reach, option.off, option.feeds)
    with_inlet = _places_with_inlet(context, option)
    return replace(
        least,
        stops=tuple(replace(stop, has_inlet=place in with_inlet) for place, stop in enumerate(least.stops)),
        zones=_zones(context, option, final, purges),
        has_stranded=_has_stranded(option),
    )


def _zones(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork, purges: Purges
) -> tuple[ZoneCounts, ...]:
    network = context.request.network
    reached = is_reached(purges, context.gas)
    vents = [place for plan, _ in purges for place in plan.places if place.role == "vent"]
    lengths = zone_lengths(network, final.stopped, option.cut)
    found = []
    for zone in range(len(option.cut.zones)):
        own = ZoneComponent([one for one in lengths if one.zone == zone])
        found.append(
            ZoneCounts(
                volume_m3=round(volume_m3(network, own.lengths), VOLUME_DIGITS),
                services=len({one.pipe for one in own.lengths if one.pipe >= network.pipes.n_mains}),
                branches=tuple(
                    BranchMinutes(
                        place.minutes_out or 0.0,
                        place.minutes_in or 0.0,
                        has_nitrogen=place.slug_m3 is not None,
                        has_gas=not (reached is False and place.least_m3_per_s_std is None),
                    )
                    for place in vents
                    if own.holds(place.pipe, round(place.chainage_m, METRES_DIGITS))
                ),
            )
        )
    return tuple(found)


def _has_stranded(option: EvaluatedOption) -> bool:
    """Return whether customers are off that lie beyond the zones, as a plan states their cause."""
    stranded: set[int] = set()
    for part in option.deficient:
        rows = set(part.customers.tolist())
        stranded = stranded - rows if part.weak else stranded | rows
    return not stranded.isdisjoint(option.off.tolist())


def _places_with_inlet(context: PlanningContext, option: EvaluatedOption) -> frozenset[int]:
    """Return the places in the cut of valves whose outer barrier is the inlet of a station."""
    request = context.request
    if not may_count_inlets(request.network, request.rules):
        return frozenset()
    case = failure_case(context, option)
    return vented_places(option, stations_shut_in(case, option), request.rules)


def refusal(context: PlanningContext, counts: OrderCounts) -> str:
    """Return why the day is too short for an order of such counts; empty where it is not.

    What is refused is kept in the context, for the orders that would give a plan.
    """
    request, limits = context.request, day_limits(context.request)
    hours = hours_by_counts(counts, request.rules)
    if not limits.is_back_in_window(hours):
        context.windows_too_short.add(hours.gas_back_min)
        back, window = (_hours(minutes) for minutes in (hours.gas_back_min, limits.window_min))
        return (
            f"the work takes too long: {len(counts.stops)} stops, {counts.meters} meters off, gas back "
            f"{back} h after the start, and the window has {window} h (rules duration, method.minutes)"
        )
    if limits.is_done_in_day(hours):
        return ""
    context.days_too_short.add(counts.meters)
    return _too_late(request, counts, hours, limits)


def _too_late(request: PlanRequest, counts: OrderCounts, hours: OrderHours, limits: DayLimits) -> str:
    crew = request.rules.crew
    left_h = rounded_down(max(limits.day_end_min, 0.0) / MINUTES_PER_HOUR, 1)
    since = "" if request.start else f", taken from a start at {int(EARLIEST_START_H):02d}:00"
    back = f"gas is back {_hours(hours.gas_back_min)} h after the start with {len(counts.stops)} stops"
    if counts.meters:
        relighting = _hours(hours.last_min - hours.gas_back_min)
        back = f"relighting {counts.meters} meters takes {relighting} h once {back}"
    return (
        f"{back}; that is {_hours(limits.overrun * hours.last_min)} h with rule duration.overrun, "
        f"{left_h:.1f} h are left to {crew.day_end}{since}"
    )


def _hours(minutes: float) -> str:
    return f"{rounded_up(minutes / MINUTES_PER_HOUR, 1):.1f}"


def promised_times(request: PlanRequest, counts: OrderCounts, queue: RelightOrder) -> OffOnTimes:
    """Return from when to when customers are off, as every paper says it.

    Parameters
    ----------
    request : PlanRequest
    counts : OrderCounts
        Of the option's order of work.
    queue : RelightOrder
        Of its customers that are off.
    """
    hours, limits = hours_by_counts(counts, request.rules), day_limits(request)
    return off_on_times(
        queue,
        start=request.start,
        off_from_min=hours.off_from_min or 0.0,
        gas_back_min=hours.gas_back_min,
        relights_per_hour=request.rules.crew.relights_per_hour,
        overrun=limits.overrun,
        latest_min=limits.day_end_min,
    )


def most_meters(context: PlanningContext, counts: OrderCounts) -> int:
    """Return how many meters such an order may turn off in the day; -1 where it is too long anyhow."""

    def answer() -> int:
        limits, rules = day_limits(context.request), context.request.rules

        def is_long_enough(meters: int) -> bool:
            return limits.holds(hours_by_counts(counts.with_meters(meters), rules))

        if not is_long_enough(0):
            return -1
        # From the first meter on only the fitters' rounds and relighting grow.
        one = hours_by_counts(counts.with_meters(1), rules)
        before_min = one.gas_back_min - doors_minutes(1, rules)

        def is_likely(meters: int) -> bool:
            back = before_min + doors_minutes(meters, rules)
            return limits.holds(
                replace(one, gas_back_min=back, last_min=back + relight_minutes(meters, rules))
            )

        likely = _most(is_likely)
        # What was added up in another order may be a rounding apart.
        if is_long_enough(likely) and not is_long_enough(likely + 1):
            return likely
        return _most(is_long_enough)

    return context.once("most meters", counts.with_meters(0), answer)


def _most(holds: Callable[[int], bool]) -> int:
    """Return the greatest number that holds, where 0 and all below one that holds do."""
    low, high = 0, 1
    while holds(high) and high < MOST_ASKED:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
