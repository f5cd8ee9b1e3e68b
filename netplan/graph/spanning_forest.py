"""Spanning forests of a graph in arrays, and cycle-space labels of its edges (cut labels).

An edge outside the forest gets a random label; an edge of the forest gets the exclusive or of the labels of
all edges whose cycle it lies on. Edges then make up a cut exactly where the exclusive or of their labels is
0, but for a chance of one in 2^63: an edge with label 0 is a bridge. See Pritchard and Thurimella, "Fast
computation of small cuts via cycle space sampling", ACM Transactions on Algorithms 7 (2011).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order

from netplan.core.arrays import Ints
from netplan.graph.connected_components import component_labels

__all__ = ["CutLabels", "SpanningForest", "cut_labels", "spanning_forest"]


_SEED = 20260101


@dataclass(frozen=True, slots=True, eq=False)
class SpanningForest:
    """A spanning forest numbered so that every subtree is one range.

    Parameters
    ----------
    preorder : int array
        Nodes in depth-first preorder.
    position : int array
        Where each node stands in it.
    size : int array
        Nodes in the subtree of each.
    parent, edge : int arrays
        Parent of each node and edge to it; -1 for a root.
    root : int array
        Root of each node's tree.
    labels : int array
        Cycle-space label of each edge; 0 for a bridge, and for one that comes back to its own node.
    """

    preorder: Ints
    position: Ints
    size: Ints
    parent: Ints
    edge: Ints
    root: Ints
    labels: Ints


def spanning_forest(n: int, a: NDArray[Any], b: NDArray[Any]) -> SpanningForest:
    """Return a spanning forest of `n` nodes joined by edges from `a` to `b`."""
    forward, parent, bounds = _breadth_first(n, a, b)
    edge = _edges_up(n, a, b, parent)
    at = np.empty(n, dtype=np.int64)
    at[forward] = np.arange(n)
    position, size, root = _numbered(forward, parent, at, bounds)
    preorder = np.empty(n, dtype=np.int64)
    preorder[position] = np.arange(n)
    up = np.flatnonzero(edge >= 0)
    labels = np.random.default_rng(_SEED).integers(1, 2**63, len(a), dtype=np.int64)
    labels[edge[up]] = 0
    labels[a == b] = 0
    at_node = np.zeros(n, dtype=np.int64)
    np.bitwise_xor.at(at_node, a, labels)
    np.bitwise_xor.at(at_node, b, labels)
    running = np.concatenate([[0], np.bitwise_xor.accumulate(at_node[preorder])])
    labels[edge[up]] = running[position[up] + size[up]] ^ running[position[up]]
    return SpanningForest(preorder, position, size, parent, edge, root, labels)


def _breadth_first(n: int, a: NDArray[Any], b: NDArray[Any]) -> tuple[Ints, Ints, list[tuple[int, int]]]:
    """Return nodes breadth first, their parents (-1: root) and the range of each depth."""
    label, _ = component_labels(n, a, b)
    roots = np.unique(label, return_index=True)[1]
    hub = coo_matrix(
        (
            np.ones(len(a) + len(roots), np.int8),
            (np.concatenate([a, np.full(len(roots), n)]), np.concatenate([b, roots])),
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
        low, high = high, int(parent_place.searchsorted(high))
    return forward, parent, bounds


def _edges_up(n: int, a: NDArray[Any], b: NDArray[Any], parent: Ints) -> Ints:
    """Return the edge to each node's parent, the first of several."""
    chosen = np.full(n, -1, dtype=np.int64)
    rows = np.flatnonzero((a != b) & ((parent[b] == a) | (parent[a] == b)))[::-1]
    # Backwards, so that the first of several is written last.
    chosen[np.where(parent[b[rows]] == a[rows], b[rows], a[rows])] = rows
    return chosen


def _numbered(
    forward: Ints, parent: Ints, at: Ints, bounds: list[tuple[int, int]]
) -> tuple[Ints, Ints, Ints]:
    """Return position, size and root of each node.

    Breadth first the children of a node stand side by side: sums over them are differences of running sums.
    """
    n = len(forward)
    n_roots = bounds[0][1] if bounds else 0
    above = at[parent[forward[n_roots:]]]
    first = np.searchsorted(above, np.arange(n)) + n_roots
    last = np.append(first[1:], n)
    size = np.ones(n, dtype=np.int64)
    for (low, high), (lower, end) in reversed(list(pairwise(bounds))):
        running = np.append(0, size[lower:end].cumsum())
        size[low:high] += running[last[low:high] - lower] - running[first[low:high] - lower]
    before = np.append(0, size.cumsum()[:-1])
    position = before.copy()
    position[n_roots:] += 1 - before[first[above]]
    root = np.arange(n)
    for low, high in bounds[1:]:
        over = above[low - n_roots : high - n_roots]
        position[low:high] += position[over]
        root[low:high] = root[over]
    return position[at], size[at], forward[root[at]]


class CutLabels:
    """Cycle-space labels of edges: they tell which sets of edges are bonds.

    Parameters
    ----------
    labels : int array
        Label of each edge; those left out of the graph may have any.
    """

    def __init__(self, labels: NDArray[np.int64]) -> None:
        self._labels = labels

    def is_single_bond(self, edges: Iterable[int]) -> bool:
        """Whether taking out these edges leaves exactly one component more than before.

        Parameters
        ----------
        edges : iterable of int
            An edge may come twice: it is cut in two places then. One that comes back to its own node counts
            as one component more.
        """
        independent: list[int] = []
        surplus = 0
        for edge in edges:
            label = self._labels.item(edge)
            for other in independent:
                label = min(label, label ^ other)
            if label:
                independent.append(label)
            else:
                surplus += 1
        return surplus == 1


def cut_labels(n: int, a: NDArray[Any], b: NDArray[Any], among: NDArray[Any]) -> CutLabels:
    """Return the labels of the edges of a graph of `n` nodes from `a` to `b`; `among` says which it has."""
    rows = np.flatnonzero(among)
    labels = np.zeros(len(a), dtype=np.int64)
    labels[rows] = spanning_forest(n, a[rows], b[rows]).labels
    return CutLabels(labels)
