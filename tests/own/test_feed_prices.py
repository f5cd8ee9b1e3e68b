"""What feeds cost, by hand from the rules (own)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from netplan.feeds import Feed, FeedKind
from netplan.feeds.feed_kinds import sizes_in_order
from netplan.feeds.feed_prices import feed_price_minor
from netplan.feeds.possible_feeds import hose_ways
from netplan.feeds.tappable_lengths import MainLines
from netplan.rules import read_rules
from tests.support.hose_routes import routes_round

RULES = read_rules(
    overrides={"price": {"bypass": 900.0, "bypass_per_m": 15.0, "hose_per_m": 25.0, "open_valve": 150.0}}
)


@pytest.mark.parametrize(
    ("kind", "parallel", "length_m", "price"),
    [
        (FeedKind.BYPASS, 1, 20.0, 1200.0),
        (FeedKind.BYPASS, 2, 20.0, 2400.0),
        (FeedKind.HOSE, 1, 10.0, 1150.0),
        (FeedKind.HOSE, 3, 10.0, 3450.0),
    ],
)
def test_hoses_side_by_side_are_paid_for_one_by_one(
    kind: FeedKind, parallel: int, length_m: float, price: float
) -> None:
    assert feed_price_minor(Feed(kind, "a hose", 0, 1, length_m), parallel, RULES) == round(100 * price)


def test_each_hose_is_rounded_to_whole_minor_units() -> None:
    # 900 + 15 × 1.0004 = 915.006: two hoses are 2 × 915.01.
    assert feed_price_minor(Feed(FeedKind.BYPASS, "a hose", 0, 1, 1.0004), 2, RULES) == 2 * 91501


def test_every_carriageway_crossed_takes_a_ramp_for_each_hose() -> None:
    rules = read_rules(overrides={"price": {"bypass": 900.0, "bypass_per_m": 15.0, "ramp": 70.0}})
    feed = Feed(FeedKind.BYPASS, "a hose", 0, 1, 20.0, crossings=2)
    assert feed_price_minor(feed, 1, rules) == 134_000
    assert feed_price_minor(feed, 2, rules) == 268_000


def test_a_valve_costs_its_opening() -> None:
    assert feed_price_minor(Feed(FeedKind.VALVE, "V1", 0, 1, 0.0, valve_link=3), 1, RULES) == 15000


def test_every_bore_of_the_rules_is_tried_the_smallest_first_then_two_side_by_side() -> None:
    rules = read_rules(overrides={"bypass": {"bores_mm": [25.0, 38.0, 63.0], "parallel_max": 2}})
    sizes = list(sizes_in_order(Feed(FeedKind.BYPASS, "a hose", 0, 1, 20.0), rules))
    assert [(size.parallel, round(size.bore_m * 1000.0, 6)) for size in sizes] == [
        (count, bore) for count in (1, 2) for bore in (25.0, 38.0, 63.0)
    ]


def test_the_reach_counts_the_hose_with_its_slack() -> None:
    rules = read_rules(overrides={"bypass": {"reach_m": 20.0, "slack": 1.15}})

    def within(apart_m: float) -> bool:
        live, fed = (
            MainLines(
                np.array([row]),
                np.array([shapely.LineString([(0, y), (100, y)])], dtype=object),
                np.array([0.11]),
            )
            for row, y in enumerate((0.0, apart_m))
        )
        return bool(hose_ways(live, fed, rules, routes=routes_round()))

    # 17.3 m are 19.9 m of hose, 17.5 m are 20.1 m.
    assert within(17.3)
    assert not within(17.5)
