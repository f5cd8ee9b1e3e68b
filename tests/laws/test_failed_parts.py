"""What is kept of parts that failed answers as solving anew does, and asks the solver less often."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.core.arrays import Flags
from netplan.feeds import Draw, Feed, FeedCase, FeedChecker, FeedKind, FeedLoads, FeedSize, Inlets
from netplan.feeds.failed_parts import FailedParts
from netplan.feeds.split_case import WHILE_PURGING
from netplan.hydraulics import (
    CountedSolver,
    FlowConditions,
    FlowLinks,
    FlowNetwork,
    FlowSolver,
    SolutionCount,
)
from netplan.reference.gas import named_gas
from netplan.rules.read_rules import read_rules
from netplan.rules.rule_set import Rules

CONDITIONS = FlowConditions(named_gas("natural gas"))
TAILS = {"A": 6, "B": 8, "C": 16, "D": 18}
"""First node of each tail without a station."""


def _two_streets(seed: int) -> tuple[FeedCase, SolutionCount]:
    """Return two streets, each with a station of its own, with two tails cut off from each."""
    rng = np.random.default_rng(seed)
    street = [(i, i + 1) for i in range(5)]
    tails = [(2, 6), (6, 7), (4, 8), (8, 9)]
    ends = np.array([(a + add, b + add) for add in (0, 10) for a, b in street + tails])
    links = FlowLinks(
        from_node=ends[:, 0],
        to_node=ends[:, 1],
        length_m=rng.uniform(40, 120, 18),
        bore_m=rng.choice([0.0736, 0.1022, 0.1308], 18),
        roughness_m=np.full(18, 7e-6),
        is_open=np.array(([True] * 5 + [False, True, False, True]) * 2),
    )
    network = FlowNetwork(20, links, np.array([0, 10]), rng.uniform(2250, 2700, 2))
    count = SolutionCount()
    solver = CountedSolver(FlowSolver(network, CONDITIONS), count)
    demand = rng.uniform(0.5, 14.0, 20) / 3600.0
    nodes = np.array([n for n in range(20) if n not in (0, 10)])
    solver.solve(demand)
    return FeedCase(solver, demand, Inlets(nodes, np.full(18, 2100.0))), count


def _asked(seed: int, case: FeedCase, rules: Rules) -> list[tuple[list[FeedSize], FeedLoads, Flags]]:
    """Return questions as a choice of feeds asks them: the same feeds in many combinations and sizes."""
    rng = np.random.default_rng(seed + 1000)
    giving = {"A": 1, "B": 5, "C": 11, "D": 13}
    hoses = {name: Feed(FeedKind.HOSE, name, giving[name], TAILS[name], 20.0) for name in TAILS}
    across = Feed(FeedKind.BYPASS, "across", 5, 15, 30.0)
    bores = [bore / 1000 for bore in rules.bypass.bores_mm]
    drawn = Draw(int(rng.choice([3, 13])), float(rng.uniform(2.0, 30.0)) / 3600.0)
    other = Draw(int(rng.choice([2, 12])), drawn.flow_m3_per_s_std)
    found = []
    for _ in range(30):
        fed = [name for name in TAILS if rng.random() < 0.5]
        sizes = [FeedSize(hoses[name], float(rng.choice(bores))) for name in fed]
        if rng.random() < 0.4:
            sizes.append(FeedSize(across, float(rng.choice(bores))))
        demand, skip = case.demand_m3_per_s_std.copy(), np.zeros(len(case.inlets), dtype=bool)
        for name in set(TAILS) - set(fed):
            gone = [TAILS[name], TAILS[name] + 1]
            demand[gone] = 0.0
            skip |= np.isin(case.inlets.node, gone)
        draws = ((drawn, other),) if rng.random() < 0.7 else ()
        found.append((sizes, FeedLoads((0.8 * demand, demand), draws), skip))
    return found


def test_kept_failures_answer_as_solving_does() -> None:
    rules = read_rules(overrides={"bypass": {"bores_mm": [25.0, 51.0, 102.0]}})
    holds = fails = saved = 0
    for seed in range(16):
        case, count = _two_streets(seed)
        failed = FailedParts(case)
        for may_split in (True, False):
            kept = FeedChecker(case, rules, may_split=may_split, failed=failed)
            for sizes, loads, skip in _asked(seed, case, rules):
                before = count.done
                against = kept.reason_against(sizes, loads, skip)
                between = count.done
                anew = FeedChecker(case, rules, may_split=False).margin_under(sizes, loads, skip)
                bare = FeedChecker(case, rules, may_split=False).margin_under(
                    sizes, FeedLoads(loads.hours), skip
                )
                # What fails without a purge fails, whatever is said of it with one.
                assert (against == "") is (anew.holds and bare.holds), (seed, against, anew.reason)
                holds += against == ""
                fails += against != ""
                saved += (count.done - between) - (between - before)
    assert holds >= 50
    assert fails >= 200
    assert saved > 0


@pytest.mark.parametrize("seed", range(6))
def test_an_hour_that_fails_without_a_purge_is_named_without_it(seed: int) -> None:
    rules = read_rules()
    case, _ = _two_streets(seed)
    short = case.demand_m3_per_s_std * 12.0
    skip = ~np.isin(case.inlets.node, [1, 2, 3, 4, 5])
    loads = FeedLoads((short,), ((Draw(3, 1e-4), Draw(2, 1e-4)),))
    reason = FeedChecker(case, rules).reason_against([], loads, skip)
    bare = FeedChecker(case, rules).margin_under([], FeedLoads((short,)), skip)
    assert not bare.holds
    assert reason == bare.reason
    assert WHILE_PURGING not in reason


def test_a_part_that_fails_is_not_solved_again() -> None:
    rules = read_rules()
    case, count = _two_streets(0)
    demand = case.demand_m3_per_s_std * 12.0
    demand[10:] = 0.0
    skip = ~np.isin(case.inlets.node, [1, 2, 3, 4, 5, 11, 16, 17])
    checker = FeedChecker(case, rules, failed=FailedParts(case))
    hose = Feed(FeedKind.HOSE, "C", 11, TAILS["C"], 20.0)
    asked = [FeedSize(hose, bore / 1000) for bore in rules.bypass.bores_mm]
    assert checker.reason_against([asked[0]], FeedLoads((demand,)), skip)
    done = count.done
    for size in asked[1:]:
        assert checker.reason_against([size], FeedLoads((demand,)), skip)
    assert len(asked) > 1
    assert count.done == done
