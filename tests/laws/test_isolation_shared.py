"""What questions share gives what each would find alone: spots, words of runs, spanning forests."""

from __future__ import annotations

import functools
import itertools
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.errors import NoPlanError
from netplan.isolation import Index, IsolationProblem, SameFeed, ZonePiece, build_index, cuts
from netplan.isolation.bonds import Bonds
from netplan.isolation.first import first_zone
from netplan.isolation.flood import Flood
from netplan.isolation.forest import grow_forest
from netplan.isolation.ground import ground_of
from netplan.isolation.links import Links
from netplan.isolation.mincut import INFINITE, least_cut
from netplan.isolation.neighbourhood import SOURCE, Neighbourhood
from netplan.isolation.shapes import part_of, run_shape
from netplan.isolation.spots import READY, START, UNREAD, Field, Own
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.section import Section
from netplan.rules.read import default_rules
from tests import schutterwald
from tests.benchmarks.isolation_grids import isolation_grid
from tests.laws.test_isolation_flow import Hidden, drawn

RULES = default_rules()


class _Given:
    """A graph as spots: its node 0 is the start, every other one is worked out when it is asked for."""

    def __init__(self, hidden: Hidden, own: set[int]) -> None:
        found: dict[int, list[tuple[int, int, int, int]]] = {node: [] for node in range(len(hidden.outlet))}
        for row, (tail, head, forth, back) in enumerate(hidden.edges):
            found[tail].append((2 * row, head or START, forth, back))
            found[head].append((2 * row + 1, tail or START, back, forth))
        start = np.cumsum([0, *(len(arcs) for arcs in found.values())])
        arcs = np.array([arc for some in found.values() for arc in some], dtype=np.int64)
        outlet = np.array(hidden.outlet)
        self.field = Field(
            np.full(len(outlet), UNREAD, np.uint8), outlet, start, arcs, np.zeros(len(arcs), int)
        )
        rows = [(node or START, hidden.outlet[node], start[node], start[node + 1]) for node in sorted(own)]
        first = np.cumsum([0, *(high - low for *_, low, high in rows)])
        self.own = Own(
            np.array(
                [(*row[:2], at) for row, at in zip([*rows, (0, 0)], first, strict=True)], dtype=np.int64
            ),
            np.concatenate([arcs[low:high] for *_, low, high in rows]),
        )

    def read(self, node: int) -> bool:
        assert self.field.state[node] == UNREAD
        self.field.state[node] = READY
        return True


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 1 << 30))
def test_the_least_zone_equals_networkx(seed: int) -> None:
    hidden, _ = drawn(seed)
    given_spots: Any = _Given(hidden, {0, 1})
    flood = Flood(given_spots)
    expected = hidden.by_networkx(set(), set())
    for _ in range(2):  # whatever an earlier question left
        zone = flood.least_zone(given_spots.own)
        if expected is None or zone is None:
            assert zone is None
            assert expected is None
            continue
        value, side = expected
        assert zone.value == value
        assert {max(node, 0) for node in zone.nodes} == {*side} - {"in"}
        assert set(zone.nodes) <= set(zone.looked_at)


def test_a_question_may_have_many_arcs_of_its_own() -> None:
    stops = [(0, node, node, 0) for node in range(1, 1000)]
    given_spots: Any = _Given(Hidden(stops, [0] + [1 << 40] * 999), {0})
    numbered = given_spots.own.arcs.copy()
    numbered[:, 0] = ~numbered[:, 0]
    zone = Flood(given_spots).least_zone(Own(given_spots.own.nodes, numbered))
    assert zone is not None
    assert (zone.value, zone.nodes) == (sum(range(1, 1000)), [START])


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


@pytest.mark.parametrize("feed_minor", [None, 150_000])
@pytest.mark.parametrize("gas_minor_per_m3", [800.0, 800_000.0])  # so dear that stops may cost less than gas
def test_spots_told_at_once_are_those_told_one_by_one(
    feed_minor: int | None, gas_minor_per_m3: float
) -> None:
    network, asked = build_network(schutterwald.layers()), 0  # with many tails
    ground = ground_of(build_index(network), RULES, 9.0, gas_minor_per_m3)
    links = Links(ground, SameFeed(feed_minor), frozenset(range(0, len(network.customers), 40)))
    assert links.flood is not None
    assert links.stranding is not None
    assert links.stranding.by_run(feed_minor).any(axis=0).all()
    spots = links.flood.spots
    field = spots.field
    for node in np.flatnonzero(field.state == READY).tolist():
        here = slice(field.start[node], field.start[node + 1])
        at_once = [field.outlet[node].tolist(), field.arcs[here].tolist(), field.pay[here].tolist()]
        field.outlet[node], field.arcs[here], field.pay[here] = -7, -7, -7
        field.state[node] = UNREAD
        assert spots.read(node)
        assert [field.outlet[node].tolist(), field.arcs[here].tolist(), field.pay[here].tolist()] == at_once
        asked += 1
    assert asked > 0.5 * len(field.state)


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


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 1 << 30))
def test_a_bare_run_leaves_the_places_between_its_ends(seed: int) -> None:
    rng = np.random.default_rng(seed)
    index = _bare_index()
    sites = ground_of(index, RULES, 9.0, 800.0).sites
    shape = run_shape(index, int(rng.choice(np.flatnonzero(sites.bare))))
    low, high = np.sort(rng.uniform(0.0, shape.length_m, 2)).tolist()
    ends = bool(rng.integers(2)), bool(rng.integers(2))
    shape = part_of(shape, low if ends[0] else 0.0, high if ends[1] else shape.length_m, ends)
    if not shape.legs:
        return
    gaps = [0.0 if at_work else float(rng.choice([rng.uniform(0.0, 3.0), np.inf])) for at_work in ends]
    shape = shape.with_gaps(*gaps)
    for way in (shape, shape.turned()):
        assert sites.choices(way, bare=True) == sites.choices(way)


@functools.cache
def _bare_index() -> Index:
    return build_index(isolation_grid(1200, 6))


@pytest.mark.parametrize("name", ["grid", "town"])
def test_the_parts_of_an_outline_are_those_of_its_zones(name: str) -> None:
    network = isolation_grid(1200, 3) if name == "grid" else build_network(schutterwald.layers())
    index, asked = build_index(network), 0
    for main in range(0, network.pipes.n_mains, 7):
        work = Section(np.array([main], np.int32), np.zeros(1), network.pipes.length_m[[main]])
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
            assert sorted(outline.runs) == sorted(index.run_of[stop.piece] for stop in cut.stops)
            asked += 1
    assert asked > 30


def test_a_limitless_outlet_has_no_least_zone() -> None:
    given_spots: Any = _Given(Hidden([(0, 1, 5, 0)], [INFINITE, 0]), {0})
    assert Flood(given_spots).least_zone(given_spots.own) is None
