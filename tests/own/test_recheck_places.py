"""Places of an issued plan on today's network, and what a plan keeps of its orders (own)."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.network.build import build_network
from netplan.network.linear_reference import points_at
from netplan.planfile.model import WorkItem
from netplan.planning.request import customers_in_orders
from netplan.recheck.recorded_places import main_place, work_today
from netplan.rules.rule_differences import rule_differences
from tests.support.small_town import small_town


def test_a_main_that_runs_elsewhere_has_no_place_of_the_plan() -> None:
    network = build_network(small_town())
    row = network.pipes.id.find("M9")
    x, y = points_at(network, np.array([row]), np.array([30.0]))[0].tolist()
    assert main_place(network, "M9", 30.0, (x, y)).why == ""
    assert main_place(network, "M9", 30.0, (x + 0.1, y)).pipe == row
    moved = main_place(network, "M9", 30.0, (x + 1.0, y))
    assert moved.pipe == -1
    assert "runs elsewhere now: its 30.00 m lies 1.0 m from the place of the plan" in moved.why


@pytest.mark.parametrize(
    ("main_id", "chainage_m", "words"),
    [("M77", 3.0, "main M77 is not in the records now"), ("M9", 200.0, "m long now, 200.00 m is beyond it")],
)
def test_a_place_that_is_gone_says_why(main_id: str, chainage_m: float, words: str) -> None:
    assert words in main_place(build_network(small_town()), main_id, chainage_m, None).why


def test_an_end_of_the_work_that_was_rounded_from_the_end_of_a_main_is_that_end() -> None:
    network = build_network(small_town())
    length_m = float(network.pipes.length_m[network.pipes.id.find("M9")])
    near, short = (WorkItem(main_id="M9", from_m=1.0, to_m=length_m - off) for off in (0.0004, 0.4))
    assert work_today(network, [near])[0].to_m == length_m
    assert work_today(network, [short])[0].to_m == short.to_m


def test_customers_in_orders_are_read_back_whatever_their_ids() -> None:
    lines = (
        "a stop at M1 3.00 m",
        "customer C 1 stays on",
        "customer stays on has a supply of its own",
        "customer C2 has a supply of its own",
        "no bypass, hose or opened valve",
    )
    assert customers_in_orders(lines) == (("C 1",), ("stays on", "C2"))


def test_rules_that_differ_are_named_by_their_keys() -> None:
    was = {"pressure": {"minimum_mbar": 19.0}, "method": [{"name": "bag", "price": 1.0}]}
    now = {"pressure": {"minimum_mbar": 20.0}, "method": [{"name": "bag", "price": 2.0}]}
    assert rule_differences(was, was) == ()
    assert rule_differences(was, now) == (
        "rule method.bag.price: 2.0 instead of 1.0",
        "rule pressure.minimum_mbar: 20.0 instead of 19.0",
    )
