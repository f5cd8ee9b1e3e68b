"""Pruning the pendant trees of a graph, leaf by leaf, so that only its core is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints

__all__ = ["Branches", "prune_branches"]


@dataclass(frozen=True, slots=True, eq=False)
class Branches:
    """The pendant trees, as lists in the order of pruning: leaves first.

    Parameters
    ----------
    child, parent, link : ndarray of int, shape (m,)
        Node taken off, the node it hung on, and the link between.
    rounds : ndarray of int, shape (r + 1,)
        Bounds of the rounds in those lists; no node of a round hangs on another of the same one.
    degree : ndarray of int, shape (n,)
        Links left at each node after pruning.
    link_sum : ndarray of int, shape (n,)
        Sum of the ids of those links: at a node of degree two, the sum less one id is the other.
    root : ndarray of int, shape (n,)
        Node of the core under which each node hangs; itself in the core.
    """

    child: Ints
    parent: Ints
    link: Ints
    rounds: Ints
    degree: Ints
    link_sum: Ints
    root: Ints

    def gather_up(self, values: Floats) -> Floats:
        """Return for each node its own value plus those of all nodes that hang on it."""
        total = values.copy()
        for low, high in zip(self.rounds[:-1], self.rounds[1:], strict=True):
            np.add.at(total, self.parent[low:high], total[self.child[low:high]])
        return total

    def hand_down(self, values: Floats, step: Floats) -> None:
        """Set `values` of each child to its parent's minus `step` of its branch link, roots first."""
        for low, high in zip(self.rounds[-2::-1], self.rounds[:0:-1], strict=True):
            values[self.child[low:high]] = values[self.parent[low:high]] - step[low:high]


def prune_branches(node_count: int, from_node: Ints, to_node: Ints, keep: Flags) -> Branches:
    """Prune leaves until every node left has two links, is kept, or is the last of its part.

    Parameters
    ----------
    node_count : int
        Number of nodes, n.
    from_node, to_node : ndarray of int, shape (m,)
        Ends of the links; no link may join a node with itself.
    keep : ndarray of bool, shape (n,)
        Nodes never to be taken off.

    Returns
    -------
    Branches
        What was taken off. Of two leaves joined by one link the one with the lower number goes.
    """
    ids = np.arange(from_node.size, dtype=float)
    degree = np.bincount(from_node, minlength=node_count) + np.bincount(to_node, minlength=node_count)
    # Sums of ids stay exact in float64: far below 2**53 for any network that fits in memory.
    link_sum = (
        np.bincount(from_node, weights=ids, minlength=node_count)
        + np.bincount(to_node, weights=ids, minlength=node_count)
    ).astype(np.int64)
    children: list[Ints] = []
    parents: list[Ints] = []
    links: list[Ints] = []
    mark = np.zeros(node_count, dtype=np.int64)
    frontier = np.flatnonzero((degree == 1) & ~keep)
    while frontier.size:
        link = link_sum[frontier]
        other = from_node[link] + to_node[link] - frontier
        goes = ~((degree[other] == 1) & ~keep[other] & (other < frontier))
        if not goes.all():
            frontier, link, other = frontier[goes], link[goes], other[goes]
        children.append(frontier)
        parents.append(other)
        links.append(link)
        degree[frontier] = 0
        np.subtract.at(degree, other, 1)
        np.subtract.at(link_sum, other, link)
        ready = other[(degree[other] == 1) & ~keep[other]]
        order = np.arange(ready.size)
        mark[ready] = order
        frontier = ready[mark[ready] == order]
    rounds = np.concatenate([[0], np.cumsum([part.size for part in children])]).astype(np.int64)
    empty = np.zeros(0, dtype=np.int64)
    child = np.concatenate(children) if children else empty
    parent = np.concatenate(parents) if parents else empty
    root = np.arange(node_count)
    for low, high in zip(rounds[-2::-1], rounds[:0:-1], strict=True):
        root[child[low:high]] = root[parent[low:high]]
    return Branches(child, parent, np.concatenate(links) if links else empty, rounds, degree, link_sum, root)
