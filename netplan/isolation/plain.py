"""The arcs of all plain supernodes of a network at once, in arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.index import Index
from netplan.isolation.mincut import INFINITE
from netplan.isolation.simple import SimpleRuns

__all__ = ["PlainSpots", "plain_spots"]

Longs = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class PlainSpots:
    """Arcs of supernodes, see `flood.Arc`; those of supernode s are ``start[s]`` to ``start[s + 1]``.

    Parameters
    ----------
    is_plain : bool array
        Supernodes that they hold for: all runs plain and none a bridge or back to its own node.
    pay_minor : int64 array
        What each supernode pays for the gas of its runs [minor units].
    start, number, other, forth, back : int64 arrays
    """

    is_plain: NDArray[np.bool_]
    pay_minor: Longs
    start: Longs
    number: Longs
    other: Longs
    forth: Longs
    back: Longs

    def arcs(self, supernode: int) -> tuple[tuple[int, int, int, int], ...]:
        """Return the arcs of a supernode, in the order of its runs."""
        here = slice(self.start.item(supernode), self.start.item(supernode + 1))
        columns = (self.number, self.other, self.forth, self.back)
        return tuple(zip(*(column[here].tolist() for column in columns), strict=True))


def plain_spots(index: Index, runs: SimpleRuns, is_bridge: NDArray[np.bool_]) -> PlainSpots:
    """Return the arcs of all plain supernodes, priced as `bridges.arcs_of` does one by one."""
    start, run = index.adjacent_start, index.adjacent_run
    owner = np.repeat(np.arange(index.n_super), np.diff(start))
    at_a = index.run_a[run] == owner
    cost = runs.cost_minor
    gas = np.minimum(runs.gas_minor, 2 * cost)
    share_a = np.minimum(np.maximum(gas // 2, gas - cost), cost)
    pay_a, pay_b = share_a[run], (gas - share_a)[run]
    pay, pay_there = np.where(at_a, pay_a, pay_b), np.where(at_a, pay_b, pay_a)
    cost = cost[run]
    has_limit = cost < INFINITE
    other_kind = ~runs.plain | is_bridge | (index.run_a == index.run_b)
    paid = np.concatenate([[0], np.cumsum(pay)])
    return PlainSpots(
        is_plain=np.bincount(owner[other_kind[run]], minlength=index.n_super) == 0,
        pay_minor=paid[start[1:]] - paid[start[:-1]],
        start=start,
        number=2 * run.astype(np.int64) + ~at_a,
        other=np.where(at_a, index.run_b[run], index.run_a[run]).astype(np.int64),
        forth=np.where(has_limit, cost - pay, INFINITE),
        back=np.where(has_limit, cost - pay_there, INFINITE),
    )
