"""Minimum cuts by whole numbers of any size, on a graph that is explored as the flow reaches out.

The flow goes to the nearest outlets first, so it reaches only a little farther than the cut. A node's edges
come into the graph when the flow first reaches it. When no way is left every node on the source's side has
all its edges in the graph, and all that leave are full: no part that was never reached can hold a lesser cut.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

__all__ = ["INFINITE", "UNSEEN", "FlowGraph", "Gate", "Solution", "least_cut", "next_cut"]

INFINITE: Final = 1 << 52
"""Capacity of an arc that no cut may hold [minor units]."""

UNSEEN: Final = -1
"""Stands for the outlet of a node that is not explored yet."""

Explore = Callable[[int], None]


class FlowGraph:
    """A growing graph with capacities both ways along each edge and an outlet to the sink at each node.

    Node 0 is the source. Arcs come in pairs: arc k and arc k ^ 1 run opposite ways along one edge.

    Attributes
    ----------
    end : list of int
        Node that each arc leads to.
    capacity : list of int
        Of each arc [minor units]; `INFINITE` for arcs never cut.
    arcs_at : list of list of int
        Arcs that leave each node: all of them once it is explored.
    outlet : list of int
        Capacity from each node to the sink [minor units]; `UNSEEN` until it is explored.
    """

    __slots__ = ("arcs_at", "capacity", "end", "outlet")

    def __init__(self) -> None:
        self.end: list[int] = []
        self.capacity: list[int] = []
        self.arcs_at: list[list[int]] = []
        self.outlet: list[int] = []

    def add_node(self, outlet: int = UNSEEN) -> int:
        """Add a node and return its number."""
        self.arcs_at.append([])
        self.outlet.append(outlet)
        return len(self.outlet) - 1

    def add_edge(self, tail: int, head: int, forth: int, back: int) -> None:
        """Add an edge with its capacities from tail to head and from head to tail [minor units]."""
        arc = len(self.end)
        self.end += (head, tail)
        self.capacity += (forth, back)
        self.arcs_at[tail].append(arc)
        self.arcs_at[head].append(arc + 1)


class Solution:
    """A greatest flow and the smallest source side of its cut.

    Attributes
    ----------
    value : int
        Value of the cut [minor units].
    side : frozenset of int
        Nodes on the source's side.
    left, outlet : list of int
        What the flow leaves of each arc and each outlet that the graph had then [minor units].
    """

    __slots__ = ("left", "outlet", "side", "value")

    def __init__(self, left: list[int], outlet: list[int], value: int, side: frozenset[int]) -> None:
        self.left, self.outlet, self.value, self.side = left, outlet, value, side


def least_cut(
    graph: FlowGraph, inside: Iterable[int], outside: Iterable[int], explore: Explore
) -> Solution | None:
    """Return the least cut with some nodes held on either side, or None where no finite one exists.

    Parameters
    ----------
    graph : FlowGraph
    inside, outside : iterables of int
        Nodes held on the source's side, and on the sink's.
    explore : callable
        Adds all edges of a node to the graph and sets its outlet.
    """
    return _fill(graph, [], [], 0, sorted({0, *inside}), set(outside), explore)


def next_cut(
    graph: FlowGraph, before: Solution, inside: Iterable[int], outside: Iterable[int], explore: Explore
) -> Solution | None:
    """Return the least cut with more nodes held than `before` had, starting from its flow."""
    sources = sorted({0, *inside})
    return _fill(
        graph, before.left.copy(), before.outlet.copy(), before.value, sources, set(outside), explore
    )


class Gate:
    """An arc of less capacity than those before it: all that is reached behind it gets no more than that.

    Attributes
    ----------
    left : int
        What it can still serve behind it [minor units].
    before : Gate or None
        The gate it lies behind.
    narrow : int
        An arc behind it is a gate of its own below this capacity [minor units]. An eighth less than its own,
        so that there are few gates one behind the other where all stops cost about the same.
    """

    __slots__ = ("before", "left", "narrow")

    def __init__(self, capacity: int, before: Gate | None) -> None:
        self.left, self.before = capacity, before
        self.narrow = capacity - (capacity >> 3)

    def is_full(self) -> bool:
        """Whether the room found behind it, or behind one before it, is all that it can serve."""
        gate: Gate | None = self
        while gate is not None:
            if gate.left <= 0:
                return True
            gate = gate.before
        return False

    def fill(self, room: int) -> None:
        """Count room found behind it."""
        gate: Gate | None = self
        while gate is not None:
            room = min(room, gate.left)
            gate.left -= room
            gate = gate.before


def _fill(
    graph: FlowGraph,
    left: list[int],
    outlet: list[int],
    value: int,
    sources: list[int],
    sinks: set[int],
    explore: Explore,
) -> Solution | None:
    """Fill outlets until no way to any is left; the nodes still reached then are the smallest source side."""
    while True:
        reached = _reach(graph, left, outlet, sources, sinks, explore)
        if reached is None:
            return None
        came, rooms, cut_short = reached
        pushed, filled = _push(graph.end, left, outlet, came, rooms)
        value += pushed
        if not filled and not cut_short:
            return Solution(left, outlet, value, frozenset(came))


def _reach(
    graph: FlowGraph,
    left: list[int],
    outlet: list[int],
    sources: list[int],
    sinks: set[int],
    explore: Explore,
) -> tuple[dict[int, int], dict[int, int], bool] | None:
    """Search outward from the sources, and no farther behind an arc than its capacity can serve.

    Returns
    -------
    tuple or None
        The arc by which each node was reached (-1: a source), in the order they were; the room of those that
        have some; whether anything was left out. None where a way to the sink has no limit.
    """
    arcs_at, end, known = graph.arcs_at, graph.end, graph.outlet
    left += graph.capacity[len(left) :]
    outlet += known[len(outlet) :]
    came = dict.fromkeys(sources, -1)
    gates: dict[int, Gate | None] = dict.fromkeys(sources)
    rooms: dict[int, int] = {}
    queue, cut_short = list(sources), False
    for node in queue:
        gate = gates[node]
        if gate is not None and gate.is_full():
            cut_short = True
            continue
        room = INFINITE if node in sinks else outlet[node]
        if room < 0:
            if known[node] < 0:
                explore(node)
                left += graph.capacity[len(left) :]
                outlet += known[len(outlet) :]
            room = outlet[node] = known[node]
        if room > 0:
            rooms[node] = room
            if gate is not None:
                gate.fill(room)
            if room >= INFINITE:
                if gate is None:
                    return None
                continue  # it takes all that can come
        for arc in arcs_at[node]:
            other = end[arc]
            if other not in came and left[arc] > 0:
                came[other] = arc
                narrower = left[arc] < INFINITE if gate is None else left[arc] < gate.narrow
                gates[other] = Gate(left[arc], gate) if narrower else gate
                queue.append(other)
    return came, rooms, cut_short


def _push(
    end: list[int], left: list[int], outlet: list[int], came: dict[int, int], rooms: dict[int, int]
) -> tuple[int, bool]:
    """Push all that the tree of ways carries to the outlets; return how much, and whether an arc is full."""
    wants = dict.fromkeys(came, 0)
    wants.update(rooms)
    for node, arc in reversed(came.items()):
        if arc >= 0 and wants[node]:
            wants[node] = min(wants[node], left[arc])
            wants[end[arc ^ 1]] += wants[node]
    pushed, filled = 0, False
    for node, arc in came.items():
        carried = wants[node]
        if not carried:
            continue
        if arc >= 0:
            before = end[arc ^ 1]
            carried = min(carried, wants[before])
            wants[before] -= carried
            if left[arc] < INFINITE:
                left[arc] -= carried
                filled = filled or left[arc] == 0
            if left[arc ^ 1] < INFINITE:
                left[arc ^ 1] += carried
        taken = min(carried, rooms.get(node, 0))
        pushed += taken
        if taken and outlet[node] < INFINITE and rooms[node] < INFINITE:
            outlet[node] -= taken
        wants[node] = carried - taken
    return pushed, filled
