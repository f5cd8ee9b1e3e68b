"""A screen in full beside plans of the same mains: every figure of the best option is the plan's.

The suite takes a few mains of two random towns and of the sample towns;
``NETPLAN_FULL_TOWNS=20 pytest tests/laws/test_screen_in_full.py`` every main of that many random towns, and
``NETPLAN_CONFIRMED=300 pytest -s tests/laws/test_screen_in_full.py -k confirmed`` as many mains of the sample towns,
each planned anew on a network solved for it alone.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np
import pytest

from netplan.cli.sample import sample_network
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.readers import read_network
from netplan.rules import Rules, default_rules, read_rules
from netplan.screening import ScreenSettings
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.screen_run import Districts
from tests.support import schutterwald
from tests.support.screened_plans import check_against_plan, planned_row
from tests.whole_plan.towns import random_town

MORE = int(os.environ.get("NETPLAN_FULL_TOWNS", "0"))
TOWNS: dict[int, tuple[int, ...] | None] = (
    dict.fromkeys(range(MORE)) if MORE else {3: (3,), 4: (8,), 5: (0, 1, 2)}
)
"""Random towns and the mains of each that are planned, all of them for None: with a valve opened, with bypasses,
with customers off, with none of it and without a plan."""
CONFIRMED = int(os.environ.get("NETPLAN_CONFIRMED", "0"))
QUICK = {"seconds": 600.0, "max_zones": 40, "max_solves_without_option": 400}


def _checked(network: Network, rules: Rules, settings: ScreenSettings, mains: list[int]) -> Counter[str]:
    """Price mains one after the other on one context, plan each anew, and compare; return the outcomes."""
    evaluator, met = MainEvaluator(Districts(network, rules, settings)(0)[0]), Counter[str]()
    for number, main in enumerate(mains, 1):
        (row,) = evaluator.rows([main])
        check_against_plan(row, planned_row(network, rules, settings, main))
        met[row["plan_outcome"]] += 1
        met["fed"] += bool(row["plan_bypasses"] or row["plan_hoses"] or row["plan_opened"])
        met["off"] += bool(row["plan_customers"])
        if CONFIRMED or MORE:
            print(number, row["main_id"], row["plan_outcome"], row["plan_burden"], flush=True)  # noqa: T201
    return met


def test_each_main_of_random_towns_is_priced_as_plan_prices_it() -> None:
    met: Counter[str] = Counter()
    for seed, some in TOWNS.items():
        town = random_town(seed)
        network = build_network(town.layers())
        rules = read_rules(None, overrides={**town.rules, "choice": QUICK})
        mains = list(range(network.pipes.n_mains)) if some is None else list(some)
        met += _checked(network, rules, ScreenSettings(air_temp_c=town.air_temp_c, full=True), mains)
    assert met["plan stands"]
    assert met["no plan possible"]
    assert met["off"]
    assert met["fed"] >= 2


@pytest.mark.parametrize("name", ["sample", *(["schutterwald"] if CONFIRMED else [])])
def test_mains_of_the_sample_towns_are_confirmed_by_plan(name: str) -> None:
    if name == "sample":
        network, rules, air_c = read_network(sample_network()), default_rules(), None
    else:
        network = build_network(schutterwald.layers(), strict=False)
        rules, air_c = schutterwald.pinned_rules(), schutterwald.MILD_C
    drawn = [116, 101]
    if CONFIRMED:
        drawn = np.random.default_rng(20).permutation(network.pipes.n_mains)[: (CONFIRMED + 1) // 2].tolist()
    met = _checked(network, rules, ScreenSettings(air_temp_c=air_c, full=True), drawn)
    assert met["plan stands"] >= len(drawn) // 2
