"""What one operable valve more saves: every main asked again, with the valve there, by valves alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.group_flow import GroupFlow, SourceArc, price_of
from netplan.emergency.group_outcome import GroupOutcome, outside_groups
from netplan.emergency.hit_places import HitPlace
from netplan.emergency.mains_question import MainsQuestion, SharedFlows
from netplan.emergency.mains_tables import MainsTables
from netplan.emergency.nearest_rings import NearestRings
from netplan.emergency.ring_graph import RingGraph, graph_of_groups
from netplan.emergency.ring_search import SECOND, SUPPLY
from netplan.emergency.valve_places import ValvePlace, ValveSplits
from netplan.graph.minimum_cut import INFINITE

__all__ = ["ValveGain", "ValveGains", "ValveRing"]

Prices = tuple[tuple[int, int], ...]
Sources = tuple[SourceArc, ...]


class ValveRing(NamedTuple):
    """A ring of valves: its price, seconds, meters without gas, stations to shut."""

    value: int
    seconds: int
    meters: int
    stations: int


@dataclass(frozen=True, slots=True)
class ValveGain:
    """What one valve saves, summed over all mains hit one by one in their middle.

    Parameters
    ----------
    place : ValvePlace
    weight : float
        Price saved times length of main, summed: what places are ranked by [price units * m].
    mains : int
        Mains whose ring is better: fewer stations, else fewer minutes, else fewer meters.
    seconds, meters, stations : int
        Fewer with the valve than without, summed over all mains; below zero where there are more.
    length_m : float
        Of the mains whose ring is better [m].
    seconds_m, meters_m : float
        The same sums weighted by the length of each main [s m], [m].
    """

    place: ValvePlace
    weight: float = 0.0
    mains: int = 0
    seconds: int = 0
    meters: int = 0
    stations: int = 0
    length_m: float = 0.0
    seconds_m: float = 0.0
    meters_m: float = 0.0


class _Hit(NamedTuple):
    """What decides the ring of a main: halves (piece, node), chainage, prices nearby, pipes nearby."""

    question: MainsQuestion
    halves: tuple[tuple[int, int], ...]
    chainage_m: float
    prices: Prices


@dataclass(slots=True, eq=False)
class _Case:
    """Mains that see the same valves from the same group."""

    mains: list[int]
    ring: ValveRing


class _Bench:
    """A graph with its flow and its outcome."""

    def __init__(self, tables: MainsTables, graph: RingGraph, meter: int) -> None:
        self.graph, self.meter = graph, meter
        self.rings = NearestRings(GroupFlow(tables.network, graph, meter=meter), graph, firm=False)
        self.outcome = GroupOutcome(tables, graph)

    def ring(
        self, sources: Iterable[SourceArc], prices: Prices, without: frozenset[int]
    ) -> tuple[ValveRing, frozenset[int]]:
        """Return the least ring, and the groups that its search looked at."""
        sources = tuple(sources)
        side = self.rings.least(list(sources), dict(prices), without)
        graph, groups = self.graph, side.groups
        supplies, inside = int(graph.supplies[groups].sum()), int(graph.meters[groups].sum())
        seconds = (side.value - SUPPLY * supplies - self.meter * inside) // SECOND
        outside = outside_groups(graph, groups) | {group for group, _ in sources}
        loss = self.outcome.loss(groups, outside, without)
        ring = ValveRing(side.value, seconds, loss.meters, len(loss.stations))
        return ring, frozenset(side.looked_at.tolist())


class ValveGains:
    """All mains hit one by one, ready to be asked again with one valve more.

    Parameters
    ----------
    tables : MainsTables
    hits : sequence of HitPlace
        One for each main.
    meter : int
        Price of a meter inside the ring: 1 for rings of least minutes [price units].
    """

    def __init__(self, tables: MainsTables, hits: Iterable[HitPlace], meter: int = 1) -> None:
        self._tables, self._meter = tables, meter
        self._graph = tables.by_valves
        self._seconds = max(round(tables.rules.emergency.minutes_valve * SECONDS_PER_MINUTE), 1)
        self._bench = _Bench(tables, self._graph, meter)
        self.splits = ValveSplits(tables.network, self._graph.seconds)
        self._bridges = frozenset(self.splits.bridges.tolist())
        self._nodes = np.bincount(self._graph.group)
        n_mains = tables.network.pipes.n_mains
        self._length_m: Floats = tables.network.pipes.length_m[:n_mains]
        flows = SharedFlows(tables, self._graph, valves_only=True)
        self._hits: list[_Hit] = []
        self._near_pipe: dict[int, list[int]] = {}
        cases: dict[tuple[Sources, Prices], list[int]] = {}
        for main, hit in enumerate(hits):
            question = MainsQuestion(flows, hit)
            halves = tuple((half.piece, half.node) for half in question.halves())
            prices = tuple(sorted(question.prices().items()))
            self._hits.append(_Hit(question, halves, hit.chainage_m, prices))
            for pipe in question.near_pipes:
                self._near_pipe.setdefault(pipe, []).append(main)
            sources = tuple(sorted({(self._graph.group.item(node), INFINITE) for _, node in halves}))
            cases.setdefault((sources, prices), []).append(main)
        self._looking: dict[int, list[_Case]] = {}
        self.rings: list[ValveRing] = [ValveRing(0, 0, 0, 0)] * len(self._hits)
        for (sources, prices), mains in cases.items():
            ring, looked_at = self._bench.ring(sources, prices, frozenset())
            case = _Case(mains, ring)
            for main in mains:
                self.rings[main] = ring
            for group in looked_at:
                self._looking.setdefault(group, []).append(case)

    def bound(self, place: ValvePlace) -> float:
        """Return what a valve at a place can save at most, weighted by length [price units * m]."""
        if place.piece not in self._bridges:
            return 0.0
        least = price_of(self._seconds)
        group = self._graph.group.item(self._tables.network.pieces.from_node.item(place.piece))
        return sum(
            (case.ring.value - least) * float(self._length_m[case.mains].sum())
            for case in self._looking.get(group, ())
            if case.ring.value > least
        )

    def evenness(self, place: ValvePlace) -> int:
        """Return the nodes on the smaller side of what a valve parts: a guess at what it is worth [-]."""
        if place.piece not in self._bridges:
            return 0
        beyond = len(self.splits.beyond(place.piece))
        group = self._graph.group.item(self._tables.network.pieces.from_node.item(place.piece))
        return min(beyond, self._nodes.item(group) - beyond)

    def gain(self, place: ValvePlace) -> ValveGain:
        """Return what a valve at a place saves: every main that can gain from it is asked again."""
        if self.bound(place) <= 0.0:
            return ValveGain(place)
        return self._summed(place, self._changed(place))

    def _changed(self, place: ValvePlace) -> Iterator[tuple[int, ValveRing]]:
        """Yield mains with their rings as they would be."""
        network, graph, piece = self._tables.network, self._graph, place.piece
        pieces = network.pieces
        pipe = pieces.pipe.item(piece)
        near = {
            main
            for main in self._near_pipe.get(pipe, ())
            if self._hits[main].question.is_near(pipe, place.chainage_m)
        }
        group = graph.group.copy()
        count = len(graph.meters)
        group[self.splits.beyond(piece)] = count
        seconds = graph.seconds.copy()
        seconds[piece] = self._seconds
        bench = _Bench(self._tables, graph_of_groups(network, seconds, group, count + 1), self._meter)
        least = price_of(self._seconds)
        known: dict[tuple[Sources, Prices, bool], ValveRing] = {}
        old = graph.group.item(pieces.from_node.item(piece))
        for case in self._looking.get(old, ()):
            if case.ring.value <= least:
                continue
            for main in case.mains:
                if main in near:
                    continue
                hit = self._hits[main]
                on_it = any(of == piece for of, _ in hit.halves)
                sources = tuple(
                    sorted({self._source(group, place, half, hit.chainage_m) for half in hit.halves})
                )
                key = (sources, hit.prices, on_it)
                if key not in known:
                    without = frozenset((piece,)) if on_it else frozenset()
                    known[key], _ = bench.ring(sources, hit.prices, without)
                yield main, known[key]

    def _source(
        self, group: np.ndarray, place: ValvePlace, half: tuple[int, int], chainage_m: float
    ) -> SourceArc:
        piece, node = half
        between = False
        if piece == place.piece:
            is_low = node == self._tables.network.pieces.from_node.item(piece)
            between = (place.chainage_m < chainage_m) == is_low
        return group.item(node), price_of(self._seconds) if between else INFINITE

    def _summed(self, place: ValvePlace, rings: Iterable[tuple[int, ValveRing]]) -> ValveGain:
        weight = length_m = seconds_m = meters_m = 0.0
        mains = seconds = meters = stations = 0
        for main, after in rings:
            before, own_m = self.rings[main], float(self._length_m[main])
            fewer = before.seconds - after.seconds, before.meters - after.meters
            weight += (before.value - after.value) * own_m
            if after.value < before.value:
                mains, length_m = mains + 1, length_m + own_m
            seconds, meters = seconds + fewer[0], meters + fewer[1]
            stations += before.stations - after.stations
            seconds_m, meters_m = seconds_m + fewer[0] * own_m, meters_m + fewer[1] * own_m
        return ValveGain(place, weight, mains, seconds, meters, stations, length_m, seconds_m, meters_m)
