"""The chooser against an exhaustive enumeration of connected zones that shares no code with it."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import IsolationProblem, Orders, PendantComponent, cuts
from netplan.isolation.segment_graph import segment_graph
from netplan.rules.read_rules import read_rules
from netplan.rules.rule_set import Rules
from tests.support.case_counts import cases
from tests.support.isolation_oracle import GAS_MINOR_PER_M3, HOURS, Oracle, random_case

SEEDS = cases(228)
LISTED = 10


@pytest.fixture(scope="module")
def rules() -> Rules:
    return read_rules(None, {"clearance": {"work_m": 0.9}})


def listed(problem: IsolationProblem, most: int) -> list[tuple[int, tuple[Any, ...]]]:
    """Return what the chooser lists, in the oracle's words but for the names of chains."""
    try:
        return [
            (cut.bound_minor, tuple(cut.customers.tolist())) for cut in itertools.islice(cuts(problem), most)
        ]
    except NoPlanError:
        return []


@pytest.mark.parametrize("block", range(12))
def test_ten_cheapest_equal_enumeration(block: int, rules: Rules) -> None:
    compared = 0
    for seed in range(block, SEEDS, 12):
        case = random_case(seed)
        expected = Oracle(case, rules).answers()
        problem = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3)
        found = listed(problem, LISTED)
        assert [value for value, _ in found] == [value for value, _ in expected[:LISTED]], f"seed {seed}"
        below = [(value, key[1]) for value, key in expected if len(found) < LISTED or value < found[-1][0]]
        assert sorted(below) == sorted(answer for answer in found if answer in below), f"seed {seed}"
        compared += bool(expected)
    assert compared >= 0.45 * SEEDS / 12


@pytest.mark.parametrize("block", range(3))
def test_record_joints_passed_by_rule_equal_enumeration(block: int) -> None:
    clearance = {"work_m": 0.3, "through_record_joints": True}
    rules = read_rules(None, {"clearance": clearance})
    never = read_rules(None, {"clearance": {**clearance, "through_record_joints": False}})
    differ = 0
    count = cases(24)
    for seed in range(2000 + count * block, 2000 + count * (block + 1)):
        case = random_case(seed)
        expected = Oracle(case, rules).answers()
        problem = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3)
        found = [value for value, _ in listed(problem, LISTED)]
        assert found == [value for value, _ in expected[:LISTED]], f"seed {seed}"
        strict = IsolationProblem(case.network, case.section, never, HOURS, GAS_MINOR_PER_M3)
        differ += found != [value for value, _ in listed(strict, LISTED)]
    assert differ >= count / 14


@pytest.mark.parametrize("block", range(3))
def test_tightened_bound_equals_enumeration(block: int, rules: Rules) -> None:
    def feed(rows: Any) -> int:
        return 4000 + 7000 * (sum(int(row) for row in rows) % 5)

    tightened = 0
    count = cases(15)
    for seed in range(1000 + count * block, 1000 + count * (block + 1)):
        case = random_case(seed)
        expected = Oracle(case, rules, feed).answers()

        def bound(tail: PendantComponent) -> int:
            return feed(tail.customers().tolist())

        problem = IsolationProblem(
            case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3, feed_bound=bound
        )
        found = [value for value, _ in listed(problem, LISTED)]
        assert found == [value for value, _ in expected[:LISTED]], f"seed {seed}"
        plain = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3)
        tightened += found != [value for value, _ in listed(plain, LISTED)]
    assert tightened


def test_no_more_stops_than_ordered(rules: Rules) -> None:
    shorter = 0
    for seed in range(cases(30)):
        case = random_case(seed)
        expected = Oracle(case, rules).answers(most_stops=2)
        orders = Orders(max_stops=2)
        problem = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3, orders)
        found = [value for value, _ in listed(problem, 5)]
        assert found == [value for value, _ in expected[:5]], f"seed {seed}"
        shorter += found != [value for value, _ in Oracle(case, rules).answers()[:5]]
    assert shorter


def test_index_can_be_shared(rules: Rules) -> None:
    case = random_case(3)
    index = segment_graph(case.network)
    problem = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3)
    once = [cut.bound_minor for cut in itertools.islice(cuts(problem, index), 5)]
    again = [cut.bound_minor for cut in itertools.islice(cuts(problem, index), 5)]
    assert once == again == [value for value, _ in listed(problem, 5)]


@pytest.mark.parametrize("block", range(3))
def test_valves_without_room_for_their_tappings_equal_enumeration(block: int) -> None:
    # Tappings so far from all else that valves of short mains, and those near the work, have no room for theirs.
    rules = read_rules(
        None, {"clearance": {"work_m": 0.9, "fitting_m": 5.05}, "valve": {"tapping_reach_m": 8.0}}
    )
    with_room = without = compared = 0
    count = cases(20)
    for seed in range(4000 + count * block, 4000 + count * (block + 1)):
        case = random_case(seed)
        oracle = Oracle(case, rules)
        expected = oracle.answers()
        problem = IsolationProblem(case.network, case.section, rules, HOURS, GAS_MINOR_PER_M3)
        found = [value for value, _ in listed(problem, LISTED)]
        assert found == [value for value, _ in expected[:LISTED]], f"seed {seed}"
        rooms = oracle.rooms_beside_valves()
        with_room += sum(rooms)
        without += len(rooms) - sum(rooms)
        compared += bool(expected)
    assert compared >= count / 2
    assert with_room >= count / 3
    assert without >= count / 3
