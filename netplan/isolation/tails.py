"""Bridges of the network and what hangs on them: the parts that a stop on a bridge strands for certain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components

from netplan.isolation.index import Index

__all__ = ["Span", "Tails", "find_tails"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Span:
    """Supernodes of a tail, as one or two ranges of the depth-first order."""

    ranges: tuple[tuple[int, int], ...]

    def holds(self, place: int) -> bool:
        """Whether the supernode at a place of the order belongs to it."""
        return any(low <= place < high for low, high in self.ranges)

    def holds_any(self, places: list[int]) -> bool:
        """Whether the supernode at any of some places belongs to it."""
        for low, high in self.ranges:
            for place in places:
                if low <= place < high:
                    return True
        return False

    def total(self, prefix: NDArray[Any]) -> int:
        """Return the sum of what `prefix` accumulates over the order."""
        return int(sum(int(prefix[high]) - int(prefix[low]) for low, high in self.ranges))


@dataclass(frozen=True, slots=True, eq=False)
class Tails:
    """A spanning forest of the supernodes, numbered so that every subtree is one range.

    Closed valves count as links: what hangs behind one is no sure tail.

    Parameters
    ----------
    order : int array
        Supernodes in depth-first order.
    place : int array
        Where each supernode stands in it.
    size : int array
        Supernodes in the subtree of each.
    tree_run : int array
        Run to the parent; -1 for a root.
    parent : int array
        Parent supernode; -1 for a root.
    bridge : bool array
        Whether the run to the parent is a bridge.
    root : int array
        Root of each supernode's tree.
    sources : int array
        Running count of stations and injections over the order, from 0.
    """

    order: Ints
    place: Ints
    size: Ints
    tree_run: Ints
    parent: Ints
    bridge: NDArray[np.bool_]
    root: Ints
    sources: Ints

    def beyond(self, run: int, near: int, far: int) -> Span | None:
        """Return what hangs on a run at its end `far`, or None when the run is no bridge."""
        if near == far:
            return None
        if self.tree_run[far] == run and self.parent[far] == near and self.bridge[far]:
            start = int(self.place[far])
            return Span(((start, start + int(self.size[far])),))
        if self.tree_run[near] == run and self.parent[near] == far and self.bridge[near]:
            root = int(self.root[near])
            low, high = int(self.place[root]), int(self.place[root]) + int(self.size[root])
            start = int(self.place[near])
            return Span(((low, start), (start + int(self.size[near]), high)))
        return None

    def sourceless(self, span: Span) -> bool:
        """Whether no station and no injection stands on a tail."""
        return span.total(self.sources) == 0

    def prefix(self, per_supernode: NDArray[Any]) -> Ints:
        """Return running sums of a figure per supernode over the order, from 0."""
        return np.concatenate([[0], np.cumsum(per_supernode[self.order])]).astype(np.int64)


def find_tails(index: Index) -> Tails:
    """Find every bridge: a tree run that no other run goes round, by sums of random words."""
    n = index.n_super
    order, parent, bounds = _forest(index)
    tree_run = _tree_runs(index, parent)
    words = np.random.default_rng(20260101).integers(1, 2**63, len(index.run_a), dtype=np.int64)
    is_tree = np.zeros(len(index.run_a), dtype=np.bool_)
    is_tree[tree_run[tree_run >= 0]] = True
    words[is_tree | (index.run_a == index.run_b)] = 0
    mixed = np.zeros(n, dtype=np.int64)
    np.bitwise_xor.at(mixed, index.run_a, words)
    np.bitwise_xor.at(mixed, index.run_b, words)
    size = np.ones(n, dtype=np.int64)
    for low, high in reversed(bounds[1:]):
        nodes = order[low:high]
        starts = _groups(parent[nodes])
        owners = parent[nodes[starts]]
        size[owners] += np.add.reduceat(size[nodes], starts)
        mixed[owners] ^= np.bitwise_xor.reduceat(mixed[nodes], starts)
    place, root = _numbered(order, parent, bounds, size)
    blocked = (index.blocked & 3) > 0
    by_place = np.empty(n, dtype=np.int64)
    by_place[place] = np.arange(n)
    sources = np.concatenate([[0], np.cumsum(blocked[by_place])]).astype(np.int64)
    return Tails(by_place, place, size, tree_run, parent, (mixed == 0) & (tree_run >= 0), root, sources)


def _forest(index: Index) -> tuple[Ints, Ints, list[tuple[int, int]]]:
    """Return supernodes breadth first, their parents (-1: root) and the range of each depth."""
    n = index.n_super
    links = coo_matrix((np.ones(len(index.run_a), np.int8), (index.run_a, index.run_b)), shape=(n, n)).tocsr()
    _, label = connected_components(links, directed=False)
    roots = np.unique(label, return_index=True)[1]
    hub = coo_matrix(
        (
            np.ones(len(index.run_a) + len(roots), np.int8),
            (
                np.concatenate([index.run_a, np.full(len(roots), n)]),
                np.concatenate([index.run_b, roots]),
            ),
        ),
        shape=(n + 1, n + 1),
    ).tocsr()
    order, before = breadth_first_order(hub, n, directed=False)
    forward: Ints = order[1:].astype(np.int64)
    parent = before[:n].astype(np.int64)
    parent[roots] = -1
    at = np.empty(n + 1, dtype=np.int64)
    at[forward] = np.arange(len(forward))
    parent_place = np.where(parent[forward] >= 0, at[parent[forward]], -1)
    bounds, low, high = [], 0, len(roots)
    while low < high:
        bounds.append((low, high))
        low, high = high, int(np.searchsorted(parent_place, high, side="left"))
    return forward, parent, bounds


def _tree_runs(index: Index, parent: Ints) -> Ints:
    n_runs = len(index.run_a)
    chosen = np.full(index.n_super, n_runs, dtype=np.int64)
    for child, above in ((index.run_b, index.run_a), (index.run_a, index.run_b)):
        rows = np.flatnonzero((parent[child] == above) & (child != above))
        np.minimum.at(chosen, child[rows], rows)
    chosen[chosen == n_runs] = -1
    return chosen


def _groups(sorted_values: Ints) -> Ints:
    return np.concatenate([[0], np.flatnonzero(np.diff(sorted_values)) + 1])


def _numbered(order: Ints, parent: Ints, bounds: list[tuple[int, int]], size: Ints) -> tuple[Ints, Ints]:
    place = np.zeros(len(order), dtype=np.int64)
    root = np.zeros(len(order), dtype=np.int64)
    for depth, (low, high) in enumerate(bounds):
        nodes = order[low:high]
        before = np.concatenate([[0], np.cumsum(size[nodes])[:-1]])
        if depth == 0:
            place[nodes], root[nodes] = before, nodes
            continue
        starts = _groups(parent[nodes])
        counts = np.diff(np.concatenate([starts, [len(nodes)]]))
        place[nodes] = place[parent[nodes]] + 1 + before - np.repeat(before[starts], counts)
        root[nodes] = root[parent[nodes]]
    return place, root
