"""What questions share gives what each would find alone: capacities, compiled cuts, labels of segments."""

from __future__ import annotations

import functools
import itertools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from netplan.core.errors import NoPlanError
from netplan.graph.compiled_cut import CompiledFlow, Question, _interpreted
from netplan.graph.compiled_cut import _compiled as _compiled_or_not
from netplan.graph.minimum_cut import INFINITE, UNEXPLORED, least_cut
from netplan.graph.spanning_forest import CutLabels, spanning_forest
from netplan.isolation import IsolationProblem, SameFeed, SegmentGraph, ZonePiece, cuts
from netplan.isolation.capacity_table import READY, UNREAD
from netplan.isolation.cost_context import cost_context_of
from netplan.isolation.cut_enumeration import shared_cut
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_geometry import part_of, segment_geometry
from netplan.isolation.segment_graph import segment_graph
from netplan.isolation.shared_costs import SharedCosts
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.rules.read_rules import default_rules
from netplan.screening import ScreenSettings, screen
from tests.benchmarks.isolation_grids import isolation_grid
from tests.laws.test_maximum_flow import Hidden, drawn
from tests.support import schutterwald
from tests.support.shares import at_least, seen

RULES = default_rules()


def _compiled(hidden: Hidden, own: set[int]) -> tuple[CompiledFlow, Question, Callable[[int], bool]]:
    """Return a graph in arrays whose nodes are completed when asked for, and a question from its node 0.

    Some nodes belong to the question alone, with all arcs that leave them.
    """
    leaving: list[list[int]] = [[] for _ in hidden.sink]
    for row, (tail, head, _, _) in enumerate(hidden.edges):
        leaving[tail].append(2 * row)
        leaving[head].append(2 * row + 1)
    end = [node for tail, head, _, _ in hidden.edges for node in (head, tail)]
    capacity = [size for _, _, forward, reverse in hidden.edges for size in (forward, reverse)]
    first, following = np.full(len(leaving), -1), np.full(len(end), -1)
    for node, arcs in enumerate(leaving):
        first[node] = arcs[0] if arcs else -1
        following[arcs[:-1]] = arcs[1:]
    # What a question has for itself is not to be looked up in the graph: there it is wrong.
    of_graph = np.array(capacity)
    ours = [arc for node in sorted(own) for arc in leaving[node]]
    of_graph[ours] = 7
    flow = CompiledFlow(first, following, np.array(end), of_graph, np.full(len(leaving), -1))

    def explore(node: int) -> bool:
        assert flow.arcs.sink[node] < 0
        assert node not in own
        flow.arcs.sink[node] = hidden.sink[node]
        return True

    pairs = sorted({arc >> 1 for arc in ours})
    of_question = [arc for pair in pairs for arc in (2 * pair, 2 * pair + 1)]
    place = {arc: len(end) + row for row, arc in enumerate(of_question)}
    nodes = sorted(own | {end[arc] for arc in ours})
    found = [[place.get(arc, arc) for arc in leaving[node]] for node in nodes]
    question = Question(
        0,
        *(
            np.array(values, dtype=np.int64)
            for values in (
                [end[arc] for arc in of_question],
                [capacity[arc] for arc in of_question],
                nodes,
                [hidden.sink[node] for node in nodes],
                np.cumsum([0, *map(len, found)]),
                [arc for some in found for arc in some],
            )
        ),
    )
    return flow, question, explore


