"""What holds for every network, whatever its shape."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from netplan.network.build import build_network
from netplan.network.linear_reference import points_at, volumes_m3
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.topology import components, components_without, fed_nodes, to_networkx
from tests.benchmarks.layer_grids import grid_layers
from tests.support.networks import EAST_M, NORTH_M, customer, layers, main, service, station, valve

Row = dict[str, Any]
SNAP_M = 0.05
STEP_M = 10


@st.composite
def towns(draw: st.DrawFn) -> dict[str, Any]:
    """Mains along the lines of a coarse grid, so that ends, tees and crossings all occur."""
    corner = st.tuples(st.integers(0, 5), st.integers(0, 5))
    ends = draw(
        st.lists(st.tuples(corner, st.sampled_from("xy"), st.integers(1, 4)), min_size=1, max_size=12)
    )
    mains = []
    for number, ((x, y), way, steps) in enumerate(ends):
        other = (x + steps, y) if way == "x" else (x, y + steps)
        jitter = draw(st.sampled_from([0.0, 0.01]))
        start, stop = (x * STEP_M + jitter, y * STEP_M), (other[0] * STEP_M, other[1] * STEP_M)
        mains.append(main(f"M{number:02}", start, stop))
    rows: dict[str, Any] = {"mains": mains, "services": [], "customers": [], "valves": []}
    for number, share in enumerate(draw(st.lists(st.floats(0.1, 0.9), max_size=5))):
        line = mains[number % len(mains)]["geometry"]
        foot = line.interpolate(share, normalized=True)
        x, y = foot.x - EAST_M, foot.y - NORTH_M
        rows["services"].append(service(f"S{number}", (x, y), (x + 3.3, y + 2.2)))
        rows["customers"].append(customer(f"C{number}", (x + 3.3, y + 2.2), service_id=f"S{number}"))
    for number, state in enumerate(draw(st.lists(st.sampled_from(["open", "closed"]), max_size=4))):
        line = mains[-1 - number % len(mains)]["geometry"]
        foot = line.interpolate(draw(st.sampled_from([0.0, 0.25, 0.4, 0.7, 1.0])), normalized=True)
        rows["valves"].append(valve(f"V{number}", (foot.x - EAST_M, foot.y - NORTH_M), state))
    first = mains[0]["geometry"].coords[0]
    rows["regulators"] = [station("R1", (first[0] - EAST_M, first[1] - NORTH_M))]
    return rows


def built(rows: dict[str, Any]) -> Network:
    return build_network(layers(**rows))


@settings(max_examples=20, deadline=None)
@given(towns())
def test_pieces_cover_each_pipe_once(rows: dict[str, Any]) -> None:
    network = built(rows)
    pieces, pipes = network.pieces, network.pipes
    for row in range(len(pipes)):
        own = np.flatnonzero(pieces.pipe == row)
        assert pieces.from_m[own[0]] <= 1e-3
        assert pieces.to_m[own[-1]] >= pipes.length_m[row] - 1e-3
        assert np.abs(pieces.from_m[own[1:]] - pieces.to_m[own[:-1]]).max(initial=0) <= 1e-3
        assert (pieces.to_node[own[:-1]] == pieces.from_node[own[1:]]).all()
    assert ((pieces.valve >= 0) == (pieces.to_m == pieces.from_m)).all()


@settings(max_examples=20, deadline=None)
@given(towns())
def test_volume_is_bore_area_times_geometry(rows: dict[str, Any]) -> None:
    network = built(rows)
    pieces, pipes = network.pieces, network.pipes
    total = volumes_m3(network, pieces.pipe, pieces.from_m, pieces.to_m).sum()
    shapes = [row["geometry"].length for row in (*rows["mains"], *rows["services"])]
    expected = (np.pi / 4 * pipes.bore_m**2 * np.array(shapes)).sum()
    assert abs(total / expected - 1) < 1e-3


@settings(max_examples=20, deadline=None)
@given(towns(), st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(rows: dict[str, Any], random: Any) -> None:
    one = built(rows)
    for some in rows.values():
        random.shuffle(some)
    other = built(rows)
    assert one.content_sha256 == other.content_sha256
    assert one.findings == other.findings
    for table in ("nodes", "pieces", "valves", "stations"):
        for name in (field.name for field in fields(getattr(one, table))):
            left, right = getattr(getattr(one, table), name), getattr(getattr(other, table), name)
            is_text = isinstance(left, TextColumn)
            same = list(left) == list(right) if is_text else np.array_equal(left, right, equal_nan=True)
            assert same, (table, name)


@settings(max_examples=20, deadline=None)
@given(towns())
def test_nodes_lie_where_their_pieces_end(rows: dict[str, Any]) -> None:
    network = built(rows)
    pieces, nodes = network.pieces, network.nodes
    for node, chainage in ((pieces.from_node, pieces.from_m), (pieces.to_node, pieces.to_m)):
        there = points_at(network, pieces.pipe, chainage)
        gap = np.hypot(*(there - np.column_stack([nodes.x_m[node], nodes.y_m[node]])).T)
        assert gap.max() <= 2 * SNAP_M


@settings(max_examples=20, deadline=None)
@given(towns())
def test_supply_agrees_with_networkx(rows: dict[str, Any]) -> None:
    network = built(rows)
    graph = to_networkx(network)
    graph.remove_edges_from(
        [(a, b, k) for a, b, k, data in graph.edges(keys=True, data=True) if not data["is_open"]]
    )
    sources = set(network.stations.node.tolist())
    reached = set().union(*(nx.node_connected_component(graph, node) for node in sources))
    assert set(np.flatnonzero(fed_nodes(network)).tolist()) == reached
    assert len(set(components(network).tolist())) == nx.number_connected_components(graph)


@settings(max_examples=20, deadline=None)
@given(towns())
def test_joints_are_those_of_an_all_pairs_search(rows: dict[str, Any]) -> None:
    """Connected mains by comparing every end with every other main, without any index."""
    rows = {**rows, "valves": [], "services": [], "customers": []}
    network = built(rows)
    lines = [row["geometry"] for row in rows["mains"]]
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(lines)))
    ends = np.array([line.coords[k] for line in lines for k in (0, -1)])
    for one, other in zip(*np.nonzero(cdist(ends, ends) <= SNAP_M), strict=True):
        graph.add_edge(one // 2, other // 2)
    for one, line in enumerate(lines):
        for other, host in enumerate(lines):
            from shapely.geometry import Point

            if one != other and any(host.distance(Point(line.coords[k])) <= SNAP_M for k in (0, -1)):
                graph.add_edge(one, other)
    part = components(network)
    pieces = network.pieces
    assume(len(lines) > 1)
    first = np.searchsorted(pieces.pipe, np.arange(network.pipes.n_mains))
    own = part[pieces.from_node[first]]
    assert len(set(own.tolist())) == nx.number_connected_components(graph)
    for one in range(len(lines)):
        for other in range(one):
            assert bool(own[one] == own[other]) == nx.has_path(graph, one, other)


@settings(max_examples=60, deadline=None)
@given(towns(), st.data())
def test_parts_after_closing_are_those_of_the_whole_network(rows: dict[str, Any], data: Any) -> None:
    network = built(rows)
    count = len(network.pieces)
    closed = np.array(sorted(data.draw(st.sets(st.integers(0, count - 1), max_size=6))), dtype=np.int64)
    carries = network.pieces.is_open.copy()
    carries[closed] = False
    assert_same_parts(components_without(network, closed), components(network, carries))


@pytest.mark.parametrize("farthest", [5, 50_000])
def test_parts_after_closing_in_a_mesh(farthest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("netplan.network.topology._FARTHEST", farthest)
    network = build_network(grid_layers(1500))
    rng = np.random.default_rng(1)
    pieces = network.pieces
    for count in (1, 2, 5, 40, 400):
        for _ in range(8):
            near = rng.integers(0, len(pieces) - count)
            some = rng.choice(len(pieces), count) if count < 40 else np.arange(near, near + count)
            carries = pieces.is_open.copy()
            carries[some] = False
            assert_same_parts(components_without(network, some), components(network, carries))


def assert_same_parts(one: Any, other: Any) -> None:
    pairs = set(zip(one.tolist(), other.tolist(), strict=True))
    assert len(pairs) == len(set(one.tolist())) == len(set(other.tolist()))
