"""Feeds: what keeps a stranded or weak part of the network on gas, how big it must be, until how cold.

Knows arrays and a prepared flow solver, not the plan::

    case = FeedCase(solver, demand, inlets)          # network with the stops in; who must hold what
    ways = hose_ways(giving, fed, rules)             # then with_taps(network, taps) gives their nodes
    feeds = bypass_feeds(ends, part, rules) + hose_feeds(ways, ...) + valve_feeds(valves, part)
    answer = feed_parts(case, parts, rules)          # cheapest feed of every part, or off; exact jointly,
                                                     # each of the smallest of the sizes offered
    FeedCase(..., loads=hours and purging in)        # all that must be carried, where that is more
    price = feed_price_minor(feed, parallel, rules)  # whole minor units of the rules' currency
    bound = feed_lower_bound_minor(...)              # no feed of a component costs less (for the cut)
    bound = FeedPriceBound(network, section, rules)  # sharp feed_bound for the choice of stops
    spare = spare_flow_m3_per_s_std(case, sizes, place, rules)
    weather_window(case, demand_at, size_ladder(feed, rules), rules)    # coldest air each size holds for
    with_taps(network, taps)                         # new nodes where hoses are tapped in
    local_peak_allowance_pa(...)                     # what single services see beyond the part's mean
    flow_changes(network, before, after, conditions) # velocity, reversed flow (dust)
    station_loads(network, state)                    # flow against capacity
    drop_curve, pressure_by_weather, worst_path      # figures for the pictures (netplan.outputs.charts)

A feed holds when the whole network is solved with it, every inlet of `inlets` is at or above its required
pressure (rules' minimum and margin), and no hose is driven beyond the rules' velocity. The demand passed in
carries the rules' demand and forecast margins already (netplan.demand does) and the purge-in draw.
"""

from netplan.feeds.constraint_margin import ConstraintMargin, held_by_inlets
from netplan.feeds.feed_case import Draw, FeedCase, FeedLoads, Inlets, Verdict
from netplan.feeds.feed_curves import (
    DropCurve,
    WeatherCurve,
    WorstPath,
    drop_curve,
    pressure_by_weather,
    worst_path,
)
from netplan.feeds.feed_kinds import Feed, FeedKind, FeedSize, SizedFeed, sizes_in_order
from netplan.feeds.feed_limits import (
    WeatherRow,
    coldest_air_temp_c,
    size_ladder,
    spare_flow_m3_per_s_std,
    weather_window,
)
from netplan.feeds.feed_links import Tap, feed_links, feed_loss_coefficient, with_taps
from netplan.feeds.feed_price_bound import FeedPriceBound
from netplan.feeds.feed_prices import feed_lower_bound_minor, feed_price_minor
from netplan.feeds.feed_sizing import (
    NO_FEED,
    TOO_DEAR,
    PartsAnswer,
    Relieved,
    UnfedPart,
    feed_answers,
    feed_parts,
    least_price_minor,
)
from netplan.feeds.local_peak_allowance import branch_roots, local_peak_allowance_pa
from netplan.feeds.possible_feeds import (
    BoundaryValve,
    BypassEnd,
    HoseWay,
    bypass_feeds,
    hose_feeds,
    hose_ways,
    valve_feeds,
)
from netplan.feeds.split_case import FeedChecker
from netplan.feeds.tappable_lengths import MainLines
from netplan.feeds.velocity_changes import FlowChanges, flow_changes, link_velocity_m_per_s, station_loads

__all__ = [
    "NO_FEED",
    "TOO_DEAR",
    "BoundaryValve",
    "BypassEnd",
    "ConstraintMargin",
    "Draw",
    "DropCurve",
    "Feed",
    "FeedCase",
    "FeedChecker",
    "FeedKind",
    "FeedLoads",
    "FeedPriceBound",
    "FeedSize",
    "FlowChanges",
    "HoseWay",
    "Inlets",
    "MainLines",
    "PartsAnswer",
    "Relieved",
    "SizedFeed",
    "Tap",
    "UnfedPart",
    "Verdict",
    "WeatherCurve",
    "WeatherRow",
    "WorstPath",
    "branch_roots",
    "bypass_feeds",
    "coldest_air_temp_c",
    "drop_curve",
    "feed_answers",
    "feed_links",
    "feed_loss_coefficient",
    "feed_lower_bound_minor",
    "feed_parts",
    "feed_price_minor",
    "flow_changes",
    "held_by_inlets",
    "hose_feeds",
    "hose_ways",
    "least_price_minor",
    "link_velocity_m_per_s",
    "local_peak_allowance_pa",
    "pressure_by_weather",
    "size_ladder",
    "sizes_in_order",
    "spare_flow_m3_per_s_std",
    "station_loads",
    "valve_feeds",
    "weather_window",
    "with_taps",
    "worst_path",
]
