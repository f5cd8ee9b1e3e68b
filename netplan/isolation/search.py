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

from netplan.isolation.mincut import INFINITE, Solution, least_cut, next_cut
from netplan.isolation.neighbourhood import SOURCE, Edge, Neighbourhood, Ring
from netplan.isolation.sites import Choice

__all__ = ["Family", "Found", "Search"]


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
    inner : tuple of Edge
        Edges wholly in the zone.
    """

    value_minor: int
    zone: frozenset[int]
    stops: tuple[tuple[Edge, bool, Choice], ...]
    inner: tuple[Edge, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """A family with its least zone, as found in one size of the neighbourhood."""

    family: Family
    ring: Ring
    flow: Solution
    value: int
    zone: frozenset[int]

    @property
    def at_rim(self) -> bool:
        return not self.ring.rim.isdisjoint(self.flow.side)


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

    def run(self, families: list[Family]) -> Iterator[Found]:
        """Yield zones with methods in order of price; each zone with each choice of methods once."""
        self.near.grow_to_suffice()
        for family in families:
            self._try(family, 0, None)
        while self.heap:
            value, _, _, item = heapq.heappop(self.heap)
            if isinstance(item, _Ready):
                yield item.found
                self._next_methods(item)
            elif isinstance(item, _Split):
                self._split(item.solved)
            elif item.at_rim:
                if item.ring is self.near.ring():
                    self.near.grow(2 * self.near.size)
                self._try(item.family, value, None)
            else:
                if item.family.wanted <= item.zone:
                    self._push_zone(item.ring, item.zone)
                self._push(value, 2, _Split(item))

    def _try(self, family: Family, at_least: int, before: _Solved | None) -> None:
        """Solve a family, from the flow of the one it was split from where there is one, and queue it."""
        ring = self.near.ring() if before is None else before.ring
        if family.wanted and not self._reachable(ring, family):
            return
        if self.max_stops and self._sure_stops(ring, family) > self.max_stops:
            return
        inside = family.inside | family.wanted
        if before is None:
            flow = least_cut(ring.graph, inside, family.outside)
        else:
            flow = next_cut(before.flow, inside, family.outside)
        if flow is not None:
            zone = flow.side if not family.wanted else self._connected(ring, flow.side)
            zone = frozenset(node for node in zone if node < len(self.near.supernode))
            value = max(flow.value + ring.constant_minor, at_least)
            self._push(value, 1, _Solved(family, ring, flow, value, zone))

    def _push(self, value: int, kind: int, item: _Ready | _Solved | _Split) -> None:
        heapq.heappush(self.heap, (value, kind, next(self.order), item))

    @staticmethod
    def _sure_stops(ring: Ring, family: Family) -> int:
        return sum(
            len(edges)
            for node in family.inside
            for other, edges in ring.adjacent.get(node, {}).items()
            if other in family.outside
        )

    @staticmethod
    def _reachable(ring: Ring, family: Family) -> bool:
        """Whether what must be reached still can be; beyond the rim anything may."""
        seen, frontier = set(family.inside), list(family.inside)
        while frontier:
            node = frontier.pop()
            if node in ring.rim:
                return True
            for other in ring.adjacent.get(node, {}):
                if other not in seen and other not in family.outside:
                    seen.add(other)
                    frontier.append(other)
        return family.wanted <= seen

    @staticmethod
    def _connected(ring: Ring, side: frozenset[int]) -> frozenset[int]:
        seen, frontier = {SOURCE}, [SOURCE]
        while frontier:
            for other in ring.adjacent.get(frontier.pop(), {}):
                if other in side and other not in seen:
                    seen.add(other)
                    frontier.append(other)
        return frozenset(seen)

    def _split(self, solved: _Solved) -> None:
        """Split the rest of a family round its least zone."""
        ring, wanted = solved.ring, solved.family.wanted
        inside, outside = set(solved.family.inside), set(solved.family.outside)
        for node in self._outward(ring, inside, solved.zone):
            if node not in wanted and self._may_be_cut(ring, inside, node):
                self._try(
                    Family(frozenset(inside), frozenset(outside | {node}), wanted), solved.value, solved
                )
            inside.add(node)
        beyond = {other for node in inside for other in ring.adjacent.get(node, {})} - inside - outside
        for node in sorted(beyond):
            if not self.near.barred(self.near.supernode[node]):
                self._try(
                    Family(frozenset(inside | {node}), frozenset(outside), wanted), solved.value, solved
                )
            outside.add(node)

    @staticmethod
    def _outward(ring: Ring, inside: set[int], zone: frozenset[int]) -> list[int]:
        order: list[int] = []
        seen, frontier = set(inside), sorted(inside)
        while frontier:
            found = sorted(
                {other for node in frontier for other in ring.adjacent.get(node, {}) if other in zone} - seen
            )
            order += found
            seen.update(found)
            frontier = found
        return order

    @staticmethod
    def _may_be_cut(ring: Ring, inside: set[int], node: int) -> bool:
        return all(
            edge.cost(edge.v == node) < INFINITE
            for other, edges in ring.adjacent[node].items()
            if other in inside
            for edge in edges
        )

    def _push_zone(self, ring: Ring, zone: frozenset[int]) -> None:
        stops, inner = _stops_of(ring, zone), _inner_of(ring, zone)
        if self.max_stops and len(stops) > self.max_stops:
            return
        options = [self.near.choices(edge, at_u) for edge, at_u in stops]
        sure = self._zone_minor(zone, inner)
        sure += sum(edge.stranded_u if at_u else edge.stranded_v for edge, at_u in stops)
        picked = tuple((edge, at_u, some[0]) for (edge, at_u), some in zip(stops, options, strict=True))
        found = Found(sure + sum(choice.cost_minor for _, _, choice in picked), zone, picked, inner)
        self._push(found.value_minor, 0, _Ready(found, options, 0, tuple([0] * len(picked))))

    def _zone_minor(self, zone: frozenset[int], inner: tuple[Edge, ...]) -> int:
        """Return the price of what lies wholly in a zone [minor units]: gas, and customers once each."""
        near, ground = self.near, self.near.ground
        members = [*near.work.supernodes, *(near.supernode[node] for node in zone if node != SOURCE)]
        total = near.work_gas_minor + int(ground.node_minor[members].sum())
        shared: set[int] = set()
        for supernode in members:
            if ground.has_several[supernode]:
                customers = near.index.customers_at(supernode)
                shared.update(customers[near.index.several[customers]].tolist())
        total += sum(int(ground.off_minor[row]) for row in shared)
        return total + sum(edge.gas_minor for edge in inner)

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
                self._push(
                    value, 0, _Ready(Found(value, found.zone, stops, found.inner), ready.options, stop, ranks)
                )


def _stops_of(ring: Ring, zone: frozenset[int]) -> list[tuple[Edge, bool]]:
    """Return the edges with one end in a zone, and whether that end is u."""
    found: list[tuple[Edge, bool]] = []
    for node in zone:
        for other, edges in ring.adjacent.get(node, {}).items():
            if other not in zone:
                found.extend((edge, edge.u == node) for edge in edges)
    return sorted(found, key=lambda stop: (stop[0].run, stop[0].u, stop[0].v, stop[1]))


def _inner_of(ring: Ring, zone: frozenset[int]) -> tuple[Edge, ...]:
    """Return the edges that lie wholly in a zone."""
    found: list[Edge] = []
    for node in sorted(zone):
        found += ring.loops.get(node, ())
        for other, edges in ring.adjacent.get(node, {}).items():
            if other > node and other in zone:
                found += edges
    return tuple(found)
