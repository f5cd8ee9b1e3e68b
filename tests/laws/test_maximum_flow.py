"""Least cuts on graphs explored on the way, against networkx on the whole of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.graph.minimum_cut import INFINITE, FlowGraph, MaximumFlow, least_cut, next_cut
from tests.support.shares import at_least, seen


@dataclass
class Hidden:
    """A graph that shows the edges of a node only when it is explored, as a neighbourhood does."""

    edges: list[tuple[int, int, int, int]]
    sink: list[int]

    def __post_init__(self) -> None:
        self.graph = FlowGraph()
        self.shown: set[int] = set()
        for _ in self.sink:
            self.graph.add_node()

    def explore(self, node: int) -> None:
        assert self.graph.sink[node] < 0
        for row, (tail, head, forth, back) in enumerate(self.edges):
            if node in (tail, head) and row not in self.shown:
                self.shown.add(row)
                self.graph.add_edge(tail, head, forth, back)
        self.graph.sink[node] = self.sink[node]

    def by_networkx(self, inside: set[int], outside: set[int]) -> tuple[int, frozenset[int]] | None:
        """Return the value and the smallest source side, or None without a finite cut."""
        graph: nx.DiGraph[Any] = nx.DiGraph()
        graph.add_nodes_from([*range(len(self.sink)), "in", "out"])
        capacity: dict[tuple[Any, Any], int] = {}
        for tail, head, forth, back in self.edges:
            for pair, size in (((tail, head), forth), ((head, tail), back)):
                capacity[pair] = capacity.get(pair, 0) + size
        for node, size in enumerate(self.sink):
            capacity[node, "out"] = size
        for pair, size in capacity.items():
            if size:
                graph.add_edge(*pair, **({} if size >= INFINITE else {"capacity": size}))
        for node in {0, *inside}:
            graph.add_edge("in", node)
        for node in outside:
            graph.add_edge(node, "out")
            graph[node]["out"].pop("capacity", None)
        try:
            left = nx.algorithms.flow.edmonds_karp(graph, "in", "out")
        except nx.NetworkXUnbounded:
            return None
        open_way = nx.DiGraph((u, v) for u, v, arc in left.edges(data=True) if arc["flow"] < arc["capacity"])
        open_way.add_node("in")
        side = nx.descendants(open_way, "in")
        return int(left.graph["flow_value"]), frozenset(node for node in side if node != "out")


def drawn(seed: int) -> tuple[Hidden, np.random.Generator]:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 14))
    edges = []
    for _ in range(int(rng.integers(1, 3 * n))):
        tail, head = (int(node) for node in rng.choice(n, 2, replace=False))
        forth, back = (int(rng.choice([0, *rng.integers(1, 40, 4), INFINITE])) for _ in range(2))
        edges.append((tail, head, forth, back))
    sink = [int(rng.choice([0, 0, *rng.integers(1, 12, 4), INFINITE])) for _ in range(n)]
    return Hidden(edges, [0, *sink[1:]]), rng


@at_least(least=15, next=15)
@settings(max_examples=150, deadline=None)
@given(st.integers(0, 1 << 30))
def test_least_and_next_cuts_equal_networkx(seed: int) -> None:
    hidden, rng = drawn(seed)
    inside: set[int] = set()
    outside: set[int] = set()
    found: MaximumFlow | None = least_cut(hidden.graph, inside, outside, hidden.explore)
    for turn in range(4):
        expected = hidden.by_networkx(inside, outside)
        assert (None if found is None else (found.value, found.side)) == expected
        if found is None:
            return
        seen("next" if turn else "least")
        free = sorted(set(range(1, len(hidden.sink))) - inside - outside)
        if not free:
            return
        node = int(rng.choice(free))
        (inside if rng.random() < 0.5 else outside).add(node)
        found = next_cut(hidden.graph, found, inside, outside, hidden.explore)


def test_what_lies_beyond_the_cut_is_not_explored() -> None:
    """A long chain, an arc of 5 behind the third node: two nodes and those up to the arc are enough."""
    chain = [(node, node + 1, 5 if node == 3 else 100, 100) for node in range(50)]
    hidden = Hidden(chain, [0, *[2] * 50])
    found = least_cut(hidden.graph, (), (), hidden.explore)
    assert found is not None
    assert (found.value, found.side) == (11, frozenset({0, 1, 2, 3}))
    assert len([room for room in hidden.graph.sink if room >= 0]) <= 8
