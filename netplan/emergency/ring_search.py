"""The ring that takes least time: a minimum cut between what was hit and every station, priced in seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags
from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.emergency_tables import EmergencyTables, PlacedStop
from netplan.emergency.hit_places import HitPlace
from netplan.emergency.ring_graph import RingGraph
from netplan.graph.minimum_cut import INFINITE, UNEXPLORED, FlowGraph, least_cut

__all__ = ["RingCut", "RingQuestion", "RingStopPlace"]

SECOND: Final = 1 << 20
"""Price of a second; a meter inside the ring costs 1, so that of rings as quick the one with fewer meters is
taken (own) [price units]."""
SUPPLY: Final = 1 << 40
"""Price of a station inside the ring: as much as twelve days of seconds, so that a station is shut only where
no stop parts it from the hit (own) [price units]."""
SOURCE: Final = 0
SAME_M: Final = 1e-3
"""Places on a pipe no farther apart are one (own) [m]."""


@dataclass(frozen=True, slots=True)
class RingStopPlace:
    """A stop of a ring.

    Parameters
    ----------
    piece : int
    seconds : int
        From arriving to shut [s].
    method : int
        Row of the method in the rules.
    chainage_m : float
        Of the valve, or of the barrier nearest the hit [m].
    """

    piece: int
    seconds: int
    method: int
    chainage_m: float


@dataclass(frozen=True, slots=True, eq=False)
class RingCut:
    """Stops that part what was hit from every station but some.

    Parameters
    ----------
    stops : tuple of RingStopPlace
        By piece and chainage.
    inside : bool array, shape (nodes,)
        Nodes inside the ring.
    seconds : int
        Sum of the stops [s].
    supplies : int
        Stations and injections inside, which must be shut.
    """

    stops: tuple[RingStopPlace, ...]
    inside: Flags
    seconds: int
    supplies: int

    @property
    def longest(self) -> int:
        """The longest of the stops [s]; 0 without one."""
        return max((stop.seconds for stop in self.stops), default=0)


@dataclass(frozen=True, slots=True)
class _HalfPiece:
    """What is left of a piece that was hit, on one side of the hit; piece -1: its node may be hit itself."""

    piece: int
    node: int
    stop: PlacedStop | None


class RingQuestion:
    """One emergency: what was hit, and the stops that may be used.

    Parameters
    ----------
    tables : EmergencyTables
    graph : RingGraph
        `EmergencyTables.by_valves` or `by_any_method`.
    hits : sequence of HitPlace
        Mains; the ring holds all of them.
    keep_away_m : float
        No stop within this straight distance of a hit [m].
    valves_only : bool
        Whether only valves may be shut.
    services : sequence of HitPlace
        Services that may be hit: they hang inside the ring, and stops keep away from them too.
    """

    def __init__(
        self,
        tables: EmergencyTables,
        graph: RingGraph,
        hits: Sequence[HitPlace],
        keep_away_m: float,
        *,
        valves_only: bool,
        services: Sequence[HitPlace] = (),
    ) -> None:
        self.tables, self.graph, self.hits, self.valves_only = tables, graph, tuple(hits), valves_only
        self._keep_away = tables.keep_away((*hits, *services), keep_away_m)
        self._near = self._stops_nearby()
        self._halves = self._split()
        self._hit_pieces = frozenset(half.piece for half in self._halves) - {-1}

    def least_sum(
        self,
        failed: frozenset[int] = frozenset(),
        most_seconds: int | None = None,
        *,
        meters_per_minute: float | None = None,
    ) -> RingCut:
        """Return the ring of least sum of seconds; of those the one nearest to the hit.

        Parameters
        ----------
        failed : frozenset of int
            Pieces on which no stop holds: valves that failed.
        most_seconds : int, optional
            No stop takes longer than this [s].
        meters_per_minute : float, optional
            Meters fewer inside the ring that are worth a minute more; none are by default [1/min].
        """
        meter = 1
        if meters_per_minute is not None:
            meter = max(round(SECOND * SECONDS_PER_MINUTE / meters_per_minute), 1)
        limit = INFINITE if most_seconds is None else most_seconds
        search = _Search(self, failed, limit, meter)
        flow = least_cut(search.flow, (), (), search.explore)
        if flow is None:  # every capacity to the sink is finite
            raise AssertionError("a ring that shuts every station always exists")
        return search.ring(flow.side)

    def least_longest(self, failed: frozenset[int] = frozenset()) -> RingCut:
        """Return the ring whose longest stop is shortest, and of those the one of least sum.

        It shuts no more stations than the ring of least sum does.
        """
        best = self.least_sum(failed)
        values = [0, *self.times_between(0, best.longest), best.longest]
        low, high = 0, len(values) - 1
        while low < high:
            middle = (low + high) // 2
            found = self.least_sum(failed, values[middle])
            if found.supplies <= best.supplies:
                best, high = found, middle
            else:
                low = middle + 1
        return best

    def times_between(self, above: int, below: int) -> list[int]:
        """Return the different times of a stop between two of them, both left out, ascending [s]."""
        near = {stop.seconds for stop in self._near.values() if stop is not None}
        near |= {half.stop.seconds for half in self._halves if half.stop is not None}
        return sorted(time for time in self.graph.times | near if above < time < below)

    def seconds_of(self, piece: int) -> int:
        """Return how long a stop on a piece takes that was not hit [s]; `INFINITE` where none can go."""
        if piece in self._near:
            stop = self._near[piece]
            return INFINITE if stop is None else stop.seconds
        return self.graph.seconds.item(piece)

    def placed(self, piece: int, *, inside_low: bool) -> RingStopPlace:
        """Return the stop on a piece that was not hit, the ring at its lower or its higher chainage."""
        pieces = self.tables.network.pieces
        if pieces.valve.item(piece) >= 0:
            seconds = self.graph.seconds.item(piece)
            method = int(self.tables.seconds.method[piece])
            return RingStopPlace(piece, seconds, method, float(pieces.from_m[piece]))
        spans = self._keep_away.spans.get(pieces.pipe.item(piece), ())
        stop = self.tables.stop_on(piece, barred=spans, from_low=inside_low)
        if stop is None:
            raise AssertionError(f"piece {piece} has no room for the stop that was chosen on it")
        return RingStopPlace(piece, stop.seconds, stop.method, stop.chainage_m)

    def halves(self) -> Sequence[_HalfPiece]:
        """Return what is left of the pieces that were hit, on both sides of each hit."""
        return self._halves

    def was_hit(self, piece: int) -> bool:
        """Return whether a piece was hit: its two halves stand for it."""
        return piece in self._hit_pieces

    def _stops_nearby(self) -> Mapping[int, PlacedStop | None]:
        """Return the stops of the pieces that the keep-away distance touches."""
        pieces, seconds = self.tables.network.pieces, self.graph.seconds
        found: dict[int, PlacedStop | None] = {}
        for pipe, spans in self._keep_away.spans.items():
            for piece in pieces.rows_of(pipe):
                from_m, to_m = pieces.from_m.item(piece), pieces.to_m.item(piece)
                if seconds.item(piece) >= INFINITE or not any(
                    low <= to_m and from_m <= high for low, high in spans
                ):
                    continue
                is_valve = pieces.valve.item(piece) >= 0
                found[piece] = None if is_valve else self.tables.stop_on(piece, barred=spans)
        return found

    def _split(self) -> tuple[_HalfPiece, ...]:
        """Return what is left of every piece that a hit may lie on; a node that it may lie on is inside."""
        pieces = self.tables.network.pieces
        found: dict[tuple[int, int], _HalfPiece] = {}
        for pipe, lengths in sorted(self._lengths_hit().items()):
            for piece in pieces.rows_of(pipe):
                from_m, to_m = pieces.from_m.item(piece), pieces.to_m.item(piece)
                ends = pieces.from_node.item(piece), pieces.to_node.item(piece)
                own = [
                    (low, high) for low, high in lengths if low <= to_m + SAME_M and from_m - SAME_M <= high
                ]
                if not own:
                    continue
                low_m, high_m = min(low for low, _ in own), max(high for _, high in own)
                touched = low_m <= from_m + SAME_M, high_m >= to_m - SAME_M
                if pieces.valve.item(piece) >= 0 or high_m <= from_m + SAME_M or low_m >= to_m - SAME_M:
                    # A valve, which gas may escape on both sides of, or a piece that is met at its end alone.
                    for node, is_hit in zip(ends, touched, strict=True):
                        if is_hit:
                            found[(-1, node)] = _HalfPiece(-1, node, None)
                    continue
                for side, (node, low, high) in enumerate(
                    ((ends[0], -np.inf, low_m), (ends[1], high_m, np.inf))
                ):
                    stop = None
                    if not touched[side]:
                        stop = self._stop_beside(piece, low, high, from_low=side == 1)
                    found[(piece, side - 2)] = _HalfPiece(piece, node, stop)
        return tuple(found[key] for key in sorted(found))

    def _lengths_hit(self) -> Mapping[int, list[tuple[float, float]]]:
        found: dict[int, list[tuple[float, float]]] = {}
        for hit in self.hits:
            found.setdefault(hit.pipe, []).extend(hit.reaches)
        return found

    def _stop_beside(self, piece: int, low_m: float, high_m: float, *, from_low: bool) -> PlacedStop | None:
        """Return the stop on a piece that was hit, beside the hit."""
        pieces = self.tables.network.pieces
        if self.valves_only or not pieces.is_open.item(piece):
            return None
        spans = self._keep_away.spans.get(pieces.pipe.item(piece), ())
        return self.tables.stop_on(piece, low_m, high_m, spans, from_low=from_low)


class _Search:
    """The growing graph of one minimum cut: node 0 is the hit, the others are groups of nodes."""

    def __init__(self, question: RingQuestion, failed: frozenset[int], limit: int, meter: int) -> None:
        self.question, self.failed, self.limit, self.meter = question, failed, limit, meter
        self.flow = FlowGraph()
        self.flow.add_node(0)
        self._node_of: dict[int, int] = {}
        self._group_of: list[int] = [-1]
        self._joined: set[int] = set()
        graph = question.graph
        for half in question.halves():
            seconds = INFINITE if half.stop is None else half.stop.seconds
            price = self._price(half.piece, seconds)
            self.flow.add_edge(SOURCE, self._node(graph.group.item(half.node)), price, price)

    def _price(self, piece: int, seconds: int) -> int:
        if piece in self.failed or seconds > self.limit or seconds >= INFINITE:
            return INFINITE
        return seconds * SECOND

    def _node(self, group: int) -> int:
        if group not in self._node_of:
            self._node_of[group] = self.flow.add_node()
            self._group_of.append(group)
        return self._node_of[group]

    def explore(self, node: int) -> None:
        """Take in all pieces that leave a group, and what the group itself costs inside the ring."""
        if self.flow.sink[node] != UNEXPLORED:
            return
        graph, group = self.question.graph, self._group_of[node]
        for piece, other in graph.leaving(group):
            if piece in self._joined or self.question.was_hit(piece):
                continue
            self._joined.add(piece)
            price = self._price(piece, self.question.seconds_of(piece))
            self.flow.add_edge(node, self._node(other), price, price)
        price = self.meter * graph.meters.item(group) + SUPPLY * graph.supplies.item(group)
        self.flow.sink[node] = min(price, INFINITE - 1)

    def ring(self, side: frozenset[int]) -> RingCut:
        """Return the ring whose inside is a set of nodes of the graph."""
        question, graph = self.question, self.question.graph
        groups = {self._group_of[node] for node in side if node != SOURCE}
        pieces = question.tables.network.pieces
        stops = []
        for half in question.halves():
            if graph.group.item(half.node) not in groups and half.stop is not None:
                stop = half.stop
                stops.append(RingStopPlace(half.piece, stop.seconds, stop.method, stop.chainage_m))
        for group in sorted(groups):
            for piece, other in graph.leaving(group):
                if other not in groups and not question.was_hit(piece):
                    inside_low = graph.group.item(pieces.from_node.item(piece)) == group
                    stops.append(question.placed(piece, inside_low=inside_low))
        stops.sort(key=lambda stop: (stop.piece, stop.chainage_m))
        chosen = np.zeros(len(graph.meters), dtype=np.bool_)
        chosen[sorted(groups)] = True
        supplies = int(graph.supplies[chosen].sum())
        return RingCut(tuple(stops), chosen[graph.group], sum(stop.seconds for stop in stops), supplies)
