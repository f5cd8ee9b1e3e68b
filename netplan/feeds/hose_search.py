"""The cheapest hoses between places on mains: routes are looked for only where a straight line may win."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from netplan.feeds.feed_kinds import Feed, FeedKind
from netplan.feeds.feed_prices import feed_price_minor
from netplan.feeds.hose_routes import HoseRoute, HoseRoutes
from netplan.isolation import MINOR_PER_UNIT
from netplan.rules.rule_set import Rules

__all__ = ["HosePlaces", "cheapest_hoses", "straight_hoses"]

ROUNDING_M = 1e-6


@dataclass(frozen=True, slots=True, order=True)
class HosePlaces:
    """Two places that a hose could join.

    Parameters
    ----------
    giving, fed : int
        Links of the flow network that they lie on.
    start, stop : (x, y)
        The places in the working CRS [m].
    """

    giving: int
    fed: int
    start: tuple[float, float]
    stop: tuple[float, float]

    @property
    def apart(self) -> float:
        """Straight distance [m in the CRS]."""
        return float(np.hypot(self.stop[0] - self.start[0], self.stop[1] - self.start[1]))


class _Way(Protocol):
    def __call__(
        self, start: tuple[float, float], stop: tuple[float, float], rules: Rules, most_m: float
    ) -> HoseRoute | None: ...


Found = tuple[HosePlaces, HoseRoute]


def cheapest_hoses(
    places: Sequence[HosePlaces], rules: Rules, routes: HoseRoutes, most: int
) -> tuple[Found, ...]:
    """Return the cheapest hoses, at most one between two links, cheapest first.

    Those over open ground are looked for only where none keeps to the streets.

    Parameters
    ----------
    places : sequence of HosePlaces
        By straight distance, the shortest first.
    rules : Rules
    routes : HoseRoutes
    most : int
    """
    along = _cheapest(places, rules, routes.along_streets, routes.scale, most)
    return along or _cheapest(places, rules, routes.over_open_ground, routes.scale, most)


def straight_hoses(
    places: Sequence[HosePlaces], rules: Rules, routes: HoseRoutes, most: int
) -> tuple[Found, ...]:
    """Return the shortest hoses if all ground were free, which no hose is cheaper than."""

    def line(
        start: tuple[float, float], stop: tuple[float, float], _rules: Rules, _most_m: float
    ) -> HoseRoute:
        return HoseRoute(
            (start, stop), float(np.hypot(stop[0] - start[0], stop[1] - start[1])) / routes.scale
        )

    return _cheapest(places, rules, line, routes.scale, most)


def _cheapest(
    places: Sequence[HosePlaces], rules: Rules, way: _Way, scale: float, most: int
) -> tuple[Found, ...]:
    best: dict[tuple[int, int], tuple[int, float, HosePlaces, HoseRoute]] = {}
    dearest: int | None = None
    for place in places:
        least = _price(rules, place.apart / scale, 0)
        # A tie in the price is settled by the length, so that equals are looked at too.
        if dearest is not None and least > dearest:
            break
        pair = place.giving, place.fed
        if pair in best and least > best[pair][0]:
            continue
        route = way(place.start, place.stop, rules, _longest_m(rules, dearest))
        if route is None:
            continue
        found = _price(rules, route.length_m, route.crossings), round(route.length_m, 6), place, route
        if pair not in best or found[:3] < best[pair][:3]:
            best[pair] = found
            if len(best) >= most:
                dearest = sorted(price for price, *_ in best.values())[most - 1]
    chosen = sorted(best.values(), key=lambda one: one[:3])[:most]
    return tuple((place, route) for _, _, place, route in chosen)


def _price(rules: Rules, route_m: float, crossings: int) -> int:
    feed = Feed(FeedKind.HOSE, "", 0, 1, rules.bypass.slack * route_m, crossings=crossings)
    return feed_price_minor(feed, 1, rules)


def _longest_m(rules: Rules, dearest_minor: int | None) -> float:
    """Return how long a hose may be that costs no more than so many minor units [m], slack included."""
    reach, per_m = rules.bypass.reach_m, rules.price.hose_per_m
    if dearest_minor is None or per_m <= 0.0:
        return reach
    fixed = _price(rules, 0.0, 0)
    return min(reach, (dearest_minor - fixed + 1) / (MINOR_PER_UNIT * per_m) + ROUNDING_M)
