"""Laws of screening and staging, each against the slow and obvious way."""

from __future__ import annotations

import itertools
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.graph.dominators import dominator_tree
from netplan.staging import NoSplitError, StageCandidate, split_exactly
from tests.support.shares import at_least, seen


@st.composite
def _graphs(draw: st.DrawFn) -> Any:
    n = draw(st.integers(2, 14))
    edges = {(draw(st.integers(0, v - 1)), v) for v in range(1, n)}
    more = draw(st.lists(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), max_size=10))
    edges |= {(min(e), max(e)) for e in more if e[0] != e[1]}
    root = draw(st.integers(0, n - 1))
    return n, sorted(edges), root, draw(st.lists(st.integers(0, 9), min_size=n, max_size=n))


@settings(max_examples=150, deadline=None)
@given(_graphs())
def test_what_stands_before_what_equals_taking_each_vertex_out(case: Any) -> None:
    n, edges, root, weights = case
    ends = np.array(edges, dtype=np.int64)
    weight = np.array(weights, dtype=float)[:, None]
    tree = dominator_tree(ends[:, 0], ends[:, 1], weight, root)
    graph: Any = nx.Graph(edges)
    assert len(tree.immediate) == n == len(graph) > 1
    for gone in set(range(n)) - {root}:
        left = graph.copy()
        left.remove_node(gone)
        lost = set(left) - nx.node_connected_component(left, root)
        found, tops = set(), set()
        for vertex in range(n):
            at = vertex
            while (above := int(tree.immediate[at])) >= 0:
                if above == gone:
                    found.add(vertex)
                    tops.add(int(tree.top[at]))
                    break
                at = above
        assert found == lost
        assert sum(tree.weight[top, 0] for top in tops) == sum(weights[v] for v in lost)


@st.composite
def _streets(draw: st.DrawFn) -> Any:
    count = draw(st.integers(2, 6))
    ways = {}
    for i, j in itertools.combinations(range(count), 2):
        some = draw(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 20)), max_size=3))
        ways[i, j] = tuple(StageCandidate(off, burden, (i, j, k)) for k, (off, burden) in enumerate(some))
    return count, ways, draw(st.integers(0, 3))


def _shared(left: StageCandidate, right: StageCandidate, salt: int) -> int:
    """Return any saving that depends on both ways and is never more than either burden."""
    return min(
        left.burden_minor, right.burden_minor, int(sum(left.what) * 7 + sum(right.what) * 3 + salt) % 6
    )


@at_least(split=30)
@settings(max_examples=150, deadline=None)
@given(_streets())
def test_the_split_is_the_best_of_all_splits(case: Any) -> None:
    count, ways, salt = case

    def shared(left: StageCandidate, right: StageCandidate) -> int:
        return _shared(left, right, salt)

    best: tuple[int, int, int] | None = None
    for size in range(count - 1):
        for inner in itertools.combinations(range(1, count - 1), size):
            borders = (0, *inner, count - 1)
            for chosen in itertools.product(*(ways[pair] for pair in itertools.pairwise(borders))):
                burden = sum(way.burden_minor for way in chosen)
                burden -= sum(shared(*pair) for pair in itertools.pairwise(chosen))
                one = (max(way.off for way in chosen), burden, len(chosen))
                best = one if best is None else min(best, one)
    if best is None:
        with pytest.raises(NoSplitError):
            split_exactly(count, lambda i, j: ways[i, j], shared)
        return
    seen("split")
    split = split_exactly(count, lambda i, j: ways[i, j], shared)
    assert (split.most_off, split.burden_minor, len(split.ways)) == best
    assert split.borders[0] == 0
    assert split.borders[-1] == count - 1
    assert all(
        way in ways[pair] for way, pair in zip(split.ways, itertools.pairwise(split.borders), strict=True)
    )
