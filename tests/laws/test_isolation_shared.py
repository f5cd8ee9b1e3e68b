"""What questions share gives what each would find alone: spots, words of runs, spanning forests."""

from __future__ import annotations

import itertools
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.errors import NoPlanError
from netplan.isolation import IsolationProblem, SameFeed, build_index, cuts
from netplan.isolation.bonds import Bonds
from netplan.isolation.bridges import Bridges
from netplan.isolation.first import first_zone
from netplan.isolation.flood import START, Arc, Spot, least_zone
from netplan.isolation.forest import grow_forest
from netplan.isolation.ground import ground_of
from netplan.isolation.mincut import INFINITE, least_cut
from netplan.isolation.neighbourhood import SOURCE, Neighbourhood
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.section import Section
from netplan.rules.read import default_rules
from tests import schutterwald
from tests.benchmarks.isolation_grids import isolation_grid
from tests.laws.test_isolation_flow import Hidden, drawn

RULES = default_rules()


def _spots(hidden: Hidden) -> dict[int, Spot]:
    """Return the graph as spots; its node 0 is the start."""
    arcs: dict[int, list[Arc]] = {node: [] for node in range(len(hidden.outlet))}
    for row, (tail, head, forth, back) in enumerate(hidden.edges):
        arcs[tail].append((2 * row, head or START, forth, back))
        arcs[head].append((2 * row + 1, tail or START, back, forth))
    return {node or START: (hidden.outlet[node], tuple(found)) for node, found in arcs.items()}


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 1 << 30))
def test_the_least_zone_equals_networkx(seed: int) -> None:
    hidden, _ = drawn(seed)
    spots = _spots(hidden)
    own = {node: spot for node, spot in spots.items() if node in (START, 1)}
    zone, expected = least_zone(own, spots.__getitem__), hidden.by_networkx(set(), set())
    if expected is None or zone is None:
        assert zone is None
        assert expected is None
        return
    value, side = expected
    assert zone.value == value
    assert {max(node, 0) for node in zone.nodes} == {*side} - {"in"}
    assert set(zone.nodes) <= zone.looked_at


def _multigraph(seed: int) -> tuple[int, np.ndarray[Any, Any], np.ndarray[Any, Any], np.random.Generator]:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 12))
    links = int(rng.integers(0, 2 * n + 1))
    return n, rng.integers(0, n, links), rng.integers(0, n, links), rng


def _parts(n: int, links: list[tuple[int, int]]) -> int:
    graph: nx.MultiGraph[int] = nx.MultiGraph(links)
    graph.add_nodes_from(range(n))
    return nx.number_connected_components(graph)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 1 << 30))
def test_words_tell_how_often_links_part_a_graph(seed: int) -> None:
    n, a, b, rng = _multigraph(seed)
    words, links = grow_forest(n, a, b).words, list(zip(a.tolist(), b.tolist(), strict=True))
    for count in range(min(5, len(links)) + 1):
        taken = rng.choice(len(links), count, replace=False).tolist()
        left = [link for row, link in enumerate(links) if row not in taken]
        more = _parts(n, left) - _parts(n, links)
        # A link back to its own node parts nothing, but its word cannot say so: one part too many is told.
        loops = sum(a[row] == b[row] for row in taken)
        assert Bonds(words).parts_once(taken) == (more + loops == 1)
        if count and not loops:
            # Cut in two places a link leaves its middle as a part of its own.
            assert Bonds(words).parts_once([*taken, taken[0]]) == (more + 1 == 1)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 1 << 30))
def test_subtrees_are_ranges_and_parents_are_joined(seed: int) -> None:
    n, a, b, _ = _multigraph(seed)
    forest = grow_forest(n, a, b)
    assert sorted(forest.order.tolist()) == list(range(n))
    assert forest.place[forest.order].tolist() == list(range(n))
    for node in range(n):
        parent, link = int(forest.parent[node]), int(forest.link[node])
        assert (parent < 0) == (link < 0) == (forest.root[node] == node)
        if parent >= 0:
            assert {int(a[link]), int(b[link])} == {node, parent}
            assert forest.root[node] == forest.root[parent]
            low, high = forest.place[parent], forest.place[parent] + forest.size[parent]
            assert low < forest.place[node] <= forest.place[node] + forest.size[node] - 1 < high
    roots = {int(root) for root in forest.root}
    assert len(roots) == _parts(n, list(zip(a.tolist(), b.tolist(), strict=True)))


def _near(network: Network, main: int, index: Any, *, whole: bool) -> Neighbourhood:
    length = float(network.pipes.length_m[main])
    low, high = (0.0, length) if whole else (0.4 * length, 0.6 * length)
    work = Section(np.array([main], np.int32), np.array([low]), np.array([high]))
    problem = IsolationProblem(network, work, RULES, 9.0, 800.0, feed_bound=SameFeed(150_000))
    search = cuts(problem, index)
    search._begin()
    return search.near


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("name", ["grid", "town"])
def test_the_first_zone_is_that_of_the_graph(name: str, *, whole: bool) -> None:
    network = isolation_grid(1200, 3) if name == "grid" else build_network(schutterwald.layers())
    index, asked = build_index(network), 0
    for main in range(0, network.pipes.n_mains, 3 if name == "grid" else 11):
        zone = first_zone(_near(network, main, index, whole=whole))
        near = _near(network, main, index, whole=whole)
        flow = least_cut(near.graph, [SOURCE], [], near.explore)
        if zone is None:
            assert flow is None or any(index.several)
            continue
        assert flow is not None
        assert zone.value == flow.value
        assert {*zone.nodes} - {START} == {near.supernode[node] for node in flow.side} - {-1}
        asked += 1
    assert asked > 30


def test_arcs_priced_at_once_are_those_priced_one_by_one() -> None:
    network = isolation_grid(1200, 4)
    index, asked = build_index(network), 0
    ground = ground_of(index, RULES, 9.0, 800_000.0)  # gas so dear that stops may cost less than it
    plain, bridges = ground.plain_spots, Bridges(ground, None)
    for node in np.flatnonzero(plain.is_plain).tolist():
        expected, pays = [], 0
        for run in index.runs_at(node).tolist():
            at_a = int(index.run_a[run]) == node
            forth, back, pay, _ = bridges.arcs(run, at_a, 0, 0)
            far = int(index.run_b[run] if at_a else index.run_a[run])
            expected.append((2 * run + (not at_a), far, forth, back))
            pays += pay
        assert plain.arcs(node) == tuple(expected)
        assert plain.pay_minor[node] == pays
        asked += 1
    assert asked > 0.5 * index.n_super


def test_the_same_cuts_whether_prices_are_shared_or_not() -> None:
    network = isolation_grid(1200, 5)
    index = build_index(network)
    for main in range(0, network.pipes.n_mains, 17):
        length = float(network.pipes.length_m[main])
        work = Section(np.array([main], np.int32), np.zeros(1), np.array([length]))
        found = []
        for feed in (SameFeed(150_000), lambda _tail: 150_000):
            search = cuts(IsolationProblem(network, work, RULES, 9.0, 800.0, feed_bound=feed), index)
            try:
                some = list(itertools.islice(search, 4))
            except NoPlanError:
                some = []
            found.append([(cut.bound_minor, cut.stops, cut.customers.tolist()) for cut in some])
        assert found[0] == found[1]


def test_a_limitless_outlet_has_no_least_zone() -> None:
    assert least_zone({START: (INFINITE, ())}, dict[int, Spot]().__getitem__) is None
