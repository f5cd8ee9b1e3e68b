"""Supernodes as `flood` reads them: arrays made once for a network, shared by all questions alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.bridges import Bridges
from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE
from netplan.isolation.plain import plain_arcs

__all__ = ["NOT_PLAIN", "READY", "START", "UNREAD", "Arc", "Field", "Own", "Spots"]

START: Final = -1
"""Stands for the work among the supernodes."""
UNREAD, READY, NOT_PLAIN = range(3)
"""What a spot is: not yet worked out; known; none, where customers are attached elsewhere too or a run comes
back to its own end."""

Longs = NDArray[np.int64]
Arc = list[int]
"""Number (that of the arc back is ^ 1), where it leads, capacity forth and back [minor units]."""


class Field(NamedTuple):
    """The spots of supernodes: a capacity to the sink, and the arcs that leave it.

    Parameters
    ----------
    state : uint8 array
        `UNREAD`, `READY` or `NOT_PLAIN`, by supernode: the other arrays hold where it is ready.
    outlet : int64 array
        Capacity from each supernode to the sink [minor units].
    start : int64 array
        The arcs of supernode s are ``start[s]`` to ``start[s + 1]``, one for each of its runs.
    arcs : int64 array, shape (arcs, 4)
        Rows as `Arc`.
    pay : int64 array
        What the supernode pays for the run of each arc, as part of its outlet [minor units].
    """

    state: NDArray[np.uint8]
    outlet: Longs
    start: Longs
    arcs: Longs
    pay: Longs


class Own(NamedTuple):
    """The spots that a question has for itself, that of `START` among them.

    Parameters
    ----------
    nodes : int64 array, shape (nodes + 1, 3)
        Supernode, its capacity to the sink [minor units], and the first of its arcs; the last row says where
        the arcs end.
    arcs : int64 array, shape (arcs, 4)
        Rows as `Arc`; those that are no run's have numbers below zero.
    """

    nodes: Longs
    arcs: Longs


class Spots:
    """The supernodes of a network under one set of prices, one feed bound and one set of kept customers.

    A tail counts as stranded beyond every bridge. It is not where the work stands on it, but then no cut
    leaves it out: a work section of one stretch is joined to nothing but through its own side of the bridge.

    Parameters
    ----------
    ground : Ground
    bridges : Bridges
    stranded : int64 array, shape (runs, 2)
        What a stop strands with the zone at the run's a, and at its b [minor units].
    barred : bool array
        Supernodes that may never be in a zone.

    Attributes
    ----------
    field : Field
        Plain runs at once; the rest of it is worked out when it is asked for.
    """

    def __init__(self, ground: Ground, bridges: Bridges, stranded: Longs, barred: NDArray[np.bool_]) -> None:
        self._ground, self._index, self._bridges, self._barred = ground, ground.index, bridges, barred
        self.field = self._plain(stranded)

    def read(self, supernode: int) -> bool:
        """Work out a spot that is `UNREAD`; return whether there is one."""
        field = self.field
        if field.state.item(supernode) == UNREAD:
            first = field.start.item(supernode)
            outlet = INFINITE if self._barred.item(supernode) else self._ground.node_minor.item(supernode)
            for row, run in enumerate(self._index.runs_at(supernode).tolist(), first):
                *arc, pay = self._arc(run, supernode)
                field.arcs[row], field.pay[row] = arc, pay
                outlet += pay
            field.outlet[supernode] = min(outlet, INFINITE)
            field.state[supernode] = READY
        return field.state.item(supernode) == READY

    def without(self, supernode: int, is_left_out: Callable[[int], bool]) -> tuple[int, list[Arc]]:
        """Return the outlet and the arcs of a supernode without some of its runs."""
        field = self.field
        here = slice(field.start.item(supernode), field.start.item(supernode + 1))
        outlet, arcs = field.outlet.item(supernode), []
        for arc, pay in zip(field.arcs[here].tolist(), field.pay[here].tolist(), strict=True):
            if not is_left_out(arc[0] >> 1):
                arcs.append(arc)
            elif outlet < INFINITE:
                outlet -= pay
        return outlet, arcs

    def _arc(self, run: int, near: int) -> tuple[int, int, int, int, int]:
        """Return number, far end, capacities and pay of a run at one of its ends."""
        index = self._index
        at_a = index.run_a.item(run) == near
        far = index.run_b.item(run) if at_a else index.run_a.item(run)
        bridge = self._bridges.at(run, near, far)
        forth, back, pay, _ = bridge.priced([])[0] if bridge else self._bridges.arcs(run, at_a, 0, 0)
        return 2 * run + (not at_a), far, forth, back, pay

    def _plain(self, stranded: Longs) -> Field:
        """Return the field with all that is told by arrays alone."""
        index, ground = self._index, self._ground
        start, run = index.adjacent_start, index.adjacent_run
        owner = np.repeat(np.arange(index.n_super), np.diff(start))
        forth, back, pay = plain_arcs(ground.runs, stranded)
        side = (index.run_a[run] != owner).astype(np.int64)
        arcs = np.empty((len(run), 4), dtype=np.int64)
        arcs[:, 0] = 2 * run.astype(np.int64) + side
        arcs[:, 1] = np.where(side == 0, index.run_b[run], index.run_a[run])
        arcs[:, 2], arcs[:, 3], paid = forth[run, side], back[run, side], pay[run, side]
        running = np.concatenate([[0], np.cumsum(paid)])
        outlet = ground.node_minor + running[start[1:]] - running[start[:-1]]
        state = np.full(index.n_super, READY, dtype=np.uint8)
        state[owner[~ground.runs.plain[run]]] = UNREAD
        state[owner[(index.run_a == index.run_b)[run]]] = NOT_PLAIN
        state[ground.has_several] = NOT_PLAIN
        return Field(state, np.where(self._barred, INFINITE, outlet), start, arcs, paid)
