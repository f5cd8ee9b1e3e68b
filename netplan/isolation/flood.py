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

_Ways = dict[int, tuple[int, Arc] | None]
"""How each node was reached, in the order they were: from where, by which arc; None for the start."""


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """The smallest source side of a least cut.

    Parameters
    ----------
    value : int
        Value of the cut [minor units].
    nodes : list of int
        In the order they are reached; `START` first.
    looked_at : list of int
        All nodes whose arcs were read.
    """

    value: int
    nodes: list[int]
    looked_at: list[int]


class _Flow:
    """What the flow has read and what it leaves."""

    __slots__ = ("left", "outlet", "spots")

    def __init__(self) -> None:
        self.left: dict[int, int] = {}
        self.outlet: dict[int, int] = {}
        self.spots: dict[int, Spot] = {}


def least_zone(spot_of: Callable[[int], Spot]) -> Zone | None:
    """Return the least cut round `START`, or None where no finite one exists.

    Parameters
    ----------
    spot_of : callable
        Returns the spot of a node, that of `START` included.
    """
    flow, value = _Flow(), 0
    while True:
        reached = _reach(flow, spot_of)
        if reached is None:
            return None
        ways, rooms, cut_short = reached
        pushed, filled = _push(flow, ways, rooms)
        value += pushed
        if not filled and not cut_short:
            return Zone(value, list(ways), list(flow.spots))


def _reach(flow: _Flow, spot_of: Callable[[int], Spot]) -> tuple[_Ways, dict[int, int], bool] | None:
    """Search outward from the start, and no farther behind an arc than its capacity can serve.

    Returns
    -------
    tuple or None
        The ways, the room of the nodes that have some, and whether anything was left out. None where a way to
        the sink has no limit.
    """
    left_of, outlet_of, spots = flow.left.get, flow.outlet.get, flow.spots
    ways: _Ways = {START: None}
    gates: list[Gate | None] = [None]
    rooms: dict[int, int] = {}
    queue, cut_short = [START], False
    for node, gate in zip(queue, gates, strict=True):
        if gate is not None and gate.is_full():
            cut_short = True
            continue
        spot = spots.get(node)
        if spot is None:
            spot = spots[node] = spot_of(node)
        outlet, arcs = spot
        room = outlet_of(node, outlet)
        if room > 0:
            rooms[node] = room
            if gate is not None:
                gate.fill(room)
            if room >= INFINITE:
                if gate is None:
                    return None
                continue  # it takes all that can come
        for arc in arcs:
            number, other, capacity, _ = arc
            if other not in ways:
                left = left_of(number, capacity)
                if left > 0:
                    ways[other] = (node, arc)
                    narrower = left < (INFINITE if gate is None else gate.narrow)
                    gates.append(Gate(left, gate) if narrower else gate)
                    queue.append(other)
    return ways, rooms, cut_short


def _push(flow: _Flow, ways: _Ways, rooms: dict[int, int]) -> tuple[int, bool]:
    """Push all that the tree of ways carries to the outlets; return how much, and whether an arc is full."""
    left = flow.left
    wants = dict(rooms)
    for node, way in reversed(ways.items()):
        wanted = wants.get(node)
        if wanted and way is not None:
            before, (number, _, capacity, _) = way
            there = left.get(number, capacity)
            if there < wanted:
                wanted = wants[node] = there
            wants[before] = wants.get(before, 0) + wanted
    pushed, filled = 0, False
    for node, way in ways.items():
        carried = wants.get(node)
        if not carried:
            continue
        if way is not None:
            before, (number, _, capacity, back) = way
            carried = min(carried, wants[before])
            wants[before] -= carried
            there = left.get(number, capacity)
            if there < INFINITE:
                left[number] = there - carried
                filled = filled or there == carried
            returning = left.get(number ^ 1, back)
            if returning < INFINITE:
                left[number ^ 1] = returning + carried
        room = rooms.get(node, 0)
        taken = min(carried, room)
        pushed += taken
        if taken and room < INFINITE:
            flow.outlet[node] = room - taken
        wants[node] = carried - taken
    return pushed, filled
