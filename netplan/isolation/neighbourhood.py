"""The part of the network round the work section that the cut is sought in; it grows as the flow reaches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import chain

from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE, UNSEEN, FlowGraph
from netplan.isolation.shapes import Shape, run_shape
from netplan.isolation.sites import Choice, Sites
from netplan.isolation.work import Gap, Work

__all__ = ["SOURCE", "Edge", "Neighbourhood"]

SOURCE = 0
FAR = float("inf")
AUXILIARY = -1
"""Stands for the supernode of local nodes that are none."""


class Edge:
    """A run (or a gap beside the work) between two local nodes of the neighbourhood.

    Attributes
    ----------
    run : int
        Run row.
    u, v : int
        Local nodes; `SOURCE` for the work.
    gap : Gap or None
        For what is left of a run beside the work.
    out_u, out_v : int
        Least price of a stop with the zone at u, and with the zone at v; `INFINITE` where none can be made.
    gas_minor : int
        Gas of the whole edge [minor units].
    stranded_u, stranded_v : int
        What such a stop strands for certain, at least [minor units]; part of out_u and out_v.
    """

    __slots__ = ("gap", "gas_minor", "out_u", "out_v", "run", "stranded_u", "stranded_v", "u", "v")

    def __init__(
        self, run: int, u: int, v: int, gap: Gap | None, out_u: int, out_v: int, gas_minor: int
    ) -> None:
        self.run, self.u, self.v, self.gap = run, u, v, gap
        self.out_u, self.out_v, self.gas_minor = out_u, out_v, gas_minor
        self.stranded_u = self.stranded_v = 0

    def cost(self, zone_at_u: bool) -> int:
        """Return the least price of a stop with the zone at one end [minor units]."""
        return self.out_u if zone_at_u else self.out_v


_Row = tuple[int, int, int, int, int, int]
"""An `Edge` not made yet: run, u, v, out_u, out_v, gas_minor."""


class Neighbourhood:
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
    """

    def __init__(
        self,
        ground: Ground,
        sites: Sites,
        work: Work,
        kept: frozenset[int],
        stranded: Callable[[int, int], int] | None,
        forced: dict[int, list[tuple[float, int]]],
    ) -> None:
        self.ground, self.index, self.sites, self.work = ground, ground.index, sites, work
        self.kept, self.stranded, self.forced = kept, stranded, forced
        self.kept_at = ground.supernodes_of(kept)
        self.work_gas_minor = ground.work_gas_minor(work)
        self._choices: dict[tuple[int, bool], tuple[Choice, ...]] = {}
        self._by_work = {run for node in work.near_m for run in self.index.runs_at(node).tolist()}
        self._by_work |= set(forced)
        self.graph = FlowGraph()
        self.supernode: list[int] = []
        self._rows: list[_Row | Edge | None] = []
        self._around: dict[int, dict[int, list[Edge]]] = {}
        self.loops: dict[int, list[Edge]] = {}
        self._local = dict.fromkeys(work.supernodes, SOURCE)
        self._pay: list[int] = []
        self._taken = set(work.runs)
        self._auxiliary: dict[int, int] = {}
        self._paid: set[int] = set()
        self._new_node(AUXILIARY)
        self.constant_minor = self._explore_work()

    def is_explored(self, node: int) -> bool:
        """Whether all edges of a local node are known."""
        return self.graph.outlet[node] != UNSEEN

    def explore(self, node: int) -> None:
        """Take in all edges of a local node."""
        if self.is_explored(node):
            return
        supernode = self.supernode[node]
        self._take_runs(supernode)
        if self.ground.has_several[supernode]:
            for row in self._several_at(supernode):
                if row not in self._paid:
                    self.graph.add_edge(node, self._auxiliary_of(row), INFINITE, 0)
                    self._rows.append(None)
        self.graph.outlet[node] = (
            INFINITE if self.barred(supernode) else self._pay[node] + self.ground.node_minor.item(supernode)
        )

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

    def edges_at(self, node: int) -> list[Edge]:
        """Return the edges met so far at a local node."""
        return [*self.loops.get(node, ()), *chain.from_iterable(self.around(node).values())]

    def around(self, node: int) -> dict[int, list[Edge]]:
        """Return edges at a local node by the node at their other end: all of them once it is explored."""
        found = self._around.get(node)
        if found is None:
            found = {}
            for arc in self.graph.arcs_at[node]:
                edge = self._edge(arc >> 1)
                if edge is not None:
                    found.setdefault(self.graph.end[arc], []).append(edge)
            if self.is_explored(node):
                self._around[node] = found
        return found

    def _edge(self, number: int) -> Edge | None:
        """Return an edge of the graph; most are only ever flowed through, so they are made when asked for."""
        row = self._rows[number]
        if isinstance(row, tuple):
            run, u, v, out_u, out_v, gas_minor = row
            row = self._rows[number] = Edge(run, u, v, None, out_u, out_v, gas_minor)
        return row

    def _explore_work(self) -> int:
        """Take in the edges of the work; return what it pays whatever the zone [minor units]."""
        ground, paid = self.ground, 0
        for supernode in self.work.supernodes:
            self._take_runs(supernode)
            paid += ground.node_minor.item(supernode)
            if ground.has_several[supernode]:
                self._paid.update(self._several_at(supernode))
        for gap in self.work.gaps:
            u, v = (SOURCE if end < 0 else self._local_of(end) for end in (gap.a, gap.b))
            gas = ground.gap_gas_minor(gap.shape)
            self._add_edge(Edge(gap.run, u, v, gap, *self._least(gap.run, gap), gas))
        self.graph.outlet[SOURCE] = INFINITE if any(map(self.barred, self.work.supernodes)) else 0
        several = sum(ground.off_minor.item(row) for row in self._paid)
        return self._pay[SOURCE] + self.work_gas_minor + paid + several

    def _new_node(self, supernode: int, outlet: int = UNSEEN) -> int:
        self.supernode.append(supernode)
        self._pay.append(0)
        return self.graph.add_node(outlet)

    def _local_of(self, supernode: int) -> int:
        node = self._local.get(supernode)
        if node is None:
            node = self._local[supernode] = self._new_node(supernode)
        return node

    def _several_at(self, supernode: int) -> list[int]:
        customers = self.index.customers_at(supernode)
        rows: list[int] = customers[self.index.several[customers]].tolist()
        return rows

    def _auxiliary_of(self, row: int) -> int:
        """Return the node of a customer attached at several supernodes, so that it is paid for once."""
        node = self._auxiliary.get(row)
        if node is None:
            node = self._auxiliary[row] = self._new_node(AUXILIARY, self.ground.off_minor.item(row))
        return node

    def _take_runs(self, supernode: int) -> None:
        index, ground, taken = self.index, self.ground, self._taken
        for run in index.runs_at(supernode).tolist():
            if run in taken:
                continue
            taken.add(run)
            u = self._local_of(index.run_a.item(run))
            v = self._local_of(index.run_b.item(run))
            out_u, out_v = self._least(run, None) if self._special(run) else ground.price_run(run)
            gas_minor = ground.runs.gas_minor.item(run)
            if u == v or self.stranded is not None:
                self._add_edge(Edge(run, u, v, None, out_u, out_v, gas_minor))
            else:
                self._add((run, u, v, out_u, out_v, gas_minor), u, v, out_u, out_v, gas_minor)

    def _add_edge(self, edge: Edge) -> None:
        if edge.u == edge.v:
            self.loops.setdefault(edge.u, []).append(edge)
            self._pay[edge.u] += edge.gas_minor
        else:
            self._lost(edge)
            self._add(edge, edge.u, edge.v, edge.out_u, edge.out_v, edge.gas_minor)

    def _add(self, row: _Row | Edge, u: int, v: int, out_u: int, out_v: int, gas_minor: int) -> None:
        """Take an edge into the graph; the gas of one wholly inside is shared by its ends.

        So that no arc becomes negative, no end pays more than a stop there costs.
        """
        gas = min(gas_minor, out_u + out_v)
        share = min(max(gas // 2, gas - out_v), out_u)
        self._pay[u] += share
        self._pay[v] += gas - share
        self.graph.add_edge(
            u,
            v,
            out_u - share if out_u < INFINITE else INFINITE,
            out_v - gas + share if out_v < INFINITE else INFINITE,
        )
        self._rows.append(row)

    def _special(self, run: int) -> bool:
        """Whether a run is near the work or an order concerns it."""
        if run in self._by_work:
            return True
        if self.sites is self.ground.sites:
            return False
        index = self.index
        return self.sites.barred.touches(index.network, index.pieces_of(run))

    def _least(self, run: int, gap: Gap | None) -> tuple[int, int]:
        pair = (self._choose(run, gap, True), self._choose(run, gap, False))
        return (
            pair[0][0].cost_minor if pair[0] else INFINITE,
            pair[1][0].cost_minor if pair[1] else INFINITE,
        )

    def _lost(self, edge: Edge) -> None:
        """Add what stops on an edge strand for certain."""
        if self.stranded is not None:
            index, gap = self.index, edge.gap
            a, b = (int(index.run_a[edge.run]), int(index.run_b[edge.run])) if gap is None else (gap.a, gap.b)
            if b >= 0 and edge.out_u < INFINITE:
                edge.stranded_u = self.stranded(edge.run, b)
                edge.out_u = min(edge.out_u + edge.stranded_u, INFINITE)
            if a >= 0 and edge.out_v < INFINITE:
                edge.stranded_v = self.stranded(edge.run, a)
                edge.out_v = min(edge.out_v + edge.stranded_v, INFINITE)

    def shape(self, edge: Edge, zone_at_u: bool = True) -> Shape:
        """Return the shape of an edge from its zone's side outward."""
        shape = self._shape(edge.run, edge.gap)
        return shape if zone_at_u else shape.turned()

    def _shape(self, run: int, gap: Gap | None) -> Shape:
        index, near = self.index, self.work.near_m
        if gap is None:
            a, b = int(index.run_a[run]), int(index.run_b[run])
            return self.sites.with_gap(run_shape(index, run), near.get(a, FAR), near.get(b, FAR))
        return self.sites.with_gap(
            gap.shape,
            0.0 if gap.a < 0 else near.get(gap.a, FAR),
            0.0 if gap.b < 0 else near.get(gap.b, FAR),
        )

    def choices(self, edge: Edge, zone_at_u: bool) -> tuple[Choice, ...]:
        """Return the stops that can be made on an edge with the zone at one end, cheapest first."""
        return self._choose(edge.run, edge.gap, zone_at_u)

    def _choose(self, run: int, gap: Gap | None, zone_at_u: bool) -> tuple[Choice, ...]:
        if gap is None and not self._special(run):
            return self.ground.sites.run_choices(run, zone_at_u)
        key = (id(gap) if gap is not None else -run - 1, zone_at_u)
        if key not in self._choices:
            shape = self._shape(run, gap)
            places = [self.place_on(shape, *want) for want in self.forced.get(run, ())]
            at = next((place for place in places if place is not None), None)
            if not zone_at_u:
                shape, at = shape.turned(), None if at is None else shape.length_m - at
            self._choices[key] = self.sites.choices(shape, at)
        return self._choices[key]

    @staticmethod
    def place_on(shape: Shape, chainage_m: float, pipe: int) -> float | None:
        """Return where a chainage of a pipe lies on a shape [m], or None."""
        for leg in shape.legs:
            at = leg.start_m + leg.sign * (chainage_m - leg.chainage_m)
            if leg.pipe == pipe and leg.start_m - 1e-6 <= at <= leg.end_m + 1e-6:
                return at
        return None

    def barred(self, supernode: int) -> bool:
        """Whether a supernode may never be in a zone."""
        return self.index.blocked.item(supernode) > 0 or supernode in self.kept_at
