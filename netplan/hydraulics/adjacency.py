"""Which links end at which node, and what lies nearest to some nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array

from netplan.hydraulics.model import FlowLinks

__all__ = ["Adjacency", "adjacency_of", "holds"]

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Adjacency:
    """The open links at every node.

    Parameters
    ----------
    links : FlowLinks
    start : int array, shape (nodes + 1,)
        Where the links of each node begin in `link`.
    link : int array
        Open links, node by node; each stands there twice.
    """

    links: FlowLinks
    start: Ints
    link: Ints

    def links_at(self, nodes: Ints) -> Ints:
        """Return the open links at some nodes, one with both its ends among them twice."""
        first = self.start[nodes]
        count = self.start[nodes + 1] - first
        skipped = first - np.concatenate([[0], np.cumsum(count)[:-1]]) if count.size else first
        return self.link[np.repeat(skipped, count) + np.arange(int(count.sum()))]

    def outward(self, seeds: Ints, at_least: int) -> Ints:
        """Return the nodes fewest links away from any seed, sorted: `at_least` so many, where there are."""
        seen = np.zeros(self.start.size - 1, dtype=bool)
        frontier = np.unique(seeds)
        seen[frontier] = True
        found, count = [frontier], frontier.size
        while frontier.size and count < at_least:
            links = self.links_at(frontier)
            ends = np.concatenate([self.links.from_node[links], self.links.to_node[links]])
            frontier = np.unique(ends[~seen[ends]])
            seen[frontier] = True
            found.append(frontier)
            count += frontier.size
        return np.sort(np.concatenate(found))


def adjacency_of(links: FlowLinks, node_count: int) -> Adjacency:
    """Return the open links at each of `node_count` nodes."""
    rows = np.flatnonzero(links.is_open)
    ends = np.concatenate([links.from_node[rows], links.to_node[rows]])
    # One column an entry, so that the library's counting sort keeps parallel links apart.
    entries = np.arange(ends.size)
    table = coo_array((np.ones(ends.size, np.int8), (ends, entries)), shape=(node_count, ends.size)).tocsr()
    return Adjacency(links, table.indptr.astype(np.int64), rows[table.indices % max(rows.size, 1)])


def holds(rows: Ints, some: Ints) -> bool:
    """Return whether all of some rows are among sorted ones."""
    if not rows.size:
        return not some.size
    place = np.minimum(np.searchsorted(rows, some), rows.size - 1)
    return bool((rows[place] == some).all())
