"""The least cut, then all others in order of price: least cuts of ever smaller families of zones.

A family is given by two sets of local nodes: those certainly in the zone (connected with the work) and those
certainly outside. Its least zone is one minimum cut (`netplan.graph.minimum_cut`); that of an ordinary
question is read off the table that all questions share (`capacity_table`). Taking that zone's nodes in one by
one, then holding its neighbours out one by one, splits the other zones of the family into families that share
no zone and miss none.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Final

import numpy as np

from netplan.graph.minimum_cut import INFINITE, MaximumFlow, least_cut, next_cut
from netplan.isolation.local_graph import SOURCE, LocalGraph
from netplan.isolation.segment_edges import LocalEdge
from netplan.isolation.stop_placement import Choice
from netplan.isolation.zone_meters import ZoneMeters

if TYPE_CHECKING:
    from netplan.graph.compiled_cut import Question, SourceSide
    from netplan.isolation.capacity_table import CapacityTable


__all__ = ["CutEnumeration", "Family", "FoundZone", "shared_cut"]


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
class FoundZone:
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
    """A zone with methods in the queue; `last` is the stop whose method was moved last."""

    found: FoundZone
    options: list[tuple[Choice, ...]]
    last: int
    ranks: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """A solved family that is still to be split."""

    solved: _Solved


class CutEnumeration:
    """Best-first search over families of zones.

    Parameters
    ----------
    local : LocalGraph
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
        local: LocalGraph,
        max_stops: int,
        most_split: int = MOST_SPLIT,
        *,
        most_meters: int | None = None,
    ) -> None:
        self.local, self.max_stops, self.most_split = local, max_stops, most_split
        self.meters = None if most_meters is None else ZoneMeters(local, most_meters)
        self.gave_up = False
        self.heap: list[tuple[int, int, int, _Ready | _Solved | _Split]] = []
        self.tie_breaker = count()

    def run(self, families: list[Family]) -> Iterator[FoundZone]:
        """Yield zones with methods in order of price; each zone with each choice of methods once."""
        for family in families:
            if not self._try_shared_table(family):
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

    def _try_shared_table(self, family: Family) -> bool:
        """Queue the least zone of the whole family as found without a graph; False where it must be asked."""
        local = self.local
        if self.max_stops or family != _WHOLE:
            return False
        zone = shared_cut(local)
        if zone is None:
            return False
        self._push(
            zone.value + local.constant_minor,
            1,
            _Solved(family, None, zone.value + local.constant_minor, local.take_in(zone)),
        )
        return True

    def _try(self, family: Family, at_least: int, before: MaximumFlow | None) -> None:
        """Solve a family, from the flow of the one it was split from where there is one, and queue it."""
        local = self.local
        if family.wanted and not self._reachable(family):
            return
        if self.max_stops and self._sure_stops(family) > self.max_stops:
            return
        if self.meters is not None and self.meters.too_many(family.inside):
            return
        inside = family.inside | family.wanted
        if before is None:
            flow = least_cut(local.graph, inside, family.outside, local.explore)
        else:
            flow = next_cut(local.graph, before, inside, family.outside, local.explore)
        if flow is not None:
            zone = flow.side if not family.wanted else self._connected(flow.side)
            zone = frozenset(node for node in zone if node == SOURCE or local.supernode[node] >= 0)
            value = max(flow.value + local.constant_minor, at_least)
            self._push(value, 1, _Solved(family, flow, value, zone))

    def _push(self, value: int, kind: int, item: _Ready | _Solved | _Split) -> None:
        heapq.heappush(self.heap, (value, kind, next(self.tie_breaker), item))

    def _sure_stops(self, family: Family) -> int:
        return sum(
            len(edges)
            for node in family.inside
            for other, edges in self.local.around(node).items()
            if other in family.outside
        )

    def _reachable(self, family: Family) -> bool:
        """Whether what must be reached still can be; beyond what is explored anything may."""
        local = self.local
        seen, frontier = set(family.inside), list(family.inside)
        while frontier:
            node = frontier.pop()
            if not local.is_explored(node):
                return True
            for other in local.around(node):
                if other not in seen and other not in family.outside:
                    seen.add(other)
                    frontier.append(other)
        return family.wanted <= seen

    def _connected(self, side: frozenset[int]) -> frozenset[int]:
        seen, frontier = {SOURCE}, [SOURCE]
        while frontier:
            for other in self.local.around(frontier.pop()):
                if other in side and other not in seen:
                    seen.add(other)
                    frontier.append(other)
        return frozenset(seen)

    def _split(self, solved: _Solved) -> None:
        """Split what is left of a family round its least zone."""
        local, wanted, flow = self.local, solved.family.wanted, solved.flow
        if flow is None:
            flow = least_cut(local.graph, solved.family.inside, solved.family.outside, local.explore)
        inside, outside = set(solved.family.inside), set(solved.family.outside)
        for node in self._outward(inside, solved.zone):
            if node not in wanted and self._may_be_cut(inside, node):
                self._try(Family(frozenset(inside), frozenset(outside | {node}), wanted), solved.value, flow)
            inside.add(node)
        beyond = {other for node in inside for other in local.around(node)} - inside - outside
        for node in self._sorted(beyond):
            if not local.barred(local.supernode[node]):
                self._try(Family(frozenset(inside | {node}), frozenset(outside), wanted), solved.value, flow)
            outside.add(node)

    def _sorted(self, nodes: Iterable[int]) -> list[int]:
        """Return local nodes in an order that does not depend on when each was met."""
        return sorted(nodes, key=self.local.supernode.__getitem__)

    def _outward(self, inside: set[int], zone: frozenset[int]) -> list[int]:
        outward: list[int] = []
        seen, frontier = set(inside), list(inside)
        while frontier:
            found = self._sorted(
                {other for node in frontier for other in self.local.around(node) if other in zone} - seen
            )
            outward += found
            seen.update(found)
            frontier = found
        return outward

    def _may_be_cut(self, inside: set[int], node: int) -> bool:
        return all(
            edge.cost(edge.v == node) < INFINITE
            for other, edges in self.local.around(node).items()
            if other in inside
            for edge in edges
        )

    def _push_zone(self, zone: frozenset[int]) -> None:
        if self.meters is not None and self.meters.too_many(zone):
            return
        stops, inner = self._stops_of(zone), self._inner_of(zone)
        if self.max_stops and len(stops) > self.max_stops:
            return
        options = [self.local.choices(edge, at_u) for edge, at_u in stops]
        picked = tuple((edge, at_u, some[0]) for (edge, at_u), some in zip(stops, options, strict=True))
        found = self._found(zone, picked, inner)
        self._push(found.value_minor, 0, _Ready(found, options, 0, tuple([0] * len(picked))))

    def zone_with(self, zone: frozenset[int], choose: Callable[[LocalEdge, bool], Choice]) -> FoundZone:
        """Return a zone with the stop that is chosen on each edge at its border.

        Parameters
        ----------
        zone : frozenset of int
            Local nodes, all explored, `SOURCE` included.
        choose : callable
            Returns the stop on an edge, from the edge and whether its end in the zone is u.
        """
        picked = tuple((edge, at_u, choose(edge, at_u)) for edge, at_u in self._stops_of(zone))
        return self._found(zone, picked, self._inner_of(zone))

    def _found(
        self,
        zone: frozenset[int],
        picked: tuple[tuple[LocalEdge, bool, Choice], ...],
        inner: tuple[LocalEdge, ...],
    ) -> FoundZone:
        sure = self._zone_minor(zone, inner)
        sure += sum(edge.stranded_u if at_u else edge.stranded_v for edge, at_u, _ in picked)
        return FoundZone(sure + sum(choice.cost_minor for _, _, choice in picked), zone, picked, inner)

    def _stops_of(self, zone: frozenset[int]) -> list[tuple[LocalEdge, bool]]:
        """Return the edges with one end in a zone, and whether that end is u."""
        found: list[tuple[LocalEdge, bool]] = []
        for node in zone:
            for other, edges in self.local.around(node).items():
                if other not in zone:
                    found.extend((edge, edge.u == node) for edge in edges)
        return sorted(found, key=lambda stop: (stop[0].segment, stop[0].u, stop[0].v, stop[1]))

    def _inner_of(self, zone: frozenset[int]) -> tuple[LocalEdge, ...]:
        """Return the edges that lie wholly in a zone."""
        found: list[LocalEdge] = []
        done: set[int] = set()
        for node in self._sorted(zone):
            found += self.local.loops.get(node, ())
            for other, edges in self.local.around(node).items():
                if other in done:
                    found += edges
            done.add(node)
        return tuple(found)

    def _zone_minor(self, zone: frozenset[int], inner: tuple[LocalEdge, ...]) -> int:
        """Return the price of what lies wholly in a zone [minor units]: gas, and customers once each."""
        local, costs = self.local, self.local.costs
        members = [*local.work.supernodes, *(local.supernode[node] for node in zone if node != SOURCE)]
        total = local.work_gas_minor + sum(map(costs.node_minor.item, members))
        shared: set[int] = set()
        for supernode in members:
            if costs.has_multi_attached.item(supernode):
                customers = local.index.customers_at(supernode)
                shared.update(customers[local.index.multi_attached[customers]].tolist())
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
                    value,
                    0,
                    _Ready(FoundZone(value, found.zone, stops, found.inner), ready.options, stop, ranks),
                )


