"""Chains: links in a row without a junction between them, contracted into one edge each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.pruning import Branches

__all__ = ["Chains", "find_chains"]


@dataclass(frozen=True, slots=True, eq=False)
class Chains:
    """Links in a row between junctions of the core; those of a chain lie side by side as segments.

    Parameters
    ----------
    junction : ndarray of int, shape (j,)
        Node number of each junction.
    start, end : ndarray of int, shape (k,)
        Junction (as a position in `junction`) at each end of a chain; equal for a loop.
    first : ndarray of int, shape (k + 1,)
        Bounds of the chains in the segment arrays.
    link : ndarray of int, shape (s,)
        Link of each segment.
    sign : ndarray of float, shape (s,)
        +1 where the link's own direction runs along the chain, -1 where against it.
    node : ndarray of int, shape (s,)
        Node at the far end of each segment.
    chain_of : ndarray of int, shape (s,)
        Chain of each segment.
    """

    junction: Ints
    start: Ints
    end: Ints
    first: Ints
    link: Ints
    sign: Floats
    node: Ints
    chain_of: Ints

    @property
    def count(self) -> int:
        """Number of chains."""
        return int(self.start.size)

    def drawn_before(self, load: Floats) -> tuple[Floats, Floats]:
        """Return what is drawn along a chain before each segment, and over the whole chain [as `load`].

        The flow of a segment is the flow into its chain less what was drawn before it.
        """
        drawn = load[self.node]
        drawn[self.first[1:] - 1] = 0.0
        upto = np.cumsum(drawn)
        before = upto - drawn
        base = before[self.first[:-1]]
        return before - base[self.chain_of], upto[self.first[1:] - 1] - base

    def sum_per_chain(self, values: Floats) -> Floats:
        """Return the sum of segment values over each chain."""
        if not self.count:
            return np.zeros(0)
        return np.add.reduceat(values, self.first[:-1])


def find_chains(from_node: Ints, to_node: Ints, branches: Branches, keep: Flags) -> Chains:
    """Find the chains of the core that `branches` left.

    Parameters
    ----------
    from_node, to_node : ndarray of int, shape (m,)
        Ends of the links.
    branches : Branches
        The dead ends, already taken off.
    keep : ndarray of bool, shape (n,)
        Nodes that must be junctions.

    Notes
    -----
    Every chain is walked from both ends in step with all others; the walk with the lower starting place
    stays. A ring without any junction is not reached: it has no station and carries nothing.
    """
    left = np.ones(from_node.size, dtype=bool)
    left[branches.link] = False
    taken = np.zeros(keep.size, dtype=bool)
    taken[branches.child] = True
    inner = (branches.degree == 2) & ~keep
    junction = np.flatnonzero(~inner & ~taken)
    place = np.full(keep.size, -1, dtype=np.int64)
    place[junction] = np.arange(junction.size)

    links = np.flatnonzero(left)
    at_from = links[~inner[from_node[links]]]
    at_to = links[~inner[to_node[links]]]
    begin = np.concatenate([2 * at_from, 2 * at_to + 1])
    walkers = np.arange(begin.size)
    link = begin >> 1
    forward = (begin & 1) == 0
    start_node = np.where(forward, from_node[link], to_node[link])
    node = np.where(forward, to_node[link], from_node[link])
    finish = np.empty(begin.size, dtype=np.int64)
    end_node = np.empty(begin.size, dtype=np.int64)
    length = np.zeros(begin.size, dtype=np.int64)
    steps: list[tuple[Ints, Ints, Flags, Ints]] = []
    while walkers.size:
        steps.append((walkers, link, forward, node))
        length[walkers] += 1
        goes_on = inner[node]
        done = ~goes_on
        finish[walkers[done]] = 2 * link[done] + forward[done]
        end_node[walkers[done]] = node[done]
        walkers, link, node = walkers[goes_on], link[goes_on], node[goes_on]
        link = branches.link_sum[node] - link
        forward = from_node[link] == node
        node = from_node[link] + to_node[link] - node
    return _lay_out(junction, place, begin, finish, start_node, end_node, length, steps)


def _lay_out(
    junction: Ints,
    place: Ints,
    begin: Ints,
    finish: Ints,
    start_node: Ints,
    end_node: Ints,
    length: Ints,
    steps: list[tuple[Ints, Ints, Flags, Ints]],
) -> Chains:
    stays = begin < finish
    chosen = np.flatnonzero(stays)
    # By the chain's first link, so that the layout depends on the link order alone.
    chosen = chosen[np.argsort(begin[chosen], kind="stable")]
    first = np.concatenate([[0], np.cumsum(length[chosen])]).astype(np.int64)
    base = np.zeros(begin.size, dtype=np.int64)
    base[chosen] = first[:-1]
    total = int(first[-1])
    seg_link = np.empty(total, dtype=np.int64)
    seg_sign = np.empty(total)
    seg_node = np.empty(total, dtype=np.int64)
    for number, (walkers, link, forward, node) in enumerate(steps):
        kept = stays[walkers]
        at = base[walkers[kept]] + number
        seg_link[at] = link[kept]
        seg_sign[at] = np.where(forward[kept], 1.0, -1.0)
        seg_node[at] = node[kept]
    return Chains(
        junction=junction,
        start=place[start_node[chosen]],
        end=place[end_node[chosen]],
        first=first,
        link=seg_link,
        sign=seg_sign,
        node=seg_node,
        chain_of=np.repeat(np.arange(chosen.size), length[chosen]),
    )
