"""Least rings found near the hit: groups that no cheap ring holds are kept outside, and searches stop there.

A group is firm at a price when every ring that holds it costs at least as much. A ring found with all firm
groups kept outside, and no dearer than that price, is the least of all: one that holds a firm group costs the
price at least. What a hit changes makes no ring cheaper (stops nearby are barred or moved, the stop on what
was hit lies beside it), so that a group which is firm without it is firm with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order

from netplan.core.arrays import Ints
from netplan.emergency.group_flow import GroupFlow, GroupSide, SourceArc
from netplan.emergency.ring_graph import RingGraph
from netplan.graph.minimum_cut import INFINITE

__all__ = ["NearestRings"]

SHARES: Final = (0.5, 1.0)
"""Shares of the stops that take no longer than half the prices that groups are firm at (own) [-]."""
NONE_HELD: Final = np.zeros(0, dtype=np.int64)


class NearestRings:
    """Least rings in one graph.

    Parameters
    ----------
    flow : GroupFlow
    graph : RingGraph
    firm : bool
        Whether to look for firm groups first: it pays where many are asked for.
    """

    def __init__(self, flow: GroupFlow, graph: RingGraph, *, firm: bool) -> None:
        self._flow, self._graph = flow, graph
        self.firm: dict[int, Ints] = {}
        finite = flow.price[flow.price < INFINITE]
        if firm and len(finite):
            halves = np.unique(np.quantile(finite, SHARES, method="higher"))
            self.firm = {price: self._found(price) for price in (2 * halves.astype(np.int64)).tolist()}

    def least(self, sources: list[SourceArc], prices: Mapping[int, int], without: Iterable[int]) -> GroupSide:
        """Return the least ring round a hit, as `GroupFlow.least` does."""
        left_out = tuple(without)
        is_sure = bool(self.firm) and self._is_no_cheaper(sources, prices, left_out)
        for price, groups in self.firm.items() if is_sure else ():
            self._flow.hold_outside(groups)
            side = self._flow.least(sources, prices, left_out)
            if side is not None and side.value <= price:
                return side
        self._flow.hold_outside(NONE_HELD)
        side = self._flow.least(sources, prices, left_out)
        if side is None:  # every capacity to the sink is finite
            raise AssertionError("a ring that shuts every station always exists")
        return side

    def _is_no_cheaper(
        self, sources: list[SourceArc], prices: Mapping[int, int], without: tuple[int, ...]
    ) -> bool:
        """Return whether a hit makes no stop cheaper than it is without it."""
        base = [self._base(piece) for piece in without]
        beside = min((price for _, price in sources), default=INFINITE)
        return max(base, default=0) <= beside and all(
            price >= self._base(piece) for piece, price in prices.items()
        )

    def _base(self, piece: int) -> int:
        row = self._flow.row_of(piece)
        return 0 if row < 0 else self._flow.price.item(row)

    def _found(self, price: int) -> Ints:
        """Return the firm groups: those with a supply, and outward from them each that enough leads to."""
        graph, ends = self._graph, self._flow.ends
        count = len(graph.meters)
        supplies = np.flatnonzero(graph.supplies > 0)
        if not len(supplies):
            return NONE_HELD
        around = np.bincount(ends.ravel(), np.repeat(self._flow.price, 2).astype(float), count)
        may_be = around >= price
        may_be[supplies] = False
        tail = np.concatenate([ends[:, 0], np.full(len(supplies), count)])
        head = np.concatenate([ends[:, 1], supplies])
        hub = coo_matrix((np.ones(len(tail), np.int8), (tail, head)), shape=(count + 1, count + 1))
        order, _ = breadth_first_order(hub.tocsr(), count, directed=False)
        firm = supplies.tolist()
        self._flow.hold_outside(np.array(firm, dtype=np.int64))
        for group in order[1:][may_be[order[1:]]].tolist():
            side = self._flow.least([(group, INFINITE)], {})
            if side is None or side.value >= price:
                firm.append(group)
                self._flow.hold_also(group)
        self._flow.hold_outside(NONE_HELD)
        return np.array(sorted(firm), dtype=np.int64)
