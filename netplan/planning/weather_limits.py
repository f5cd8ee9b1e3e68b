"""Until how cold an option holds: without any feed and with each size, on the full solve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from netplan.core.constants import HOURS_PER_DAY
from netplan.demand import DemandResult
from netplan.feeds import (
    FeedCase,
    FeedChecker,
    FeedLoads,
    FeedSize,
    WeatherRow,
    size_ladder,
    spare_flow_m3_per_s_std,
    weather_window,
)
from netplan.planning.connectivity import kept_inlets, node_demand_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.purge_loads import live_nodes

__all__ = [
    "NOT_LOOKED_FOR",
    "FeedWeather",
    "Weather",
    "feed_case",
    "not_looked_for",
    "sizes_of",
    "weather_of",
]

NOT_LOOKED_FOR = "not looked for"


@dataclass(frozen=True, slots=True)
class FeedWeather:
    """What one sized feed can do beyond the weather it was sized for.

    Parameters
    ----------
    coldest_c : float or None
        Coldest air temperature at which the option holds with the feeds as sized [°C].
    spare_m3_per_s_std : float or None
        Flow the feed could carry beyond [m³/s at 15 °C, 101.325 kPa]; None where it was not looked for.
    ladder : tuple of WeatherRow
        The same without this feed and with each of its bores, the others as sized; empty when not asked for.
    """

    coldest_c: float | None
    spare_m3_per_s_std: float | None
    ladder: tuple[WeatherRow, ...]


@dataclass(frozen=True, slots=True)
class Weather:
    """Coldest weather of an option.

    Parameters
    ----------
    coldest_c : float or None
        Coldest air temperature at which it holds as planned [°C]; None: not even in the warmest looked at.
    reason : str
        The limit when colder; empty at the end of the range.
    feeds : tuple of (FeedWeather or None)
        For each deficient part; None for one without a feed of its own.
    """

    coldest_c: float | None
    reason: str
    feeds: tuple[FeedWeather | None, ...]
    hours: tuple[WeatherRow, ...] = ()
    """The option as planned in each hour of the window, when asked for: at most a day of them."""


def sizes_of(option: EvaluatedOption) -> list[FeedSize]:
    """Return the sizes of an option's feeds, in the order of its deficient parts."""
    return [feed.size for feed in option.feeds if feed is not None]


def feed_case(context: PlanningContext, option: EvaluatedOption) -> FeedCase:
    """Return an option as a case for feeds: stops in, customers off turned off, kept inlets to hold."""
    if option.fed is not None:
        flow = option.fed.flow
    else:
        links = context.base.links
        flow = context.base.with_links(replace(links, is_open=links.is_open & ~option.reach.closed))
    loads = _loads(context, option, context.demand, context.hours, flow.node_count)
    demand = node_demand_after(context, option.reach, option.flow_m3_per_s_std, flow.node_count)
    solver = context.solver_of(flow)
    solver.solve(demand, warm=context.before)
    return FeedCase(solver, demand, kept_inlets(context, option.reach, option.gone), loads)


def _loads(
    context: PlanningContext,
    option: EvaluatedOption,
    demand: DemandResult,
    hours: Sequence[int],
    node_count: int,
) -> FeedLoads:
    """Return what the option has to carry in hours of the window, gas for purging in on top."""
    flows = (np.where(option.gone, 0.0, demand.flow_m3_per_s_std(hour, option.groups)) for hour in hours)
    drawn = tuple(node_demand_after(context, option.reach, flow, node_count) for flow in flows)
    nodes = live_nodes(option.cut) if option.stopped is None else option.stopped.barrier_node
    return FeedLoads(drawn, tuple(draw.at(nodes) for draw in option.draws))


def not_looked_for(option: EvaluatedOption) -> Weather:
    """Return the weather of an option for which nobody asked."""
    unknown = FeedWeather(None, None, ())
    return Weather(None, NOT_LOOKED_FOR, tuple(None if feed is None else unknown for feed in option.feeds))


def weather_of(context: PlanningContext, option: EvaluatedOption, *, ladders: bool) -> Weather:
    """Return until how cold an option holds.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    ladders : bool
        Whether every bore of every feed and every hour are looked at too: up to ten solves each.
    """
    rules = context.request.rules
    case = feed_case(context, option)
    sizes, checker = sizes_of(option), FeedChecker(case, rules)

    def demand_at(air_temp_c: float, hour: int | None = None) -> FeedLoads:
        demand = context.demand_at(air_temp_c)
        hours = demand.hours_to_check() if hour is None else (hour,)
        loads = _loads(context, option, demand, hours, case.solver.network.node_count)
        return replace(loads, beyond=context.scope.margins_outside(air_temp_c, hours))

    # It was priced to hold in the weather planned for, so that the edge lies at or beyond it.
    planned = context.demand.hours[context.demand.worst_hour].air_temp_c
    whole = weather_window(case, demand_at, [("as planned", sizes)], rules, near_c=planned, like=checker)[0]
    feeds: list[FeedWeather | None] = []
    place = 0
    for feed in option.feeds:
        if feed is None:
            feeds.append(None)
            continue
        others = [size for k, size in enumerate(sizes) if k != place]
        # As many hoses side by side as planned: other counts are for `gas-netplan bypass` to look at.
        choices = [
            (label, some)
            for label, some in size_ladder(feed.size.feed, rules, others)
            if len(some) == len(others) or some[-1].parallel == feed.size.parallel
        ]
        ladder: tuple[WeatherRow, ...] = ()
        if ladders:
            ladder = weather_window(case, demand_at, choices, rules, near_c=whole.coldest_c, like=checker)
        spare = spare_flow_m3_per_s_std(case, sizes, place, rules)
        feeds.append(FeedWeather(whole.coldest_c, spare, ladder))
        place += 1
    hours: list[WeatherRow] = []
    near = whole.coldest_c
    for hour, of_day in enumerate(context.demand.hours[:HOURS_PER_DAY] if ladders else ()):
        asked = [(of_day.words(), sizes)]
        hours += weather_window(case, partial(demand_at, hour=hour), asked, rules, near_c=near, like=checker)
        near = hours[-1].coldest_c
    return Weather(whole.coldest_c, whole.reason, tuple(feeds), tuple(hours))
