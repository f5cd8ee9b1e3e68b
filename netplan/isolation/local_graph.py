"""The part of the network round the work section that the cut is sought in; it grows as the flow reaches."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, compress
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from netplan.graph.minimum_cut import INFINITE, UNEXPLORED, FlowGraph
from netplan.isolation.cost_context import CostContext
from netplan.isolation.segment_edges import LocalEdge, arcs_of
from netplan.isolation.segment_geometry import SegmentGeometry, segment_geometry
from netplan.isolation.shared_costs import PricedSegment, SharedCosts
from netplan.isolation.stop_placement import Choice, StopPlacement
from netplan.isolation.stranded_costs import WorkPositions
from netplan.isolation.valve_tappings import is_valve, valve_segments_at
from netplan.isolation.work_segments import SegmentRemainder, WorkSegments

if TYPE_CHECKING:
    from netplan.graph.compiled_cut import SourceSide

__all__ = ["SOURCE", "LocalGraph"]

SOURCE = 0
FAR = float("inf")
AUXILIARY = -1
"""Stands for the supernode of local nodes that are none."""


_Row = tuple[int, bool, int, int, int, int]
"""A `LocalEdge` not made yet: segment, whether the first end is its a, local nodes at its first and second
end, what stops with the zone there strand."""


class LocalGraph:
    """Local nodes round the work: node 0 is the work itself, the others are supernodes as they are met.

    A node is met when one of its edges is; explored when all of them are. Customers attached at several
    supernodes have auxiliary nodes of their own.

    Attributes
    ----------
    graph : FlowGraph
        Local nodes with all edges of the explored ones.
    supernode : list of int
        Supernode of each local node; `AUXILIARY` for the auxiliary nodes and for the work.
    loops : dict
        Edges that come back to their own node.
    constant_minor : int
        What the work itself pays whatever the zone [minor units].
    work_positions : list of int
        Where the work stands in the preorder of `PendantComponents`.
    """

    def __init__(
        self,
        costs: CostContext,
        shared: SharedCosts,
        placement: StopPlacement,
        work: WorkSegments,
        forced: dict[int, list[tuple[float, int]]],
    ) -> None:
        self.costs, self.index, self.shared, self.placement = costs, costs.index, shared, placement
        self.work, self.forced = work, forced
        self.work_gas_minor = costs.work_gas_minor(work)
        self._choices: dict[tuple[int, bool], tuple[Choice, ...]] = {}
        self._geometries: dict[tuple[int, bool], SegmentGeometry] = {}
        self._by_work = {segment for node in work.near_m for segment in self.index.segments_at(node).tolist()}
        self._by_work |= set(forced) | self._valves_by_work()
        self._own_placement = placement is not costs.placement
        self._positions = WorkPositions(costs.index, costs.pendants, work) if shared.stranding else None
        self.work_positions = self._positions.every_position if self._positions else []
        self.graph = FlowGraph()
        self.supernode: list[int] = []
        self._rows: list[_Row | LocalEdge | None] = []
        self._around: dict[int, dict[int, list[LocalEdge]]] = {}
        self.loops: dict[int, list[LocalEdge]] = {}
        self._local = dict.fromkeys(work.supernodes, SOURCE)
        self._pay: list[int] = []
        self._taken = set(work.segments)
        self._auxiliary: dict[int, int] = {}
        self._paid: set[int] = set()
        self._looked_at: list[NDArray[np.int64]] = []
        self._new_node(AUXILIARY)
        self.constant_minor = self._explore_work()

    def _valves_by_work(self) -> set[int]:
        """Return the valves whose tappings the work may keep off."""
        index, work = self.index, self.work
        ends = {end for part in work.remainders for end in (part.a, part.b) if end >= 0}
        ends |= set(work.supernodes)
        for node in work.near_m:
            ends |= {index.far_end(segment, node) for segment in index.segments_at(node).tolist()}
        found = {segment for node in ends for segment in valve_segments_at(index, node)}
        return found - work.segments

    def is_explored(self, node: int) -> bool:
        """Whether all edges of a local node are known."""
        return self.graph.sink[node] != UNEXPLORED

    @property
    def may_use_table(self) -> bool:
        """Whether the work is one stretch, nothing beyond it was met yet, nor is priced for this alone."""
        if self._own_placement or self.forced or any(part for _, _, part in self.work.covered):
            return False
        return all(sink == UNEXPLORED for sink in self.graph.sink[SOURCE + 1 :])

    def is_taken(self, segment: int) -> bool:
        """Whether a segment has been met, or is the work's own."""
        return segment in self._taken

    def paid_at(self, node: int) -> int:
        """Return what a local node pays for the segments met so far, when it is in the zone [minor units]."""
        return self._pay[node]

    def take_near(self) -> None:
        """Take in the segments that the work stands so near to that they are priced for it alone."""
        for segment in sorted(self._by_work - self._taken):
            self._taken.add(segment)
            self._take_single(segment)

    def take_in(self, zone: SourceSide) -> frozenset[int]:
        """Explore a zone found without this graph; return its local nodes."""
        n_super = self.index.n_super
        self._looked_at.append(zone.looked_at[zone.looked_at < n_super])
        found = [self._local_of(node) if node < n_super else SOURCE for node in zone.nodes]
        for node in found:
            self.explore(node)
        return frozenset(found)

    def looked_at(self) -> NDArray[np.int64]:
        """Return the supernodes all of whose segments were read, and those of the work, ascending."""
        index, work = self.index, self.work
        nodes = [AUXILIARY, *work.supernodes]
        nodes += [
            end.item(segment) for segment in work.segments for end in (index.segment_a, index.segment_b)
        ]
        explored = (sink != UNEXPLORED for sink in self.graph.sink)
        nodes += compress(self.supernode, explored)
        found = np.sort(np.concatenate([np.array(nodes, dtype=np.int64), *self._looked_at]))
        is_new: NDArray[np.bool_] = found[1:] != found[:-1]
        return found[1:][is_new]

    def explore_looked_at(self) -> None:
        """Explore every supernode whose segments were read."""
        for supernode in self.looked_at().tolist():
            self.explore(self._local_of(supernode))

    @property
    def priced_for_work(self) -> frozenset[int]:
        """Segments of the work, and those it stands so near to that they are priced for it alone."""
        return self.work.segments | self._by_work

    def may_stop(self, segment: int) -> bool:
        """Whether a stop can be made on a segment beside the work, with the zone at either end."""
        least = self._least(segment, None) if self._special(segment) else self.costs.price_segment(segment)
        return segment not in self.work.segments and max(least) < INFINITE

    def explore(self, node: int) -> None:
        """Take in all edges of a local node."""
        if self.graph.sink[node] != UNEXPLORED:
            return
        price, several, segments = self.shared.at(self.supernode[node])
        self._take(segments, node)
        for row in several:
            if row not in self._paid:
                self.graph.add_edge(node, self._auxiliary_of(row), INFINITE, 0)
                self._rows.append(None)
        self.graph.sink[node] = price if price >= INFINITE else price + self._pay[node]

    def outward(self) -> Iterator[int]:
        """Explore and yield one local node after the other, the nearest first."""
        queue = [SOURCE]
        seen = {SOURCE}
        for node in queue:
            self.explore(node)
            yield node
            around = self.around(node)
            queue += sorted(around.keys() - seen, key=self.supernode.__getitem__)
            seen.update(around)

    def edges_at(self, node: int) -> list[LocalEdge]:
        """Return the edges met so far at a local node."""
        return [*self.loops.get(node, ()), *chain.from_iterable(self.around(node).values())]

    def around(self, node: int) -> dict[int, list[LocalEdge]]:
        """Return edges at a local node by the node at their other end: all of them once it is explored."""
        found = self._around.get(node)
        if found is None:
            found = {}
            for arc in self.graph.arcs_from(node):
                edge = self.edge_of(arc)
                if edge is not None:
                    found.setdefault(self.graph.end[arc], []).append(edge)
            if self.is_explored(node):
                self._around[node] = found
        return found

    def edge_of(self, arc: int) -> LocalEdge | None:
        """Return the edge of an arc of the graph, made when it is asked for; None for auxiliary nodes."""
        row = self._rows[arc >> 1]
        if isinstance(row, tuple):
            row = self._rows[arc >> 1] = self._made(*row)
        return row

    def _made(self, segment: int, at_a: bool, near: int, far: int, beyond: int, behind: int) -> LocalEdge:
        out_u, out_v = self.costs.price_segment(segment)
        gas_minor = self.costs.segments.gas_minor.item(segment)
        if at_a:
            edge = LocalEdge(segment, near, far, None, out_u, out_v, gas_minor)
            edge.strand(beyond, behind)
        else:
            edge = LocalEdge(segment, far, near, None, out_u, out_v, gas_minor)
            edge.strand(behind, beyond)
        return edge

    def _explore_work(self) -> int:
        """Take in the edges of the work; return what it pays whatever the zone [minor units]."""
        costs, paid = self.costs, 0
        for supernode in self.work.supernodes:
            _, several, segments = self.shared.at(supernode)
            self._take(segments, SOURCE)
            paid += costs.node_minor.item(supernode)
            self._paid.update(several)
        for remainder in self.work.remainders:
            u, v = (SOURCE if end < 0 else self._local_of(end) for end in (remainder.a, remainder.b))
            gas = costs.remainder_gas_minor(remainder.geometry)
            self._add_edge(
                LocalEdge(remainder.segment, u, v, remainder, *self._least(remainder.segment, remainder), gas)
            )
        self.graph.sink[SOURCE] = INFINITE if any(map(self.barred, self.work.supernodes)) else 0
        shared: int = sum(costs.off_minor.item(row) for row in self._paid)
        return self._pay[SOURCE] + self.work_gas_minor + paid + shared

    def _new_node(self, supernode: int, sink: int = UNEXPLORED) -> int:
        self.supernode.append(supernode)
        self._pay.append(0)
        return self.graph.add_node(sink)

    def _local_of(self, supernode: int) -> int:
        node = self._local.get(supernode)
        if node is None:
            node = self._local[supernode] = self._new_node(supernode)
        return node

    def _auxiliary_of(self, row: int) -> int:
        """Return the node of a customer attached at several supernodes, so that it is paid for once."""
        node = self._auxiliary.get(row)
        if node is None:
            node = self._auxiliary[row] = self._new_node(AUXILIARY, self.costs.off_minor.item(row))
        return node

    def _take(self, segments: tuple[PricedSegment, ...], node: int) -> None:
        """Take in the segments at a local node; those already taken from their other end are there."""
        taken, local, by_work, pay = self._taken, self._local, self._by_work, self._pay
        add_edge, add_row = self.graph.add_edge, self._rows.append
        for segment, other, at_a, forward, reverse, pay_here, pay_there, bridge in segments:
            if segment in taken:
                continue
            taken.add(segment)
            far = local.get(other)
            if far is None:
                far = local[other] = self._new_node(other)
            if far == node or segment in by_work or (self._own_placement and self._special(segment)):
                self._take_single(segment)
                continue
            beyond = behind = 0
            if bridge is not None:
                arcs, beyond, behind = bridge.priced(self.work_positions)
                forward, reverse, pay_here, pay_there = arcs
            pay[node] += pay_here
            pay[far] += pay_there
            add_edge(node, far, forward, reverse)
            add_row((segment, at_a, node, far, beyond, behind))

    def _take_single(self, segment: int) -> None:
        """Take in a segment that comes back to its own node, is near the work or concerned by an order."""
        u = self._local_of(self.index.segment_a.item(segment))
        v = self._local_of(self.index.segment_b.item(segment))
        out_u, out_v = (
            self._least(segment, None) if self._special(segment) else self.costs.price_segment(segment)
        )
        self._add_edge(
            LocalEdge(segment, u, v, None, out_u, out_v, self.costs.segments.gas_minor.item(segment))
        )

    def _add_edge(self, edge: LocalEdge) -> None:
        if edge.u == edge.v:
            self.loops.setdefault(edge.u, []).append(edge)
            self._pay[edge.u] += edge.gas_minor
        else:
            self._lost(edge)
            forward, reverse, pay_u, pay_v = arcs_of(edge.out_u, edge.out_v, edge.gas_minor)
            self._pay[edge.u] += pay_u
            self._pay[edge.v] += pay_v
            self.graph.add_edge(edge.u, edge.v, forward, reverse)
            self._rows.append(edge)

    def _special(self, segment: int) -> bool:
        """Whether a segment is near the work or an order concerns it."""
        if segment in self._by_work:
            return True
        if not self._own_placement:
            return False
        index = self.index
        segments = {segment}
        if is_valve(index, segment):  # its tappings are on the lengths beside it
            for end in (index.segment_a, index.segment_b):
                segments.update(index.segments_at(end.item(segment)).tolist())
        return any(
            self.placement.barred.touches(index.network, index.pieces_of(one)) for one in sorted(segments)
        )

    def _least(self, segment: int, remainder: SegmentRemainder | None) -> tuple[int, int]:
        """Return the least price of a stop with the zone at either end; the work is always in the zone."""
        at_a = self._choose(segment, remainder, True) if remainder is None or remainder.a < 0 else ()
        at_b = self._choose(segment, remainder, False) if remainder is None or remainder.b < 0 else ()
        return at_a[0].cost_minor if at_a else INFINITE, at_b[0].cost_minor if at_b else INFINITE

    def _lost(self, edge: LocalEdge) -> None:
        """Add what stops on an edge strand for certain."""
        a, b = edge.ends(self.index)
        edge.strand(
            self._stranded(edge.segment, b) if b >= 0 and edge.out_u < INFINITE else 0,
            self._stranded(edge.segment, a) if a >= 0 and edge.out_v < INFINITE else 0,
        )

    def _stranded(self, segment: int, far: int) -> int:
        """Return what a stop on a segment, zone at its other end, strands beyond `far` [minor units]."""
        index, stranding = self.index, self.shared.stranding
        if stranding is None or self._positions is None or not self.costs.pendants.is_bridge.item(segment):
            return 0
        near = index.far_end(segment, far)
        span = stranding.span(segment, near, far)
        if span is None or span.holds_any(self._positions.beside(segment)):
            return 0
        return stranding.price(segment, near, far, span)

    def geometry(self, edge: LocalEdge, zone_at_u: bool = True) -> SegmentGeometry:
        """Return the geometry of an edge from its zone's side outward."""
        return self._geometry(edge.segment, edge.remainder, zone_at_u)

    def _geometry(self, segment: int, remainder: SegmentRemainder | None, zone_at_u: bool) -> SegmentGeometry:
        key = (id(remainder) if remainder is not None else -segment - 1, zone_at_u)
        geometry = self._geometries.get(key)
        if geometry is None:
            index, near = self.index, self.work.near_m
            if remainder is None:
                a, b = index.segment_a.item(segment), index.segment_b.item(segment)
                geometry = segment_geometry(index, segment).with_work_distances(
                    near.get(a, FAR), near.get(b, FAR)
                )
            else:
                distances = [0.0 if end < 0 else near.get(end, FAR) for end in (remainder.a, remainder.b)]
                geometry = remainder.geometry.with_work_distances(*distances)
            geometry = self._geometries[key] = geometry if zone_at_u else geometry.turned()
        return geometry

    def choices(self, edge: LocalEdge, zone_at_u: bool) -> tuple[Choice, ...]:
        """Return the stops that can be made on an edge with the zone at one end, cheapest first."""
        return self._choose(edge.segment, edge.remainder, zone_at_u)

    def _choose(
        self, segment: int, remainder: SegmentRemainder | None, zone_at_u: bool
    ) -> tuple[Choice, ...]:
        if remainder is None and not self._special(segment):
            return self.costs.placement.segment_choices(segment, zone_at_u)
        key = (id(remainder) if remainder is not None else -segment - 1, zone_at_u)
        if key not in self._choices:
            geometry, at = self._geometry(segment, remainder, zone_at_u), None
            if segment in self.forced:
                places = [
                    self.place_on(self._geometry(segment, remainder, True), *want)
                    for want in self.forced[segment]
                ]
                at = next((place for place in places if place is not None), None)
                at = at if at is None or zone_at_u else geometry.length_m - at
            self._choices[key] = self.placement.choices(
                geometry, at, unobstructed=self.placement.is_unobstructed(segment), work=self.work
            )
        return self._choices[key]

    @staticmethod
    def place_on(geometry: SegmentGeometry, chainage_m: float, pipe: int) -> float | None:
        """Return where a chainage of a pipe lies on a segment [m], or None."""
        for leg in geometry.legs:
            at = leg.start_m + leg.sign * (chainage_m - leg.chainage_m)
            if leg.pipe == pipe and leg.start_m - 1e-6 <= at <= leg.end_m + 1e-6:
                return at
        return None

    def barred(self, supernode: int) -> bool:
        """Whether a supernode may never be in a zone."""
        return self.shared.barred(supernode)
