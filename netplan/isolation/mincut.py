"""Minimum cuts by whole numbers of any size, started anew or from the flow of a similar cut."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["INFINITE", "FlowGraph", "Solution", "least_cut", "next_cut"]

INFINITE: Final = 1 << 52
"""Capacity of an arc that no cut may hold [minor units]."""


class FlowGraph:
    """A graph with capacities both ways along each edge and an outlet to the sink at each node.

    Parameters
    ----------
    n : int
        Nodes; node 0 is the source.
    tail, head : int arrays
        Ends of the edges.
    forth, back : int arrays
        Capacities from tail to head and from head to tail [minor units]; `INFINITE` for arcs never cut.
    outlet : int array, shape (n,)
        Capacity from each node to the sink.
    """

    def __init__(
        self,
        n: int,
        tail: NDArray[np.int64],
        head: NDArray[np.int64],
        forth: NDArray[np.int64],
        back: NDArray[np.int64],
        outlet: NDArray[np.int64],
    ) -> None:
        self.n = n
        count = len(tail)
        ends = np.empty(2 * count, dtype=np.int64)
        ends[0::2], ends[1::2] = head, tail
        capacity = np.empty(2 * count, dtype=np.int64)
        capacity[0::2], capacity[1::2] = forth, back
        starts = np.empty(2 * count, dtype=np.int64)
        starts[0::2], starts[1::2] = tail, head
        self.capacity, self.outlet = capacity, outlet
        order = np.argsort(starts, kind="stable")
        bounds = np.searchsorted(starts[order], np.arange(n + 1)).tolist()
        arcs = order.tolist()
        self.arcs_at = [arcs[bounds[i] : bounds[i + 1]] for i in range(n)]
        self.end = ends.tolist()


class Solution:
    """A greatest flow and the smallest source side of its cut.

    Attributes
    ----------
    graph : FlowGraph
    value : int
        Value of the cut [minor units].
    side : frozenset of int
        Nodes on the source's side.
    """

    __slots__ = ("graph", "left", "outlet", "side", "value")

    def __init__(
        self, graph: FlowGraph, left: list[int], outlet: list[int], value: int, side: frozenset[int]
    ) -> None:
        self.graph, self.left, self.outlet, self.value, self.side = graph, left, outlet, value, side


def least_cut(graph: FlowGraph, inside: Iterable[int], outside: Iterable[int]) -> Solution | None:
    """Return the least cut with some nodes held on either side, or None where no finite one exists."""
    left, outlet, value = graph.capacity.tolist(), graph.outlet.tolist(), 0
    sources, sinks = sorted({0, *inside}), set(outside)
    return _fill(graph, left, outlet, value, sources, sinks)


def next_cut(before: Solution, inside: Iterable[int], outside: Iterable[int]) -> Solution | None:
    """Return the least cut with more nodes held than `before` had, starting from its flow."""
    sources = sorted({0, *inside})
    return _fill(before.graph, before.left.copy(), before.outlet.copy(), before.value, sources, set(outside))


def _fill(
    graph: FlowGraph, left: list[int], outlet: list[int], value: int, sources: list[int], sinks: set[int]
) -> Solution | None:
    """Augment until no way is left; the nodes still reached then are the smallest source side."""
    arcs_at, end = graph.arcs_at, graph.end
    while True:
        came = dict.fromkeys(sources, -1)
        queue = list(sources)
        filled = False
        for node in queue:
            room = INFINITE if node in sinks else outlet[node]
            if room > 0:
                pushed, filled = _push(came, left, end, node, room)
                if pushed >= INFINITE:
                    return None
                value += pushed
                if room < INFINITE:
                    outlet[node] = room - pushed
                if filled:
                    break  # an arc on the way is full: what hangs on it must be searched again
            for arc in arcs_at[node]:
                if left[arc] > 0 and end[arc] not in came:
                    came[end[arc]] = arc
                    queue.append(end[arc])
        if not filled:
            return Solution(graph, left, outlet, value, frozenset(came))


def _push(came: dict[int, int], left: list[int], end: list[int], node: int, room: int) -> tuple[int, bool]:
    """Push what the way to a node can carry, at most `room`; return how much, and whether an arc is full."""
    arc, most = came[node], room
    way = []
    while arc >= 0:
        if left[arc] < most:
            most = left[arc]
        way.append(arc)
        arc = came[end[arc ^ 1]]
    if most >= INFINITE:
        return most, True
    full = False
    for arc in way:
        if left[arc] < INFINITE:
            left[arc] -= most
            full = full or left[arc] == 0
        if left[arc ^ 1] < INFINITE:
            left[arc ^ 1] += most
    return most, full
