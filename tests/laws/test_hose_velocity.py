"""The velocity of each hose is that of its own flow, whatever other hoses are in."""

from __future__ import annotations

import math

import pytest

from netplan.feeds import FeedSize
from netplan.hydraulics import FlowConditions
from netplan.reference.gas import named_gas
from netplan.rules import read_rules
from tests.support.feed_cases import random_town

CONDITIONS = FlowConditions(named_gas("natural gas"), ground_temperature_k=283.15)


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_each_hose_has_the_velocity_of_its_own_flow(seed: int) -> None:
    rules = read_rules()
    town = random_town(seed, rules)
    case = town.case(CONDITIONS)
    sizes = [FeedSize(town.feed, 0.051, 2), FeedSize(town.feed, 0.025, 1)]
    state = case.solve(sizes, rules)
    flows = state.flow_m3_per_s_std[town.network.links.count :]
    assert len(flows) == 3
    # Boyle and Gay-Lussac from 15 °C, 101.325 kPa at the upstream pressure.
    pressure = 101_325.0 + state.pressure_pa_gauge[[town.feed.from_node, town.feed.to_node]].max()
    actual = 101_325.0 / pressure * 283.15 / 288.15
    wanted = [abs(flows[row]) * actual / (math.pi / 4.0 * bore**2) for row, bore in ((0, 0.051), (2, 0.025))]
    assert case.velocities_m_per_s(sizes, state) == pytest.approx(wanted, rel=5e-3)
