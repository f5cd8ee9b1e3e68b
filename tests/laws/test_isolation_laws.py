"""What holds for every cut of any small network."""

from __future__ import annotations

import itertools
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from netplan.core.errors import NoPlanError
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation import Cut, CutSearch, IsolationProblem, Orders, Stretch, cuts
from netplan.rules.read_rules import default_rules, read_rules
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import GAS_MINOR_PER_M3, HOURS, Case, Oracle, random_case

FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SEEDS = st.integers(10_000, 90_000)


def found(case: Case, most: int = 6, rules: Rules | None = None, **more: Any) -> tuple[CutSearch, list[Cut]]:
    problem = IsolationProblem(
        case.network, case.section, rules or default_rules(), HOURS, GAS_MINOR_PER_M3, **more
    )
    search = cuts(problem)
    try:
        return search, list(itertools.islice(search, most))
    except NoPlanError:
        return search, []


def some(case: Case, most: int = 6, **more: Any) -> list[Cut]:
    """Return the first cuts of a case; a case without any says nothing about them and is drawn anew."""
    listed = found(case, most, **more)[1]
    assume(listed)
    return listed


def parts_of_work(case: Case, cut: Cut) -> list[set[Any]]:
    """Cut all pipes at the stops, open every valve that is no stop, and return the parts with the work.

    A closed valve is no trusted stop unless the cut says so: a zone is apart even if every other valve lets by.
    """
    network, section = case.network, case.section
    pieces = network.pieces
    at: dict[int, list[tuple[float, int]]] = {}
    for number, stop in enumerate(cut.stops):
        at.setdefault(stop.piece, []).append((stop.chainage_m, number))
    graph: nx.Graph[Any] = nx.Graph()
    graph.add_nodes_from(range(len(network.nodes)))
    held = []
    for row in range(len(pieces)):
        nodes: list[Any] = [int(pieces.from_node[row])]
        places = [float(pieces.from_m[row])]
        for chainage, number in sorted(at.get(row, ())):
            nodes += [("stop", number, "low"), ("stop", number, "high")]
            places += [chainage, chainage]
        nodes.append(int(pieces.to_node[row]))
        places.append(float(pieces.to_m[row]))
        for k in range(0, len(nodes), 2):
            graph.add_edge(nodes[k], nodes[k + 1])
            for pipe, low, high in zip(section.pipe, section.from_m, section.to_m, strict=True):
                if pipe == pieces.pipe[row] and min(places[k + 1], high) - max(places[k], low) > 1e-6:
                    held.append(nodes[k])
    return [nx.node_connected_component(graph, node) for node in held]


@FEW
@given(SEEDS)
def test_nothing_feeds_the_section(seed: int) -> None:
    case = random_case(seed)
    network = case.network
    sources = {int(node) for node in (*network.stations.node, *network.injections.node)}
    for cut in some(case):
        parts = parts_of_work(case, cut)
        assert parts
        for part in parts:
            assert not part & sources


@FEW
@given(SEEDS)
def test_zones_are_connected_and_hold_what_the_stops_part(seed: int) -> None:
    case = random_case(seed)
    network = case.network
    table = network.customers
    for cut in some(case):
        parts = parts_of_work(case, cut)
        inside = {node for part in parts for node in part if isinstance(node, int)}
        assert inside == {int(node) for zone in cut.zones for node in zone.nodes}
        off = {
            row
            for row in range(len(table))
            if inside & set(table.attach_node[table.attach_start[row] : table.attach_start[row + 1]].tolist())
        }
        assert off == set(cut.customers.tolist())
        assert sorted(work for zone in cut.zones for work in zone.work) == list(range(len(case.section)))
        for zone in cut.zones:
            assert sum(set(zone.nodes.tolist()) <= part for part in parts) >= 1
        ends = {(stop.piece, round(stop.chainage_m, 6)) for stop in cut.stops if stop.kind != "valve"}
        reached = {
            (part.piece, round(at, 6))
            for zone in cut.zones
            for part in zone.pieces
            for at in (part.from_m, part.to_m)
        }
        assert ends <= reached


