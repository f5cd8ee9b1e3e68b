"""Minimum cuts for many hits on one `RingGraph`: the graph in arrays, each question a small change of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Ints
from netplan.emergency.ring_graph import RingGraph
from netplan.emergency.ring_search import SECOND, SUPPLY
from netplan.graph.augmenting_paths import NONE
from netplan.graph.compiled_cut import CompiledFlow, Question
from netplan.graph.grouping import grouped
from netplan.graph.minimum_cut import INFINITE
from netplan.network.model import Network

__all__ = ["GroupFlow", "GroupSide", "SourceArc", "price_of"]

SourceArc = tuple[int, int]
"""Group that the hit is joined to, and what parts it from there [price units]."""


@dataclass(frozen=True, slots=True, eq=False)
class GroupSide:
    """The groups inside the least ring.

    Parameters
    ----------
    value : int
        Of the cut [price units].
    groups : int64 array
        Inside the ring, ascending.
    looked_at : int64 array
        All groups that the search read: a change anywhere else changes nothing.
    """

    value: int
    groups: Ints
    looked_at: Ints


def price_of(seconds: int) -> int:
    """Return the price of a stop [price units]; `INFINITE` where none can go."""
    return INFINITE if seconds >= INFINITE else seconds * SECOND


class GroupFlow:
    """A `RingGraph` as the arrays of `CompiledFlow`; arcs 2 r and 2 r + 1 run along piece ``pieces[r]``.

    Parameters
    ----------
    network : Network
    graph : RingGraph
    limit : int
        A stop that takes longer is none [s].
    meter : int
        Price of a meter inside the ring [price units].
    """

    def __init__(self, network: Network, graph: RingGraph, limit: int = INFINITE, meter: int = 1) -> None:
        count = len(graph.meters)
        self.source: Final = count
        self.pieces = np.unique(graph.piece)
        one = graph.group[network.pieces.from_node[self.pieces]].astype(np.int64)
        two = graph.group[network.pieces.to_node[self.pieces]].astype(np.int64)
        self.ends = np.column_stack([one, two])
        seconds = graph.seconds[self.pieces]
        price = np.where(seconds > limit, INFINITE, seconds * SECOND)
        tails = self.ends.ravel()
        self._start, self._leaving = grouped(tails, count + 1, np.arange(len(tails)))
        first = np.full(count + 1, NONE, dtype=np.int64)
        has_any = self._start[1:] > self._start[:-1]
        first[has_any] = self._leaving[self._start[:-1][has_any]]
        following = np.full(len(tails), NONE, dtype=np.int64)
        together = tails[self._leaving[1:]] == tails[self._leaving[:-1]]
        following[self._leaving[:-1][together]] = self._leaving[1:][together]
        sink = np.minimum(meter * graph.meters + SUPPLY * graph.supplies, INFINITE - 1)
        self._sink = np.append(sink, 0).astype(np.int64)
        end = np.column_stack([two, one]).ravel()
        self.price = price.astype(np.int64)
        self._flow = CompiledFlow(first, following, end, np.repeat(self.price, 2), self._sink)
        self._plain_sink = self._sink.copy()
        self._held = np.zeros(0, dtype=np.int64)

    def row_of(self, piece: int) -> int:
        """Return the row of a piece in `pieces`; -1 where no stop on it parts two groups."""
        row = int(np.searchsorted(self.pieces, piece))
        return row if row < len(self.pieces) and self.pieces.item(row) == piece else -1

    def hold_outside(self, groups: Ints) -> None:
        """Keep some groups out of every ring from now on; none gives them all back."""
        if groups is not self._held:
            self._sink[self._held] = self._plain_sink[self._held]
            self._sink[groups] = INFINITE
            self._held = groups

    def hold_also(self, group: int) -> None:
        """Keep one group more out of every ring."""
        self._sink[group] = INFINITE
        self._held = np.append(self._held, group)

    def least(
        self, sources: Iterable[SourceArc], prices: Mapping[int, int], without: Iterable[int] = ()
    ) -> GroupSide | None:
        """Return the least ring round a hit; of those as good the one nearest to it.

        None where what is held outside is joined to the hit by pieces without a stop.

        Parameters
        ----------
        sources : iterable of (int, int)
            What the hit is joined to.
        prices : mapping of int to int
            Pieces whose stop is priced otherwise than in the graph [price units].
        without : iterable of int
            Pieces that are not there.
        """
        end: list[int] = []
        capacity: list[int] = []
        own: dict[int, list[int]] = {self.source: []}
        gone: set[int] = set()
        base = self._flow.count

        def join(tail: int, head: int, price: int) -> None:
            arc = base + len(end)
            end.extend((head, tail))
            capacity.extend((price, price))
            own.setdefault(tail, []).append(arc)
            own.setdefault(head, []).append(arc + 1)

        for group, price in sources:
            join(self.source, group, price)
        left_out = set(without)
        for piece in sorted({*prices, *left_out}):
            row = self.row_of(piece)
            if row < 0:
                continue
            one, two = self.ends[row].tolist()
            gone.update((2 * row, 2 * row + 1))
            own.setdefault(one, [])
            own.setdefault(two, [])
            if piece not in left_out:
                join(one, two, prices[piece])
        nodes = sorted(own)
        leaving: list[int] = []
        start = [0]
        for node in nodes:
            arcs = self._leaving[self._start[node] : self._start[node + 1]].tolist()
            leaving += [arc for arc in arcs if arc not in gone]
            leaving += own[node]
            start.append(len(leaving))
        rows = np.array(nodes, dtype=np.int64)
        question = Question(
            self.source,
            np.array(end, dtype=np.int64),
            np.array(capacity, dtype=np.int64),
            rows,
            self._sink[rows],
            np.array(start, dtype=np.int64),
            np.array(leaving, dtype=np.int64),
        )
        side = self._flow.least_cut(question, lambda _node: False)
        if side is None:
            return None
        groups = np.array(sorted(set(side.nodes) - {self.source}), dtype=np.int64)
        return GroupSide(side.value, groups, side.looked_at)