@pytest.fixture(params=["compiled", "interpreted"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Whether cuts are found by compiled code, or by the same text interpreted."""
    if request.param == "interpreted":
        monkeypatch.setattr("netplan.graph.compiled_cut._compiled", lambda: _interpreted)
    return str(request.param)


@at_least(cut=20)
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 30))
def test_cuts_of_many_questions_equal_networkx(way: str, seed: int) -> None:
    hidden, rng = drawn(seed)
    flow, question, explore = _compiled(hidden, {0, int(rng.integers(len(hidden.sink)))})
    owned = set(question.node.tolist())
    before = [values.copy() for values in flow.arcs]

    def explore_others(node: int) -> bool:
        assert node not in owned
        return explore(node)

    expected = hidden.by_networkx(set(), set())
    for _ in range(2):  # whatever an earlier question left
        found = flow.least_cut(question, explore_others)
        if expected is None or found is None:
            assert found is None
            assert expected is None
            continue
        seen("cut")
        assert (found.value, frozenset(found.nodes)) == (expected[0], expected[1] - {"in"})
        assert set(found.nodes) <= set(found.looked_at.tolist())
    for name, old, new in zip(flow.arcs._fields, before, flow.arcs, strict=True):
        if name in ("first", "following"):
            size = 2 * len(hidden.edges) if name == "following" else len(old)  # then come its own
            assert (old[:size] == new[:size]).all(), name
    assert (flow.arcs.sink[sorted(owned)] == -1).all()


def test_a_question_may_have_many_arcs_of_its_own(way: str) -> None:
    stops = [(0, node, node, 0) for node in range(1, 1000)]
    flow, question, explore = _compiled(Hidden(stops, [0] + [1 << 40] * 999), {0})
    found = flow.least_cut(question, explore)
    assert found is not None
    assert (found.value, found.nodes) == (sum(range(1, 1000)), [0])


@pytest.mark.parametrize("town", ["grid", "Schutterwald"])
def test_a_screen_is_the_same_compiled_and_interpreted(
    town: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    network = isolation_grid(1200, 3) if town == "grid" else build_network(schutterwald.layers())
    asked = ScreenSettings(pressure=False)
    one = screen(network, RULES, asked, folder=tmp_path / "one").table
    asked_interpreted = []

    def interpreted(*question: Any) -> int:
        asked_interpreted.append(question[-1])
        return _interpreted(*question)

    monkeypatch.setattr("netplan.graph.compiled_cut._compiled", lambda: interpreted)
    other = screen(network, RULES, asked, folder=tmp_path / "other").table
    assert one.equals(other)
    assert len(asked_interpreted) > 0.2 * network.pipes.n_mains
    assert one["outcome"].to_pylist().count("stops found") > 0.5 * network.pipes.n_mains


def test_without_the_compiler_the_same_text_runs_interpreted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)
    assert _compiled_or_not.__wrapped__() is _interpreted


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
def test_labels_tell_how_often_links_part_a_graph(seed: int) -> None:
    n, a, b, rng = _multigraph(seed)
    labels, links = spanning_forest(n, a, b).labels, list(zip(a.tolist(), b.tolist(), strict=True))
    assert len(labels) == len(links)
    for count in range(min(5, len(links)) + 1):
        taken = rng.choice(len(links), count, replace=False).tolist()
        left = [link for row, link in enumerate(links) if row not in taken]
        more = _parts(n, left) - _parts(n, links)
        # A link back to its own node parts nothing, but its label cannot say so: one part too many is told.
        loops = sum(a[row] == b[row] for row in taken)
        assert CutLabels(labels).is_single_bond(taken) == (more + loops == 1)
        if count and not loops:
            # Cut in two places a link leaves its middle as a part of its own.
            assert CutLabels(labels).is_single_bond([*taken, taken[0]]) == (more + 1 == 1)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 1 << 30))
def test_subtrees_are_ranges_and_parents_are_joined(seed: int) -> None:
    n, a, b, _ = _multigraph(seed)
    forest = spanning_forest(n, a, b)
    assert sorted(forest.preorder.tolist()) == list(range(n))
    assert forest.position[forest.preorder].tolist() == list(range(n))
    for node in range(n):
        parent, link = int(forest.parent[node]), int(forest.edge[node])
        assert (parent < 0) == (link < 0) == (forest.root[node] == node)
        if parent >= 0:
            assert {int(a[link]), int(b[link])} == {node, parent}
            assert forest.root[node] == forest.root[parent]
            low, high = forest.position[parent], forest.position[parent] + forest.size[parent]
            assert low < forest.position[node] <= forest.position[node] + forest.size[node] - 1 < high
    roots = {int(root) for root in forest.root}
    assert len(roots) == _parts(n, list(zip(a.tolist(), b.tolist(), strict=True)))


def _near(network: Network, main: int, index: Any, *, whole: bool) -> LocalGraph:
    length = float(network.pipes.length_m[main])
    low, high = (0.0, length) if whole else (0.4 * length, 0.6 * length)
    work = WorkSection(np.array([main], np.int32), np.array([low]), np.array([high]))
    problem = IsolationProblem(network, work, RULES, 9.0, 800.0, feed_bound=SameFeed(150_000))
    search = cuts(problem, index)
    search._begin()
    return search.local


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("name", ["grid", "town"])
def test_the_first_zone_is_that_of_the_graph(name: str, *, whole: bool) -> None:
    network = isolation_grid(1200, 3) if name == "grid" else build_network(schutterwald.layers())
    index, asked = segment_graph(network), 0
    for main in range(0, network.pipes.n_mains, 3 if name == "grid" else 11):
        zone = shared_cut(_near(network, main, index, whole=whole))
        near = _near(network, main, index, whole=whole)
        flow = least_cut(near.graph, [SOURCE], [], near.explore)
        if zone is None:
            assert flow is None or any(index.multi_attached)
            continue
        assert flow is not None
        assert zone.value == flow.value
        assert {*zone.nodes} - {index.n_super} == {near.supernode[node] for node in flow.side} - {-1}
        asked += 1
    assert asked > 30


@pytest.mark.parametrize("feed_minor", [None, 150_000])
@pytest.mark.parametrize("gas_minor_per_m3", [800.0, 800_000.0])  # so dear that stops may cost less than gas
def test_capacities_told_at_once_are_those_told_one_by_one(
    feed_minor: int | None, gas_minor_per_m3: float
) -> None:
    network, asked = build_network(schutterwald.layers()), 0  # with many tails
    costs = cost_context_of(segment_graph(network), RULES, 9.0, gas_minor_per_m3)
    links = SharedCosts(costs, SameFeed(feed_minor), frozenset(range(0, len(network.customers), 40)))
    table = links.table
    assert table is not None
    assert links.stranding is not None
    assert links.stranding.by_segment(feed_minor).any(axis=0).all()
    arcs = table.flow.arcs
    for node in np.flatnonzero(table.state == READY).tolist():
        leaving = []
        arc = int(arcs.first[node])
        while arc >= 0:
            leaving.append(arc)
            arc = int(arcs.following[arc])
        either_way = [*leaving, *(arc ^ 1 for arc in leaving)]

        def told(node: int = node, leaving: Any = leaving, either_way: Any = either_way) -> list[Any]:
            return [arcs.sink[node], arcs.capacity[either_way].tolist(), table.pay[leaving].tolist()]

        at_once = told()
        arcs.sink[node], arcs.capacity[either_way], table.pay[leaving] = UNEXPLORED, -7, -7
        table.state[node] = UNREAD
        assert table.read(node)
        assert told() == at_once
        asked += 1
    assert asked > 0.5 * len(table.state)


def test_the_same_cuts_whether_prices_are_shared_or_not() -> None:
    network = isolation_grid(1200, 5)
    index, asked = segment_graph(network), 0
    for main in range(0, network.pipes.n_mains, 17):
        length = float(network.pipes.length_m[main])
        work = WorkSection(np.array([main], np.int32), np.zeros(1), np.array([length]))
        found = []
        for feed in (SameFeed(150_000), lambda _tail: 150_000):
            search = cuts(IsolationProblem(network, work, RULES, 9.0, 800.0, feed_bound=feed), index)
            try:
                some = list(itertools.islice(search, 4))
            except NoPlanError:
                some = []
            found.append([(cut.bound_minor, cut.stops, cut.customers.tolist()) for cut in some])
        assert found[0] == found[1]
        asked += len(found[0]) == 4
    assert asked >= 9


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 1 << 30))
def test_an_unobstructed_segment_leaves_the_places_between_its_ends(seed: int) -> None:
    rng = np.random.default_rng(seed)
    index = _bare_index()
    placement = cost_context_of(index, RULES, 9.0, 800.0).placement
    geometry = segment_geometry(index, int(rng.choice(np.flatnonzero(placement.unobstructed))))
    low, high = np.sort(rng.uniform(0.0, geometry.length_m, 2)).tolist()
    ends = bool(rng.integers(2)), bool(rng.integers(2))
    geometry = part_of(geometry, low if ends[0] else 0.0, high if ends[1] else geometry.length_m, ends)
    assume(geometry.legs)
    distances = [0.0 if at_work else float(rng.choice([rng.uniform(0.0, 3.0), np.inf])) for at_work in ends]
    geometry = geometry.with_work_distances(*distances)
    for way in (geometry, geometry.turned()):
        assert placement.choices(way, unobstructed=True) == placement.choices(way)


@functools.cache
def _bare_index() -> SegmentGraph:
    return segment_graph(isolation_grid(1200, 6))


@pytest.mark.parametrize("name", ["grid", "town"])
def test_the_parts_of_an_outline_are_those_of_its_zones(name: str) -> None:
    network = isolation_grid(1200, 3) if name == "grid" else build_network(schutterwald.layers())
    index, asked = segment_graph(network), 0
    for main in range(0, network.pipes.n_mains, 7):
        work = WorkSection(np.array([main], np.int32), np.zeros(1), network.pipes.length_m[[main]])
        search = cuts(IsolationProblem(network, work, RULES, 9.0, 800.0), index)
        for _ in range(4):
            try:
                outline = search.outline()
            except (NoPlanError, StopIteration):
                break
            cut = search.cut(outline)
            assert [ZonePiece(*part) for part in outline.parts] == [
                part for zone in cut.zones for part in zone.pieces
            ]
            assert sorted(outline.methods) == sorted(stop.method for stop in cut.stops)
            assert sorted(outline.chains) == sorted(stop.chain for stop in cut.stops)
            assert sorted(outline.segments) == sorted(index.segment_of[stop.piece] for stop in cut.stops)
            asked += 1
    assert asked > 30


def test_a_source_that_may_not_be_in_a_zone_has_no_cut() -> None:
    flow, question, explore = _compiled(Hidden([(0, 1, 5, 0)], [INFINITE, 0]), {0})
    assert flow.least_cut(question, explore) is None