def shared_cut(local: LocalGraph) -> SourceSide | None:
    """Return the least zone round the work; None where none is found in this way.

    That is where the local graph must be asked: for a single question, where the planner's orders concern
    single segments, or where customers are attached at several nodes.
    """
    table = local.shared.table
    if table is None or not local.may_use_table:
        return None
    local.take_near()
    question = _question(local, table)
    return None if question is None else table.flow.least_cut(question, table.read)


def _question(local: LocalGraph, table: CapacityTable) -> Question | None:
    """Return the work, and the supernodes that its own segments and those priced for it lead to."""
    from netplan.graph.compiled_cut import Question

    graph, count = local.graph, table.flow.count
    number = [table.source, *local.supernode[SOURCE + 1 :]]
    sink = [graph.sink[SOURCE]]
    leaving = [count + arc for arc in graph.arcs_from(SOURCE)]
    start = [0, len(leaving)]
    for node, supernode in enumerate(number[SOURCE + 1 :], SOURCE + 1):
        if not table.read(supernode):
            return None
        capacity, kept = table.without(supernode, local.is_taken)
        sink.append(min(capacity + local.paid_at(node), INFINITE))
        leaving += (count + arc for arc in graph.arcs_from(node))
        leaving += kept
        start.append(len(leaving))
    end = [number[node] for node in graph.end]
    arrays = [
        np.array(values, dtype=np.int64) for values in (end, graph.capacity, number, sink, start, leaving)
    ]
    return Question(table.source, *arrays)
