"""Cuts in order of price: least cuts of ever smaller families of zones that share none.

A family is given by two sets of local nodes: those certainly in the zone (connected with the work) and those
certainly outside. Its least zone is one minimum cut. Taking that zone's nodes in one by one, then holding its
neighbours out one by one, splits the rest of the family into families that share no zone and miss none.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.mincut import INFINITE, least_cut
from netplan.isolation.neighbourhood import SOURCE, Edge, Neighbourhood
from netplan.isolation.sites import Choice

__all__ = ["Family", "Found", "Search"]

FIRST_NODES = 32


@dataclass(frozen=True, slots=True)
class Family:
    """A family of zones: local nodes in, out, and nodes that must still be reached (forced stops)."""

    inside: frozenset[int]
    outside: frozenset[int]
    wanted: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A zone with one method at each of its stops.

    Parameters
    ----------
    value_minor : int
        What it costs at least [minor units].
    zone : frozenset of int
        Local nodes, `SOURCE` included.
    stops : tuple of (Edge, zone at u, Choice)
        In the order of the edges.
    """

    value_minor: int
    zone: frozenset[int]
    stops: tuple[tuple[Edge, bool, Choice], ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    family: Family
    value: int
    zone: frozenset[int]
    rim: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Ready:
    """A zone with methods, waiting for its turn; `last` is the stop whose method was moved last."""

    found: Found
    options: list[tuple[Choice, ...]]
    last: int
    ranks: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """A solved family whose rest is still to be split."""

    solved: _Solved


class Search:
    """Best-first search over families of zones.

    Parameters
    ----------
    near : Neighbourhood
    max_stops : int
        Most stops; 0 means no limit.
    """

    def __init__(self, near: Neighbourhood, max_stops: int) -> None:
        self.near, self.max_stops = near, max_stops
        self.heap: list[tuple[int, int, int, _Ready | _Solved | _Split]] = []
        self.order = count()
        self.adjacent: dict[int, dict[int, list[Edge]]] = {}
        self._linked = 0

    def link(self) -> None:
        """Take new edges of the neighbourhood into the adjacency."""
        for edge in self.near.edges[self._linked :]:
            if edge.u != edge.v:
                self.adjacent.setdefault(edge.u, {}).setdefault(edge.v, []).append(edge)
                self.adjacent.setdefault(edge.v, {}).setdefault(edge.u, []).append(edge)
        self._linked = len(self.near.edges)

    def solve(self, family: Family) -> _Solved | None:
        """Return the least zone of a family, or None when it holds none."""
        if family.wanted and not self._reachable(family):
            return None
        if self.max_stops and self._sure_stops(family) > self.max_stops:
            return None
        hold = (family.inside | family.wanted) - {SOURCE}
        cut = least_cut(
            self.near.arcs(),
            np.fromiter(sorted(hold), np.int64, len(hold)),
            np.fromiter(sorted(family.outside), np.int64, len(family.outside)),
        )
        if cut is None:
            return None
        value, side = cut
        side = side[: len(self.near.supernode)]
        rim = bool((side & self.near.rim()).any())
        zone = self._connected(side)
        return _Solved(family, value + self.near.constant_minor, zone, rim)

    def _sure_stops(self, family: Family) -> int:
        return sum(
            len(edges)
            for node in family.inside
            for other, edges in self.adjacent.get(node, {}).items()
            if other in family.outside
        )

    def _reachable(self, family: Family) -> bool:
        seen, frontier = set(family.inside), list(family.inside)
        while frontier:
            for other in self.adjacent.get(frontier.pop(), {}):
                if other not in seen and other not in family.outside:
                    seen.add(other)
                    frontier.append(other)
        return family.wanted <= seen or not self.near.complete

    def _connected(self, side: NDArray[np.bool_]) -> frozenset[int]:
        seen, frontier = {SOURCE}, [SOURCE]
        while frontier:
            for other in self.adjacent.get(frontier.pop(), {}):
                if side[other] and other not in seen:
                    seen.add(other)
                    frontier.append(other)
        return frozenset(seen)

    def _push(self, value: int, kind: int, item: _Ready | _Solved | _Split) -> None:
        heapq.heappush(self.heap, (value, kind, next(self.order), item))

    def split(self, solved: _Solved) -> None:
        """Split the rest of a family round its least zone."""
        inside, outside = set(solved.family.inside), set(solved.family.outside)
        wanted = solved.family.wanted
        for node in self._outward(inside, solved.zone):
            if self._may_be_cut(inside, node) and node not in wanted:
                self._try(Family(frozenset(inside), frozenset(outside | {node}), wanted), solved.value)
            inside.add(node)
        beyond = {other for node in inside for other in self.adjacent.get(node, {})} - inside - outside
        for node in sorted(beyond):
            if not self.near.barred(self.near.supernode[node]):
                self._try(Family(frozenset(inside | {node}), frozenset(outside), wanted), solved.value)
            outside.add(node)

    def _outward(self, inside: set[int], zone: frozenset[int]) -> list[int]:
        order: list[int] = []
        seen, frontier = set(inside), sorted(inside)
        while frontier:
            found = sorted(
                {other for node in frontier for other in self.adjacent.get(node, {}) if other in zone} - seen
            )
            order += found
            seen.update(found)
            frontier = found
        return order

    def _may_be_cut(self, inside: set[int], node: int) -> bool:
        return all(
            edge.cost(edge.v == node) < INFINITE
            for other, edges in self.adjacent[node].items()
            if other in inside
            for edge in edges
        )

    def _try(self, family: Family, at_least: int) -> None:
        solved = self.solve(family)
        if solved is not None:
            self._push(max(solved.value, at_least), 1, solved)

    def stops_of(self, zone: frozenset[int]) -> list[tuple[Edge, bool]]:
        """Return the edges with one end in a zone, and whether that end is u."""
        found: list[tuple[Edge, bool]] = []
        for node in zone:
            for other, edges in self.adjacent.get(node, {}).items():
                if other not in zone:
                    found.extend((edge, edge.u == node) for edge in edges)
        return sorted(found, key=lambda stop: (stop[0].run, stop[0].u, stop[0].v, stop[1]))

    def zone_minor(self, zone: frozenset[int]) -> int:
        """Return the price of what lies wholly in a zone [minor units]: gas, and customers once each."""
        near, total = self.near, 0
        rows: set[int] = set()
        for supernode, node in near.local.items() if len(zone) > 64 else self._members(zone):
            if node in zone:
                total += near.sites.gas_minor(float(near.index.super_volume_m3[supernode]))
                rows.update(near.index.customers_at(supernode).tolist())
        total += sum(int(near.off_minor[row]) for row in rows)
        for node in zone:
            for other, edges in self.adjacent.get(node, {}).items():
                if other in zone and other > node:
                    total += sum(edge.gas_minor for edge in edges)
        return total + self._loops(zone)

    def _members(self, zone: frozenset[int]) -> list[tuple[int, int]]:
        near = self.near
        members = [(supernode, SOURCE) for supernode in near.work.supernodes]
        return members + [(near.supernode[node], node) for node in sorted(zone) if node != SOURCE]

    def _loops(self, zone: frozenset[int]) -> int:
        return sum(edge.gas_minor for edge in self.near.edges if edge.u == edge.v and edge.u in zone)

    def run(self, families: list[Family]) -> Iterator[Found]:
        """Yield zones with methods in order of price; each zone with each choice of methods once."""
        if self.near.size < FIRST_NODES:
            self.near.grow(FIRST_NODES)
        self.link()
        for family in families:
            self._try(family, 0)
        while self.heap:
            value, _, _, item = heapq.heappop(self.heap)
            if isinstance(item, _Ready):
                yield item.found
                self._next_methods(item)
            elif isinstance(item, _Split):
                self.split(item.solved)
            elif item.rim and not self.near.complete:
                self.near.grow(2 * self.near.size)
                self.link()
                self._try(item.family, value)
            else:
                if item.family.wanted <= item.zone:
                    self._push_zone(item.zone)
                self._push(value, 2, _Split(item))

    def _push_zone(self, zone: frozenset[int]) -> None:
        stops = self.stops_of(zone)
        if self.max_stops and len(stops) > self.max_stops:
            return
        options = [edge.from_u if at_u else edge.from_v for edge, at_u in stops]
        sure = self.zone_minor(zone) + sum(
            edge.stranded_u if at_u else edge.stranded_v for edge, at_u in stops
        )
        picked = tuple((edge, at_u, some[0]) for (edge, at_u), some in zip(stops, options, strict=True))
        found = Found(sure + sum(choice.cost_minor for _, _, choice in picked), zone, picked)
        self._push(found.value_minor, 0, _Ready(found, options, 0, tuple([0] * len(picked))))

    def _next_methods(self, ready: _Ready) -> None:
        """Move one stop on to its next method; stops before the one last moved stay, so none comes twice."""
        for stop in range(ready.last, len(ready.ranks)):
            rank = ready.ranks[stop] + 1
            if rank < len(ready.options[stop]):
                found = ready.found
                edge, at_u, before = found.stops[stop]
                choice = ready.options[stop][rank]
                stops = (*found.stops[:stop], (edge, at_u, choice), *found.stops[stop + 1 :])
                value = found.value_minor + choice.cost_minor - before.cost_minor
                ranks = (*ready.ranks[:stop], rank, *ready.ranks[stop + 1 :])
                self._push(value, 0, _Ready(Found(value, found.zone, stops), ready.options, stop, ranks))
