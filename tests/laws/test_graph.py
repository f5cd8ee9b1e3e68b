"""Graph algorithms against networkx and scipy, on random graphs with parallel edges, loops and single nodes."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import maximum_flow

from netplan.graph.chains import find_chains
from netplan.graph.connected_components import component_labels
from netplan.graph.dominators import dominator_tree
from netplan.graph.grouping import grouped
from netplan.graph.minimum_cut import FlowGraph, least_cut
from netplan.graph.pruning import prune_branches
from netplan.graph.spanning_forest import cut_labels, spanning_forest

Ints = NDArray[np.int64]
SEEDS = st.integers(0, 1 << 30)
MANY = settings(max_examples=200, deadline=None)


def _drawn(seed: int, *, simple: bool = False) -> tuple[int, Ints, Ints, np.random.Generator]:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 16))
    a, b = rng.integers(0, n, (2, int(rng.integers(0, 1 + 3 * n // 2))))
    if simple:
        pairs = np.unique(np.sort(np.column_stack([a, b])[a != b], axis=1), axis=0)
        a, b = pairs[:, 0], pairs[:, 1]
    return n, a, b, rng


def _multigraph(n: int, a: Ints, b: Ints) -> nx.MultiGraph[int]:
    graph: nx.MultiGraph[int] = nx.MultiGraph()
    graph.add_nodes_from(range(n))
    graph.add_edges_from(zip(a.tolist(), b.tolist(), strict=True))
    return graph


@MANY
@given(SEEDS)
def test_components_are_those_of_networkx_in_the_order_of_their_lowest_nodes(seed: int) -> None:
    n, a, b, _ = _drawn(seed)
    label, count = component_labels(n, a, b)
    parts = sorted(map(sorted, nx.connected_components(_multigraph(n, a, b))))
    assert count == len(parts)
    assert [np.flatnonzero(label == part).tolist() for part in range(count)] == parts


@MANY
@given(SEEDS)
def test_grouped_values_stay_in_their_order(seed: int) -> None:
    n, group, _, rng = _drawn(seed)
    values = rng.integers(0, 100, len(group))
    start, found = grouped(group, n, values)
    assert (int(start[0]), int(start[n])) == (0, len(values))
    for each in range(n):
        assert found[start[each] : start[each + 1]].tolist() == values[group == each].tolist()


def _is_bridge(graph: nx.Graph[int], u: int, v: int) -> bool:
    found: list[tuple[int, int]] = list(nx.bridges(graph))  # type: ignore[arg-type]
    return (u, v) in found or (v, u) in found


@MANY
@given(SEEDS)
def test_edges_with_label_zero_are_the_bridges_of_networkx(seed: int) -> None:
    n, a, b, _ = _drawn(seed)
    labels = spanning_forest(n, a, b).labels
    simple = nx.Graph(zip(a.tolist(), b.tolist(), strict=True))
    ends = np.sort(np.column_stack([a, b]), axis=1).tolist()
    bridges = {
        row
        for row, (low, high) in enumerate(ends)
        if low != high and ends.count([low, high]) == 1 and _is_bridge(simple, low, high)
    }
    assert {row for row in range(len(a)) if labels[row] == 0 and a[row] != b[row]} == bridges


@MANY
@given(SEEDS)
def test_edges_left_out_of_a_graph_part_nothing(seed: int) -> None:
    n, a, b, rng = _drawn(seed)
    among = rng.random(len(a)) < 0.7
    inside = np.flatnonzero(among)
    labels = cut_labels(n, a, b, among)
    whole = component_labels(n, a[inside], b[inside])[1]
    rows = inside[a[inside] != b[inside]].tolist()
    assume(rows)
    for row in rows:
        left = inside[inside != row]
        assert labels.is_single_bond([row]) == (component_labels(n, a[left], b[left])[1] == whole + 1)


@MANY
@given(SEEDS)
def test_pruning_leaves_the_2_core_of_networkx_and_what_is_kept(seed: int) -> None:
    n, a, b, rng = _drawn(seed, simple=True)
    keep = rng.random(n) < 0.2
    branches = prune_branches(n, a, b, keep)
    graph: nx.Graph[Any] = nx.Graph(_multigraph(n, a, b))
    # A ring through two new nodes at each kept one keeps it, and the ways between kept ones.
    hub = ["hub", "other hub", "third hub"]
    graph.add_edges_from((u, v) for row, u in enumerate(hub) for v in hub[:row])
    graph.add_edges_from((node, each) for node in np.flatnonzero(keep).tolist() for each in hub)
    left = set(range(n)) - set(branches.child.tolist())
    core = {node for node in nx.k_core(graph, 2) if node not in hub}
    assert core <= left
    # Beside the core: one node of each tree that has nothing to hang on, and trees between kept nodes alone.
    for node in left - core:
        assert all(other not in left for other in nx.Graph(_multigraph(n, a, b)).neighbors(node))
    total = branches.gather_up(np.ones(n))
    assert np.isclose(total[sorted(left)].sum(), n)
    assert (branches.root[sorted(left)] == sorted(left)).all()


@MANY
@given(SEEDS)
def test_immediate_dominators_are_those_of_networkx(seed: int) -> None:
    n, a, b, rng = _drawn(seed, simple=True)
    root = int(rng.integers(n))
    label, _ = component_labels(n, a, b)
    reached = label == label[root]
    rows = reached[a] if len(a) else np.zeros(0, bool)
    assume(rows.any())
    number = np.cumsum(reached) - 1
    a, b, root, n = number[a[rows]], number[b[rows]], int(number[root]), int(reached.sum())
    weight = rng.integers(0, 9, (n, 2)).astype(float)
    tree = dominator_tree(a, b, weight, root)
    graph = nx.DiGraph([*zip(a.tolist(), b.tolist(), strict=True), *zip(b.tolist(), a.tolist(), strict=True)])
    expected = nx.immediate_dominators(graph, root)
    assert len(tree.immediate) == n
    for node in range(n):
        above = expected.get(node, root)
        assert tree.immediate[node] == (-1 if node == root or above in (root, None) else above)


@MANY
@given(SEEDS)
def test_chains_hold_every_edge_of_the_core_once(seed: int) -> None:
    n, a, b, rng = _drawn(seed, simple=True)
    keep = rng.random(n) < 0.2
    branches = prune_branches(n, a, b, keep)
    chains = find_chains(a, b, branches, keep)
    rest = np.setdiff1d(np.arange(len(a)), branches.link)
    graph = nx.Graph(zip(a[rest].tolist(), b[rest].tolist(), strict=True))
    rings = {
        frozenset(part)
        for part in nx.connected_components(graph)
        if all(graph.degree(node) == 2 and not keep[node] for node in part)
    }
    in_rings = {row for row in rest.tolist() if any(int(a[row]) in ring for ring in rings)}
    assert sorted(chains.link.tolist()) == sorted(set(rest.tolist()) - in_rings)
    for chain in range(chains.count):
        at = int(chains.junction[chains.start[chain]])
        for row in range(chains.first[chain], chains.first[chain + 1]):
            ends = [int(a[chains.link[row]]), int(b[chains.link[row]])]
            assert at == ends[0 if chains.sign[row] > 0 else 1]
            at = ends[1 if chains.sign[row] > 0 else 0]
            assert at == chains.node[row]
        assert at == chains.junction[chains.end[chain]]


@MANY
@given(SEEDS)
def test_the_value_of_the_least_cut_is_scipys_maximum_flow(seed: int) -> None:
    n, a, b, rng = _drawn(seed, simple=True)
    forward, reverse = (rng.integers(0, 50, len(a)) for _ in range(2))
    sink = np.append(0, rng.integers(0, 30, n - 1))
    graph = FlowGraph()
    for size in sink.tolist():
        graph.add_node(size)
    for edge in zip(a.tolist(), b.tolist(), forward.tolist(), reverse.tolist(), strict=True):
        graph.add_edge(*edge)
    found = least_cut(graph, (), (), lambda _: None)
    tail = np.concatenate([a, b, np.arange(n)])
    head = np.concatenate([b, a, np.full(n, n)])
    size = np.concatenate([forward, reverse, sink]).astype(np.int32)
    csr = coo_array((size, (tail, head)), shape=(n + 1, n + 1)).tocsr()
    assert found is not None
    assert found.value == maximum_flow(csr, 0, n).flow_value
