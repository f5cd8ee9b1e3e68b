"""Minimum cuts by whole numbers of any size, on a graph that is explored as the flow reaches out."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from netplan.graph.augmenting_paths import (
    COUNT,
    INFINITE,
    NONE,
    STATE_SIZE,
    UNBOUNDED,
    UNEXPLORED,
    VALUE,
    Arcs,
    Residual,
    Search,
    begin,
    maximise,
)

__all__ = ["INFINITE", "UNEXPLORED", "FlowGraph", "MaximumFlow", "least_cut", "next_cut"]

_AHEAD: Final = 64
"""Arcs and nodes that lists are made longer by at a time, beyond those there are (own) [-]."""

Explore = Callable[[int], None]


class FlowGraph:
    """A growing graph with capacities both ways along each edge, and from each node to the sink.

    Node 0 is the source. Arcs come in pairs: arc k and arc k ^ 1 run opposite ways along one edge.

    Attributes
    ----------
    arcs : Arcs
        Its lists.
    end, capacity, sink : list of int
        Those of `arcs`; a sink capacity is `UNEXPLORED` until the node is explored.
    search : Search
        Working space of `augmenting_paths`.
    """

    __slots__ = ("_last", "arcs", "capacity", "end", "search", "sink")

    def __init__(self) -> None:
        self.arcs = Arcs([], [], [], [], [])
        self.end, self.capacity, self.sink = self.arcs.end, self.arcs.capacity, self.arcs.sink
        self._last: list[int] = []
        self.search = Search([], [], [], [], [], [], [], [], [], [], [], [0] * STATE_SIZE)

    def add_node(self, sink: int = UNEXPLORED) -> int:
        """Add a node with its capacity to the sink [minor units]; return its number."""
        self.arcs.first.append(NONE)
        self.arcs.sink.append(sink)
        self._last.append(NONE)
        return len(self._last) - 1

    def add_edge(self, tail: int, head: int, forward: int, reverse: int) -> None:
        """Add an edge with its capacities from tail to head and from head to tail [minor units]."""
        first, following, last, arc = self.arcs.first, self.arcs.following, self._last, len(self.end)
        self.end += (head, tail)
        self.capacity += (forward, reverse)
        following += (NONE, NONE)
        for node, leaving in ((tail, arc), (head, arc + 1)):
            if last[node] == NONE:
                first[node] = leaving
            else:
                following[last[node]] = leaving
            last[node] = leaving

    def arcs_from(self, node: int) -> list[int]:
        """Return the arcs that leave a node, in the order they were added."""
        arc, following = self.arcs.first[node], self.arcs.following
        found: list[int] = []
        while arc != NONE:
            found.append(arc)
            arc = following[arc]
        return found


class MaximumFlow:
    """A maximum flow and the smallest source side of its minimum cut.

    Attributes
    ----------
    value : int
        Value of the cut [minor units].
    side : frozenset of int
        Nodes on the source's side.
    residual : Residual
        What the flow leaves, of the arcs and nodes that the graph had then; the lists may be longer.
    """

    __slots__ = ("residual", "side", "value")

    def __init__(self, value: int, side: frozenset[int], residual: Residual) -> None:
        self.value, self.side, self.residual = value, side, residual


def least_cut(
    graph: FlowGraph, inside: Iterable[int], outside: Iterable[int], explore: Explore
) -> MaximumFlow | None:
    """Return the least cut with some nodes held on either side, or None where no finite one exists.

    Parameters
    ----------
    graph : FlowGraph
    inside, outside : iterables of int
        Nodes held on the source's side, and on the sink's.
    explore : callable
        Adds all edges of a node to the graph and sets its capacity to the sink.
    """
    return _maximised(graph, Residual([], []), 0, inside, outside, explore)


def next_cut(
    graph: FlowGraph, flow: MaximumFlow, inside: Iterable[int], outside: Iterable[int], explore: Explore
) -> MaximumFlow | None:
    """Return the least cut with more nodes held than `flow` had, starting from it."""
    residual = Residual([*flow.residual.arc], [*flow.residual.sink])
    return _maximised(graph, residual, flow.value, inside, outside, explore)


def _maximised(
    graph: FlowGraph,
    residual: Residual,
    value: int,
    inside: Iterable[int],
    outside: Iterable[int],
    explore: Explore,
) -> MaximumFlow | None:
    search, arcs = graph.search, graph.arcs
    _extend(graph, residual)
    for node in outside:
        residual.sink[node] = INFINITE
    sources = sorted({0, *inside})
    for place, node in enumerate(sources):
        search.queue[place] = node
    begin(search, len(sources), value)

    def grow(node: int) -> None:
        explore(node)
        _extend(graph, residual)

    if maximise(arcs, residual, search, grow) == UNBOUNDED:
        return None
    return MaximumFlow(search.state[VALUE], frozenset(search.queue[: search.state[COUNT]]), residual)


def _extend(graph: FlowGraph, residual: Residual) -> None:
    """Give a residual, and the working space, what the graph has grown by: as yet without any flow."""
    nodes, more = len(graph.arcs.sink), len(graph.arcs.end) - len(residual.arc)
    if more > 0:
        residual.arc.extend([NONE] * (more + _AHEAD))
    if nodes > len(residual.sink):
        residual.sink.extend([NONE] * (nodes - len(residual.sink) + _AHEAD))
    if nodes > len(graph.search.seen):
        grown = [0] * (nodes - len(graph.search.seen) + _AHEAD)
        for space in graph.search[:-1]:
            space.extend(grown)
