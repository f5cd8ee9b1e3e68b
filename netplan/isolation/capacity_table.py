"""What stops cost, as capacities of a graph of supernodes that all questions about a network share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.graph.compiled_cut import CompiledFlow
from netplan.graph.grouping import grouped
from netplan.graph.minimum_cut import INFINITE, UNEXPLORED
from netplan.isolation.cost_context import CostContext
from netplan.isolation.segment_edges import simple_segment_arcs
from netplan.isolation.stranded_costs import BridgeCosts

__all__ = ["NOT_TABULATED", "READY", "UNREAD", "CapacityTable"]

UNREAD, READY, NOT_TABULATED = range(3)
"""State of a supernode: not yet worked out; known; none, where customers are attached elsewhere too or a
segment comes back to its own end."""


class CapacityTable:
    """The supernodes of a network under one set of prices, one feed bound and one set of kept customers.

    A pendant component counts as stranded beyond every bridge. It is not where the work stands on it, but
    then no cut leaves it out: a work section of one stretch is joined to nothing but through its own side of
    the bridge.

    Parameters
    ----------
    costs : CostContext
    bridges : BridgeCosts
    stranded : int64 array, shape (segments, 2)
        What a stop strands with the zone at the segment's a, and at its b [minor units].
    barred : bool array
        Supernodes that may never be in a zone.

    Attributes
    ----------
    source : int
        Node of the graph that stands for the work; the others are the supernodes.
    flow : CompiledFlow
        Arc 2 r leaves segment r at its a, arc 2 r + 1 at its b. Simple segments are there at once; the others
        are worked out when they are asked for.
    pay : int64 array
        What the supernode that an arc leaves pays for its segment, as part of its capacity to the sink [minor
        units].
    state : uint8 array
        `UNREAD`, `READY` or `NOT_TABULATED`, by supernode.
    """

    def __init__(
        self, costs: CostContext, bridges: BridgeCosts, stranded: Ints, barred: NDArray[np.bool_]
    ) -> None:
        self._costs, self._index, self._bridges, self._barred = costs, costs.index, bridges, barred
        index = costs.index
        segments = np.arange(len(index.segment_a), dtype=np.int64)
        self._start, self._leaving = grouped(
            np.concatenate([index.segment_a, index.segment_b]),
            index.n_super,
            np.concatenate([2 * segments, 2 * segments + 1]),
        )
        forward, _, pay = simple_segment_arcs(costs.segments, stranded)
        self.pay: Ints = pay.ravel()
        self.source: Final = index.n_super
        self.state = self._states()
        self.flow = CompiledFlow(
            *self._chained_arcs(),
            end=np.column_stack([index.segment_b, index.segment_a]).ravel().astype(np.int64),
            capacity=forward.ravel(),
            sink=self._sinks(),
        )

    def read(self, supernode: int) -> bool:
        """Work out a supernode that is `UNREAD`; return whether it is known."""
        if self.state.item(supernode) == UNREAD:
            capacity, sink = self.flow.arcs.capacity, self._costs.node_minor.item(supernode)
            for arc in self._arcs_at(supernode):
                capacity[arc], capacity[arc ^ 1], self.pay[arc] = self._priced(arc, supernode)
                sink += self.pay.item(arc)
            self.flow.arcs.sink[supernode] = INFINITE if self._barred.item(supernode) else min(sink, INFINITE)
            self.state[supernode] = READY
        return self.state.item(supernode) == READY

    def without(self, supernode: int, is_left_out: Callable[[int], bool]) -> tuple[int, list[int]]:
        """Return the capacity to the sink, and the arcs, of a supernode without some of its segments."""
        sink, kept = self.flow.arcs.sink.item(supernode), []
        for arc in self._arcs_at(supernode):
            if not is_left_out(arc >> 1):
                kept.append(arc)
            elif sink < INFINITE:
                sink -= self.pay.item(arc)
        return sink, kept

    def _arcs_at(self, supernode: int) -> list[int]:
        low, high = self._start.item(supernode), self._start.item(supernode + 1)
        arcs: list[int] = self._leaving[low:high].tolist()
        return arcs

    def _priced(self, arc: int, near: int) -> tuple[int, int, int]:
        """Return the capacity of an arc, that of the arc reverse, and what the supernode it leaves pays."""
        segment, at_a = arc >> 1, not arc & 1
        bridge = self._bridges.at(segment, near, self.flow.arcs.end.item(arc))
        forward, reverse, pay, _ = bridge.priced([])[0] if bridge else self._bridges.arcs(segment, at_a, 0, 0)
        return forward, reverse, pay

    def _states(self) -> NDArray[np.uint8]:
        index, costs = self._index, self._costs
        owner = np.repeat(np.arange(index.n_super), np.diff(self._start))
        segment = self._leaving >> 1
        state = np.full(index.n_super, READY, dtype=np.uint8)
        state[owner[~costs.segments.is_simple[segment]]] = UNREAD
        state[owner[(index.segment_a == index.segment_b)[segment]]] = NOT_TABULATED
        state[costs.has_multi_attached] = NOT_TABULATED
        return state

    def _chained_arcs(self) -> tuple[Ints, Ints]:
        """Return the first arc that leaves each node, and the next arc after each."""
        leaving, start = self._leaving.astype(np.int64), self._start
        following = np.full(len(leaving), UNEXPLORED, dtype=np.int64)
        following[leaving[:-1]] = leaving[1:]
        some = start[1:] > start[:-1]
        following[leaving[start[1:][some] - 1]] = UNEXPLORED
        first = np.full(self.source + 1, UNEXPLORED, dtype=np.int64)
        first[:-1][some] = leaving[start[:-1][some]]
        return first, following

    def _sinks(self) -> Ints:
        running = np.concatenate([[0], np.cumsum(self.pay[self._leaving])])
        sink = self._costs.node_minor + running[self._start[1:]] - running[self._start[:-1]]
        sink = np.where(self._barred, INFINITE, sink)
        return np.append(np.where(self.state == READY, sink, UNEXPLORED), UNEXPLORED)
