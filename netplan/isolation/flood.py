"""The least cut of one question, in supernodes as they are numbered, on arrays that all questions share.

The same search as in `mincut`, and the same certificate: a flow that fills the nearest outlets first, and no
part that was never reached can hold a lesser cut. What the flow leaves is remembered for the arcs it uses and
forgotten after the question, so that nothing is built for a question that is asked once.

Compiled, because half of the time of asking for every main went by here. So this is imported only where many
questions are asked; a single one is answered by `mincut` sooner than this is loaded.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final, NamedTuple, TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

from netplan.isolation.mincut import INFINITE
from netplan.isolation.spots import READY, START, Field, Own, Spots

__all__ = ["Flood", "Zone"]

_NONE: Final = -1
_NUMBER, _OTHER, _FORTH, _BACK = range(4)
_DONE, _NO_LIMIT, _UNREAD = range(3)
"""How a search ends: as it should; with a way to the sink that has no limit; at a spot that is not ready."""
_CHANGED, _FILLED, _LOOKED_AT, _SEARCHES, _QUESTIONS = range(5)
"""What is counted in `_Marks.counts`."""
_FEW: Final = 256
"""Arcs of its own that room is kept for from the start (own) [-]."""

Longs = NDArray[np.int64]
Function = TypeVar("Function", bound=Callable[..., Any])


def _compiled(function: Function) -> Function:
    """Compile a function at its first call; the result stays on disk where a folder for it can be written."""
    compiler: Any = numba.njit
    try:
        made: Function = compiler(cache=True)(function)
    except RuntimeError:
        made = compiler(function)
    return made


@dataclass(frozen=True, slots=True, eq=False)
class Zone:
    """The smallest source side of a least cut.

    Parameters
    ----------
    value : int
        Value of the cut [minor units].
    nodes : list of int
        In the order they are reached; `START` first.
    looked_at : int64 array
        All nodes whose arcs were read, in the order they were.
    """

    value: int
    nodes: list[int]
    looked_at: Longs


class _Tree(NamedTuple):
    """How nodes were reached, in the order they were: by place in it.

    The arc by which each was reached, and the place it came from (`_NONE`: the start); the gate it lies
    behind; what it may take itself, and what is wanted there and behind it [minor units].
    """

    arcs: Longs
    before: Longs
    gate: Longs
    room: Longs
    wants: Longs


class _Gates(NamedTuple):
    """Arcs of less capacity than those before them, see `mincut.Gate`."""

    left: Longs
    before: Longs
    narrow: Longs


class _Marks(NamedTuple):
    """What is remembered of arcs and supernodes while a question lasts; `_NONE` where it is as in the field.

    What the flow leaves of arcs and outlets [minor units], and which these are; the search in which a
    supernode was reached last, the question in which it was looked at last, and all that were in this one.
    """

    left: Longs
    changed: Longs
    outlet: Longs
    filled: Longs
    seen: Longs
    looked: Longs
    looked_at: Longs
    counts: Longs


class Flood:
    """Least zones of one question after the other, also where several threads ask.

    Parameters
    ----------
    spots : Spots
    """

    def __init__(self, spots: Spots) -> None:
        field, self.spots = spots.field, spots
        nodes = len(field.outlet) + 1
        self._tree = _Tree(np.empty((nodes, 4), np.int64), *(np.empty(nodes, np.int64) for _ in range(4)))
        self._gates = _Gates(*(np.empty(nodes, np.int64) for _ in range(3)))
        self._numbers = int(field.arcs[:, _NUMBER].max(initial=_NONE) | 1) + 1
        self._marks = _marks(nodes, self._numbers + _FEW)
        self._one_at_a_time = Lock()

    def least_zone(self, own: Own) -> Zone | None:
        """Return the least zone round `START`; None where none is finite, or a spot is not plain."""
        with self._one_at_a_time:
            return self._least_zone(own)

    def _least_zone(self, own: Own) -> Zone | None:
        if self._numbers + len(own.arcs) > len(self._marks.left):
            self._marks = _marks(len(self._marks.outlet), self._numbers + 2 * len(own.arcs))
        while True:
            ended, value, count = _least_zone(self.spots.field, own, self._tree, self._gates, self._marks)
            if ended == _DONE:
                looked = self._marks.looked_at[: self._marks.counts[_LOOKED_AT]]
                return Zone(value, self._tree.arcs[:count, _OTHER].tolist(), looked.copy())
            if ended == _NO_LIMIT or not self.spots.read(value):
                return None


def _marks(nodes: int, arcs: int) -> _Marks:
    return _Marks(
        left=np.full(arcs, _NONE),
        changed=np.empty(arcs, np.int64),
        outlet=np.full(nodes, _NONE),
        filled=np.empty(nodes, np.int64),
        seen=np.zeros(nodes, np.int64),
        looked=np.zeros(nodes, np.int64),
        looked_at=np.empty(nodes, np.int64),
        counts=np.zeros(5, np.int64),
    )


@_compiled
def _slot(own: Own, node: int) -> int:
    """Return the row of a node among those that the question has for itself; `_NONE` for any other."""
    for slot in range(len(own.nodes) - 1):
        if own.nodes[slot, 0] == node:
            return slot
    return _NONE


@_compiled
def _look(marks: _Marks, node: int) -> None:
    """Note a node as looked at."""
    if marks.looked[node] != marks.counts[_QUESTIONS]:
        marks.looked[node] = marks.counts[_QUESTIONS]
        marks.looked_at[marks.counts[_LOOKED_AT]] = node
        marks.counts[_LOOKED_AT] += 1


@_compiled
def _left(marks: _Marks, number: int, capacity: int) -> int:
    """Return what the flow leaves of an arc."""
    left = marks.left[number]
    return capacity if left == _NONE else left


@_compiled
def _leave(marks: _Marks, number: int, left: int) -> None:
    """Note what the flow leaves of an arc."""
    if marks.left[number] == _NONE:
        marks.changed[marks.counts[_CHANGED]] = number
        marks.counts[_CHANGED] += 1
    marks.left[number] = left


@_compiled
def _leave_outlet(marks: _Marks, node: int, left: int) -> None:
    """Note what the flow leaves of an outlet."""
    if marks.outlet[node] == _NONE:
        marks.filled[marks.counts[_FILLED]] = node
        marks.counts[_FILLED] += 1
    marks.outlet[node] = left


@_compiled
def _is_full(gates: _Gates, gate: int) -> bool:
    """Whether the room found behind a gate, or behind one before it, is all that it can serve."""
    while gate != _NONE:
        if gates.left[gate] <= 0:
            return True
        gate = gates.before[gate]
    return False


@_compiled
def _fill(gates: _Gates, gate: int, room: int) -> None:
    """Count room found behind a gate."""
    while gate != _NONE:
        room = min(room, gates.left[gate])
        gates.left[gate] -= room
        gate = gates.before[gate]


@_compiled
def _reach(field: Field, own: Own, tree: _Tree, gates: _Gates, marks: _Marks) -> tuple[int, int, bool]:
    """Search outward from the start, and no farther behind an arc than its capacity can serve.

    Returns
    -------
    tuple
        How it ended; how many nodes were reached, or the one whose spot is not ready; whether anything was
        left out.
    """
    marks.counts[_SEARCHES] += 1
    search = marks.counts[_SEARCHES]
    tree.arcs[0, _OTHER], tree.before[0], tree.gate[0] = START, _NONE, _NONE
    marks.seen[START] = search
    count, gate_count, cut_short, place = 1, 0, False, -1
    while place + 1 < count:
        place += 1
        node, gate = tree.arcs[place, _OTHER], tree.gate[place]
        tree.room[place] = 0
        if _is_full(gates, gate):
            cut_short = True
            continue
        slot = _slot(own, node)
        if slot != _NONE:
            arcs, outlet = own.arcs, own.nodes[slot, 1]
            first, last = own.nodes[slot, 2], own.nodes[slot + 1, 2]
        elif field.state[node] == READY:
            arcs, outlet = field.arcs, field.outlet[node]
            first, last = field.start[node], field.start[node + 1]
        else:
            return _UNREAD, node, False
        _look(marks, node)
        room = outlet if marks.outlet[node] == _NONE else marks.outlet[node]
        if room > 0:
            tree.room[place] = room
            _fill(gates, gate, room)
            if room >= INFINITE:
                if gate == _NONE:
                    return _NO_LIMIT, 0, False
                continue  # it takes all that can come
        for row in range(first, last):
            other = arcs[row, _OTHER]
            if marks.seen[other] == search:
                continue
            left = _left(marks, arcs[row, _NUMBER], arcs[row, _FORTH])
            if left > 0:
                marks.seen[other] = search
                tree.arcs[count], tree.before[count], tree.gate[count] = arcs[row], place, gate
                if left < (INFINITE if gate == _NONE else gates.narrow[gate]):
                    gates.left[gate_count], gates.before[gate_count] = left, gate
                    gates.narrow[gate_count] = left - (left >> 3)
                    tree.gate[count] = gate_count
                    gate_count += 1
                count += 1
    return _DONE, count, cut_short


@_compiled
def _push(tree: _Tree, count: int, marks: _Marks) -> tuple[int, bool]:
    """Push all that the tree of ways carries to the outlets; return how much, and whether an arc is full."""
    wants, before, arcs = tree.wants, tree.before, tree.arcs
    wants[:count] = tree.room[:count]
    for place in range(count - 1, 0, -1):
        wants[place] = min(wants[place], _left(marks, arcs[place, _NUMBER], arcs[place, _FORTH]))
        wants[before[place]] += wants[place]
    pushed, filled = 0, False
    for place in range(count):
        carried, room = wants[place], tree.room[place]
        if not carried:
            continue
        if place:
            carried = min(carried, wants[before[place]])
            wants[before[place]] -= carried
            number = arcs[place, _NUMBER]
            there = _left(marks, number, arcs[place, _FORTH])
            if there < INFINITE:
                _leave(marks, number, there - carried)
                filled = filled or there == carried
            returning = _left(marks, number ^ 1, arcs[place, _BACK])
            if returning < INFINITE:
                _leave(marks, number ^ 1, returning + carried)
        taken = min(carried, room)
        pushed += taken
        if taken and room < INFINITE:
            _leave_outlet(marks, arcs[place, _OTHER], room - taken)
        wants[place] = carried - taken
    return pushed, filled


@_compiled
def _least_zone(field: Field, own: Own, tree: _Tree, gates: _Gates, marks: _Marks) -> tuple[int, int, int]:
    """Return how it ended, the value or the node whose spot is not ready, and how many nodes it holds."""
    value = 0
    marks.counts[_LOOKED_AT] = 0
    marks.counts[_QUESTIONS] += 1
    while True:
        ended, count, cut_short = _reach(field, own, tree, gates, marks)
        if ended != _DONE:
            value = count
            break
        pushed, filled = _push(tree, count, marks)
        value += pushed
        if not filled and not cut_short:
            break
    for row in range(marks.counts[_CHANGED]):
        marks.left[marks.changed[row]] = _NONE
    for row in range(marks.counts[_FILLED]):
        marks.outlet[marks.filled[row]] = _NONE
    marks.counts[_CHANGED] = marks.counts[_FILLED] = 0
    return ended, value, count
