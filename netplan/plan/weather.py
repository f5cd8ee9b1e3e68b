"""Until how cold an option holds: without any feed, with each size, by bisection on the full solve."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from netplan.bypass import (
    FeedCase,
    FeedSize,
    WeatherRow,
    size_ladder,
    spare_flow_m3_per_s_std,
    weather_window,
)
from netplan.bypass.weather import COLDEST_LOOKED_AT_C, STEP_C, WARMEST_LOOKED_AT_C
from netplan.hydraulics import FlowSolver
from netplan.plan.desk import Desk
from netplan.plan.effects import kept_inlets, node_demand_after
from netplan.plan.priced import Priced
from netplan.rules import Rules

__all__ = ["FeedWeather", "Weather", "feed_case", "sizes_of", "weather_of"]

Floats = NDArray[np.float64]

HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True)
class FeedWeather:
    """What one sized feed can do beyond the weather it was sized for.

    Parameters
    ----------
    coldest_c : float or None
        Coldest air temperature at which the option holds with the feeds as sized [°C].
    spare_m3_per_s_std : float
        Flow the feed could carry beyond [m³/s at 15 °C, 101.325 kPa].
    ladder : tuple of WeatherRow
        The same without this feed and with each of its bores, the others as sized; empty when not asked for.
    """

    coldest_c: float | None
    spare_m3_per_s_std: float
    ladder: tuple[WeatherRow, ...]


@dataclass(frozen=True, slots=True)
class Weather:
    """Coldest weather of an option.

    Parameters
    ----------
    coldest_c : float or None
        Coldest air temperature at which it holds as planned [°C]; None: not even in the warmest looked at.
    reason : str
        What fails a step colder; empty at the end of the range.
    feeds : tuple of (FeedWeather or None)
        For each hungry part; None for one without a feed of its own.
    """

    coldest_c: float | None
    reason: str
    feeds: tuple[FeedWeather | None, ...]
    hours: tuple[WeatherRow, ...] = ()
    """The option as planned in each hour of the window, when asked for: at most a day of them."""


def sizes_of(option: Priced) -> list[FeedSize]:
    """Return the sizes of an option's feeds, in the order of its hungry parts."""
    return [feed.size for feed in option.feeds if feed is not None]


def feed_case(desk: Desk, option: Priced) -> FeedCase:
    """Return an option as a case for feeds: stops in, customers off turned off, kept inlets to hold."""
    gone = np.zeros(len(desk.request.network.customers), dtype=bool)
    gone[option.off] = True
    if option.fed is not None:
        flow = option.fed.flow
    else:
        links = desk.base.links
        flow = desk.base.with_links(replace(links, is_open=links.is_open & ~option.reach.closed))
    demand = node_demand_after(desk, option.reach, option.flow_m3_per_s_std, flow.node_count)
    solver = FlowSolver(flow, desk.conditions)
    solver.solve(demand)
    return FeedCase(solver, demand, kept_inlets(desk, option.reach, gone))


def _ladder(
    case: FeedCase,
    demand_at: Callable[[float], Floats],
    options: Sequence[tuple[str, Sequence[FeedSize]]],
    rules: Rules,
) -> tuple[WeatherRow, ...]:
    """Return the window of each size; one that is no better than the size before is seen in two solves.

    A larger hose holds wherever a smaller one of the same feed does: looking starts where that one ended.
    """
    rows: list[WeatherRow] = []
    for option in options:
        before = rows[-1].coldest_c if rows else None
        if before is not None and before > COLDEST_LOOKED_AT_C:
            colder = max(round(before - STEP_C, 6), COLDEST_LOOKED_AT_C)
            row = weather_window(case, demand_at, [option], rules, warmest_c=before, coldest_c=colder)[0]
            if row.coldest_c == before:
                rows.append(row)
                continue
        rows.extend(weather_window(case, demand_at, [option], rules))
    return tuple(rows)


def weather_of(desk: Desk, option: Priced, *, ladders: bool) -> Weather:
    """Return until how cold an option holds.

    Parameters
    ----------
    desk : Desk
    option : Priced
    ladders : bool
        Whether every bore of every feed and every hour are looked at too: up to ten solves each.
    """
    rules = desk.request.rules
    case = feed_case(desk, option)
    sizes = sizes_of(option)
    part = option.reach.customer_part.astype(np.int64)
    is_off = option.flow_m3_per_s_std == 0.0

    def demand_at(air_temp_c: float, hour: int | None = None) -> Floats:
        flow = desk.demand_at(air_temp_c).flow_m3_per_s_std(hour, part)
        return node_demand_after(
            desk, option.reach, np.where(is_off, 0.0, flow), case.solver.network.node_count
        )

    def window(options: Sequence[tuple[str, Sequence[FeedSize]]]) -> tuple[WeatherRow, ...]:
        return weather_window(case, demand_at, options, rules)

    whole = window([("as planned", sizes)])[0]
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
        ladder = _ladder(case, demand_at, choices, rules) if ladders else ()
        spare = spare_flow_m3_per_s_std(case, sizes, place, rules)
        feeds.append(FeedWeather(whole.coldest_c, spare, ladder))
        place += 1
    hours: list[WeatherRow] = []
    for hour, of_day in enumerate(desk.demand.hours[:HOURS_A_DAY] if ladders else ()):
        # No hour is worse than the worst one: looking starts where that one ended.
        start = WARMEST_LOOKED_AT_C if whole.coldest_c is None else whole.coldest_c
        asked = [(of_day.words(), sizes)]
        hours += weather_window(case, partial(demand_at, hour=hour), asked, rules, warmest_c=start)
    return Weather(whole.coldest_c, whole.reason, tuple(feeds), tuple(hours))
