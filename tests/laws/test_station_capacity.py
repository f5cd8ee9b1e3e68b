"""Where stations cannot give what is drawn, the flow calculation finds no solution either, whatever the sizes."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from netplan.feeds.feed_kinds import sizes_in_order
from netplan.feeds.station_capacity import StationCapacity
from netplan.hydraulics import FlowConditions, FlowNetwork
from netplan.reference.gas import named_gas
from netplan.rules import read_rules
from tests.support.feed_cases import Town, random_town


def _with_capacity(town: Town, share: float) -> Town:
    network = town.network
    capacity = np.array([share * float(town.demand.sum())])
    limited = FlowNetwork(
        network.node_count,
        network.links,
        network.station_node,
        network.station_pressure_pa_gauge,
        capacity,
    )
    return replace(town, network=limited)


def test_what_stations_cannot_give_is_not_solved_with_any_size() -> None:
    rules = read_rules()
    conditions = FlowConditions(named_gas("natural gas"))
    seen: Counter[str] = Counter()
    for seed in range(60):
        share = (0.5, 0.8, 0.999, 1.001)[seed % 4]
        town = _with_capacity(random_town(seed, rules), share)
        case = town.case(conditions)
        case.solver.solve(town.demand)
        skip = np.zeros(len(town.inlets), dtype=bool)
        for feeds in ((), (town.feed,)):
            exceeded = StationCapacity(case).is_exceeded(feeds, town.demand, skip)
            sizes = [[]] if not feeds else [[size] for size in sizes_in_order(town.feed, rules, 2)]
            verdicts = [case.judge(some, rules) for some in sizes]
            if exceeded:
                assert not any(verdict.holds for verdict in verdicts), seed
                assert all(np.isnan(verdict.least_pa_gauge) for verdict in verdicts), seed
            seen[f"{'fed' if feeds else 'unfed'} {'exceeded' if exceeded else 'not'}"] += 1
    # Stranded parts have no station, so that mostly it is exceeded without the feed; with it, by the share.
    assert all(seen[what] >= 10 for what in ("fed exceeded", "fed not", "unfed exceeded")), seen
    # With everybody off that draws too much nothing is asked.
    assert not StationCapacity(case).is_exceeded((town.feed,), town.demand, ~skip)