@FEW
@given(SEEDS)
def test_hard_constraints_hold(seed: int) -> None:
    case = random_case(seed)
    network, rules = case.network, default_rules()
    methods = {method.name: method for method in rules.method}
    banned = {int(node) for node in (*network.stations.node, *network.injections.node, *network.sensing.node)}
    for cut in some(case):
        assert not banned & {int(node) for zone in cut.zones for node in zone.nodes}
        for stop in cut.stops:
            method = methods[stop.method]
            assert stop.fault_pressure_pa_gauge <= 100 * (method.rating_mbar - method.rating_margin_mbar)
            assert method.od_min_mm <= 1000 * network.pipes.od_m[stop.pipe] + 1e-6 <= method.od_max_mm + 1e-5
            assert stop.barriers == method.barriers
            if stop.kind == "valve":
                assert (network.valves.state[stop.valve], network.valves.operable[stop.valve]) in (
                    (0, 0),
                    (1, 0),
                )
            for tapping in stop.tappings:
                on_work = case.section.pipe == tapping.pipe
                ends = np.concatenate([case.section.from_m[on_work], case.section.to_m[on_work]])
                assert (abs(tapping.chainage_m - ends) >= rules.clearance.work_m - 1e-6).all()


@FEW
@given(SEEDS)
def test_values_rise_along_the_list(seed: int) -> None:
    search, listed = found(random_case(seed), most=12)
    assume(listed)
    values = [cut.bound_minor for cut in listed]
    assert values == sorted(values)
    assert search.lower_bound_minor >= values[-1]


@FEW
@given(SEEDS, st.sampled_from(["bag stop", "squeeze-off", "valve"]), st.integers(1, 5000))
def test_raising_a_price_never_lowers_the_value(seed: int, name: str, more: int) -> None:
    case = random_case(seed)
    before = some(case, 1)
    methods = default_rules().model_dump(mode="json")["method"]
    for method in methods:
        if method["name"] == name:
            method["price"] += more
    dearer = found(case, 1, read_rules(None, {"method": methods}))[1]
    assert len(before) == len(dearer)
    most = before[0].bound_minor + 100 * more * len(before[0].stops)
    assert before[0].bound_minor <= dearer[0].bound_minor <= most


@FEW
@given(SEEDS, st.integers(0, 3))
def test_forbidding_a_stop_never_lowers_the_value(seed: int, which: int) -> None:
    case = random_case(seed)
    before = some(case, 1)
    stop = before[0].stops[which % len(before[0].stops)]
    orders = (
        Orders(forbid_valves=(stop.valve,))
        if stop.valve >= 0
        else Orders(forbid=(Stretch(stop.pipe, stop.chainage_m - 0.2, stop.chainage_m + 0.2),))
    )
    after_order = found(case, 1, orders=orders)[1]
    assume(after_order)
    assert after_order[0].bound_minor >= before[0].bound_minor
    assert all(
        abs(other.chainage_m - stop.chainage_m) > 0.1
        for other in after_order[0].stops
        if other.piece == stop.piece
    )


@FEW
@given(SEEDS)
def test_no_arc_is_negative(seed: int) -> None:
    search, listed = found(random_case(seed), 1)
    assume(listed)
    graph = search.local.graph
    assert 0 <= min(graph.capacity) <= max(graph.capacity) <= INFINITE
    sinks = [size for node, size in enumerate(graph.sink) if search.local.is_explored(node)]
    assert 0 <= min(sinks) <= max(sinks) <= INFINITE


@pytest.mark.parametrize("gas", [0.0, 2.0e6])
def test_gas_dearer_than_stops_is_still_exact(gas: float) -> None:
    """With gas this dear the split of a piece's gas over its ends reaches its limit."""
    compared = 0
    for seed in range(24):
        case = random_case(seed)
        oracle = Oracle(case, default_rules(), gas_minor_per_m3=gas)
        problem = IsolationProblem(case.network, case.section, default_rules(), HOURS, gas)
        try:
            listed = [cut.bound_minor for cut in itertools.islice(cuts(problem), 5)]
        except NoPlanError:
            listed = []
        assert listed == [value for value, _ in oracle.answers()[:5]]
        compared += bool(listed)
    assert compared > 10
