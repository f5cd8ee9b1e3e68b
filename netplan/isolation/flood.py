"""The least cut of one question, in supernodes as they are numbered, on a graph that is only ever read.

The same search as in `mincut`, and the same certificate: a flow that fills the nearest outlets first, and no
part that was never reached can hold a lesser cut. What the flow leaves is remembered for the arcs it uses and
for no others, so that nothing is built for a question that is asked once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from netplan.isolation.mincut import INFINITE, Gate

__all__ = ["START", "Arc", "Spot", "Zone", "least_zone"]

START = -1
"""Stands for the work among the supernodes."""

Arc = tuple[int, int, int, int]
"""Number (that of the arc back is ^ 1), where it leads, capacity forth and back [minor units]."""

Spot = tuple[int, tuple[Arc, ...]]
"""Capacity from a node to the sink [minor units], and the arcs that leave it."""


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """The smallest source side of a least cut.

    Parameters
    ----------
    value : int
        Value of the cut [minor units].
    nodes : list of int
        In the order they are reached; `START` first.
    looked_at : set of int
        All nodes whose arcs were read.
    """

    value: int
    nodes: list[int]
    looked_at: set[int]


class _Flow:
    """What the flow has read and what it leaves."""

    __slots__ = ("left", "looked_at", "outlet", "spots")

    def __init__(self, own: dict[int, Spot]) -> None:
        self.spots = own.copy()
        self.left: dict[int, int] = {}
        self.outlet: dict[int, int] = {}
        self.looked_at: set[int] = set()


class _Tree:
    """How nodes were reached, in the order they were: all lists go by their place in it.

    Attributes
    ----------
    arcs : list of Arc
        By which arc each was reached, which names the node; the first stands for the start.
    before : list of int
        Place of the node it was reached from.
    rooms : list of int
        What each may take itself [minor units].
    cut_short : bool
        Whether anything was left out.
    """

    __slots__ = ("arcs", "before", "cut_short", "rooms")

    def __init__(self) -> None:
        self.arcs: list[Arc] = [(-1, START, INFINITE, INFINITE)]
        self.before, self.rooms = [-1], list[int]()
        self.cut_short = False


def least_zone(own: dict[int, Spot], spot_of: Callable[[int], Spot]) -> Zone | None:
    """Return the least cut round `START`, or None where no finite one exists.

    Parameters
    ----------
    own : dict
        Spots of this question alone, that of `START` among them.
    spot_of : callable
        Returns the spot of any other node.
    """
    flow, value = _Flow(own), 0
    while True:
        tree = _reach(flow, spot_of)
        if tree is None:
            return None
        pushed, filled = _push(flow, tree)
        value += pushed
        if not filled and not tree.cut_short:
            return Zone(value, [arc[1] for arc in tree.arcs], flow.looked_at)


def _reach(flow: _Flow, spot_of: Callable[[int], Spot]) -> _Tree | None:
    """Search outward from the start, and no farther behind an arc than its capacity can serve.

    None where a way to the sink has no limit.
    """
    left_of, outlet_of, spots, tree = flow.left.get, flow.outlet.get, flow.spots, _Tree()
    before, arcs, rooms, look = tree.before, tree.arcs, tree.rooms, flow.looked_at.add
    seen = {START}
    gates: list[Gate | None] = [None]
    for place, (_, node, _, _) in enumerate(arcs):
        gate = gates[place]
        if gate is not None and gate.is_full():
            tree.cut_short = True
            rooms.append(0)
            continue
        look(node)
        outlet, onward = spots.get(node) or spot_of(node)
        room = outlet_of(node, outlet)
        rooms.append(room)
        if room > 0:
            if gate is not None:
                gate.fill(room)
            if room >= INFINITE:
                if gate is None:
                    return None
                continue  # it takes all that can come
        for arc in onward:
            number, other, capacity, _ = arc
            if other not in seen:
                left = left_of(number, capacity)
                if left > 0:
                    seen.add(other)
                    before.append(place)
                    arcs.append(arc)
                    narrower = left < (INFINITE if gate is None else gate.narrow)
                    gates.append(Gate(left, gate) if narrower else gate)
    return tree


def _push(flow: _Flow, tree: _Tree) -> tuple[int, bool]:
    """Push all that the tree of ways carries to the outlets; return how much, and whether an arc is full."""
    left, before, arcs, rooms = flow.left, tree.before, tree.arcs, tree.rooms
    wants = rooms.copy()
    for place in range(len(wants) - 1, 0, -1):
        wanted = wants[place]
        if wanted:
            number, _, capacity, _ = arcs[place]
            there = left.get(number, capacity)
            if there < wanted:
                wanted = wants[place] = there
            wants[before[place]] += wanted
    pushed, filled = 0, False
    for place, (carried, room) in enumerate(zip(wants, rooms, strict=True)):
        if not carried:
            continue
        if place:
            above = wants[before[place]]
            if above < carried:
                carried = above
            wants[before[place]] = above - carried
            number, _, capacity, back = arcs[place]
            there = left.get(number, capacity)
            if there < INFINITE:
                left[number] = there - carried
                filled = filled or there == carried
            returning = left.get(number ^ 1, back)
            if returning < INFINITE:
                left[number ^ 1] = returning + carried
        taken = carried if carried < room else room
        pushed += taken
        if taken and room < INFINITE:
            flow.outlet[arcs[place][1]] = room - taken
        wants[place] = carried - taken
    return pushed, filled
