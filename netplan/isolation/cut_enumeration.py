"""Cuts in order of price: least cuts of ever smaller families of zones that share none.

A family is given by two sets of local nodes: those certainly in the zone (connected with the work) and those
certainly outside. Its least zone is one minimum cut. Taking that zone's nodes in one by one, then holding its
neighbours out one by one, splits the rest of the family into families that share no zone and miss none.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count
from typing import Final

from netplan.graph.minimum_cut import INFINITE, MaximumFlow, least_cut, next_cut
from netplan.isolation.local_edge import LocalEdge
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.placement import Choice
from netplan.isolation.shared_cut import shared_cut
from netplan.isolation.zone_meters import ZoneMeters

__all__ = ["CutEnumeration", "Family", "Found"]

MOST_SPLIT: Final = 2_000
"""Families of zones split in a row without a zone before a search gives up (own): a limit of stops, or
ordered stops that no zone reaches, throw zones away without end [-]."""


@dataclass(frozen=True, slots=True)
class Family:
    """A family of zones: local nodes in, out, and nodes that must still be reached (forced stops)."""

    inside: frozenset[int]
    outside: frozenset[int]
    wanted: frozenset[int] = frozenset()


_WHOLE = Family(frozenset({SOURCE}), frozenset())


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A zone with one method at each of its stops.

    Parameters
    ----------
    value_minor : int
        What it costs at least [minor units].
    zone : frozenset of int
        Local nodes, `SOURCE` included.
    stops : tuple of (LocalEdge, zone at u, Choice)
        In the order of the edges.
    inner : tuple of LocalEdge
        Edges wholly in the zone.
    """

    value_minor: int
    zone: frozenset[int]
    stops: tuple[tuple[LocalEdge, bool, Choice], ...]
    inner: tuple[LocalEdge, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """A family with its least zone, and the flow in the graph where it was found there."""

    family: Family
    flow: MaximumFlow | None
    value: int
    zone: frozenset[int]


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


class CutEnumeration:
    """Best-first search over families of zones.

    Parameters
    ----------
    near : LocalGraph
    max_stops : int
        Most stops; 0 means no limit.
    most_split : int, optional
        Families that may be split in a row without a zone of at most so many stops; then `gave_up` is set and
        nothing more comes.
    most_meters : int, optional
        Most meters in a zone; no limit by default.
    """

    def __init__(
        self,
        near: LocalGraph,
        max_stops: int,
        most_split: int = MOST_SPLIT,
        *,
        most_meters: int | None = None,
    ) -> None:
        self.near, self.max_stops, self.most_split = near, max_stops, most_split
        self.meters = None if most_meters is None else ZoneMeters(near, most_meters)
        self.gave_up = False
        self.heap: list[tuple[int, int, int, _Ready | _Solved | _Split]] = []
        self.order = count()

    def run(self, families: list[Family]) -> Iterator[Found]:
        """Yield zones with methods in order of price; each zone with each choice of methods once."""
        for family in families:
            if not self._try_first(family):
                self._try(family, 0, None)
        split = 0
        while self.heap:
            value, _, _, item = heapq.heappop(self.heap)
            if isinstance(item, _Ready):
                split = 0
                yield item.found
                self._next_methods(item)
            elif isinstance(item, _Split):
                split += 1
                if split > self.most_split:
                    self.gave_up = True
                    return
                self._split(item.solved)
            else:
                if item.family.wanted <= item.zone:
                    self._push_zone(item.zone)
                self._push(value, 2, _Split(item))

    def _try_first(self, family: Family) -> bool:
        """Queue the least zone of the whole family as found without a graph; False where it must be asked."""
        near = self.near
        if self.max_stops or family != _WHOLE:
            return False
        zone = shared_cut(near)
        if zone is None:
            return False
        self._push(
            zone.value + near.constant_minor,
            1,
            _Solved(family, None, zone.value + near.constant_minor, near.take_in(zone)),
        )
        return True

    def _try(self, family: Family, at_least: int, before: MaximumFlow | None) -> None:
        """Solve a family, from the flow of the one it was split from where there is one, and queue it."""
        near = self.near
        if family.wanted and not self._reachable(family):
            return
        if self.max_stops and self._sure_stops(family) > self.max_stops:
            return
        if self.meters is not None and self.meters.too_many(family.inside):
            return
        inside = family.inside | family.wanted
        if before is None:
            flow = least_cut(near.graph, inside, family.outside, near.explore)
        else:
            flow = next_cut(near.graph, before, inside, family.outside, near.explore)
        if flow is not None:
            zone = flow.side if not family.wanted else self._connected(flow.side)
            zone = frozenset(node for node in zone if node == SOURCE or near.supernode[node] >= 0)
            value = max(flow.value + near.constant_minor, at_least)
            self._push(value, 1, _Solved(family, flow, value, zone))

    def _push(self, value: int, kind: int, item: _Ready | _Solved | _Split) -> None:
        heapq.heappush(self.heap, (value, kind, next(self.order), item))

    def _sure_stops(self, family: Family) -> int:
        return sum(
            len(edges)
            for node in family.inside
            for other, edges in self.near.around(node).items()
            if other in family.outside
        )

    def _reachable(self, family: Family) -> bool:
        """Whether what must be reached still can be; beyond what is explored anything may."""
        near = self.near
        seen, frontier = set(family.inside), list(family.inside)
        while frontier:
            node = frontier.pop()
            if not near.is_explored(node):
                return True
            for other in near.around(node):
                if other not in seen and other not in family.outside:
                    seen.add(other)
                    frontier.append(other)
        return family.wanted <= seen

    def _connected(self, side: frozenset[int]) -> frozenset[int]:
        seen, frontier = {SOURCE}, [SOURCE]
        while frontier:
            for other in self.near.around(frontier.pop()):
                if other in side and other not in seen:
                    seen.add(other)
                    frontier.append(other)
        return frozenset(seen)

    def _split(self, solved: _Solved) -> None:
        """Split the rest of a family round its least zone."""
        near, wanted, flow = self.near, solved.family.wanted, solved.flow
        if flow is None:
            flow = least_cut(near.graph, solved.family.inside, solved.family.outside, near.explore)
        inside, outside = set(solved.family.inside), set(solved.family.outside)
        for node in self._outward(inside, solved.zone):
            if node not in wanted and self._may_be_cut(inside, node):
                self._try(Family(frozenset(inside), frozenset(outside | {node}), wanted), solved.value, flow)
            inside.add(node)
        beyond = {other for node in inside for other in near.around(node)} - inside - outside
        for node in self._sorted(beyond):
            if not near.barred(near.supernode[node]):
                self._try(Family(frozenset(inside | {node}), frozenset(outside), wanted), solved.value, flow)
            outside.add(node)

    def _sorted(self, nodes: Iterable[int]) -> list[int]:
        """Return local nodes in an order that does not depend on when each was met."""
        return sorted(nodes, key=self.near.supernode.__getitem__)

    def _outward(self, inside: set[int], zone: frozenset[int]) -> list[int]:
        order: list[int] = []
        seen, frontier = set(inside), list(inside)
        while frontier:
            found = self._sorted(
                {other for node in frontier for other in self.near.around(node) if other in zone} - seen
            )
            order += found
            seen.update(found)
            frontier = found
        return order

    def _may_be_cut(self, inside: set[int], node: int) -> bool:
        return all(
            edge.cost(edge.v == node) < INFINITE
            for other, edges in self.near.around(node).items()
            if other in inside
            for edge in edges
        )

    def _push_zone(self, zone: frozenset[int]) -> None:
        if self.meters is not None and self.meters.too_many(zone):
            return
        stops, inner = self._stops_of(zone), self._inner_of(zone)
        if self.max_stops and len(stops) > self.max_stops:
            return
        options = [self.near.choices(edge, at_u) for edge, at_u in stops]
        sure = self._zone_minor(zone, inner)
        sure += sum(edge.stranded_u if at_u else edge.stranded_v for edge, at_u in stops)
        picked = tuple((edge, at_u, some[0]) for (edge, at_u), some in zip(stops, options, strict=True))
        found = Found(sure + sum(choice.cost_minor for _, _, choice in picked), zone, picked, inner)
        self._push(found.value_minor, 0, _Ready(found, options, 0, tuple([0] * len(picked))))

    def _stops_of(self, zone: frozenset[int]) -> list[tuple[LocalEdge, bool]]:
        """Return the edges with one end in a zone, and whether that end is u."""
        found: list[tuple[LocalEdge, bool]] = []
        for node in zone:
            for other, edges in self.near.around(node).items():
                if other not in zone:
                    found.extend((edge, edge.u == node) for edge in edges)
        return sorted(found, key=lambda stop: (stop[0].segment, stop[0].u, stop[0].v, stop[1]))

    def _inner_of(self, zone: frozenset[int]) -> tuple[LocalEdge, ...]:
        """Return the edges that lie wholly in a zone."""
        found: list[LocalEdge] = []
        done: set[int] = set()
        for node in self._sorted(zone):
            found += self.near.loops.get(node, ())
            for other, edges in self.near.around(node).items():
                if other in done:
                    found += edges
            done.add(node)
        return tuple(found)

    def _zone_minor(self, zone: frozenset[int], inner: tuple[LocalEdge, ...]) -> int:
        """Return the price of what lies wholly in a zone [minor units]: gas, and customers once each."""
        near, costs = self.near, self.near.costs
        members = [*near.work.supernodes, *(near.supernode[node] for node in zone if node != SOURCE)]
        total = near.work_gas_minor + sum(map(costs.node_minor.item, members))
        shared: set[int] = set()
        for supernode in members:
            if costs.has_several.item(supernode):
                customers = near.index.customers_at(supernode)
                shared.update(customers[near.index.several[customers]].tolist())
        total += sum(map(costs.off_minor.item, shared))
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
