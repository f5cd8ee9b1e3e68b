"""The part of the network round the work section that the cut is sought in; it grows until that suffices."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.ground import Ground
from netplan.isolation.mincut import INFINITE, FlowGraph
from netplan.isolation.shapes import Shape, run_shape
from netplan.isolation.sites import Choice, Sites
from netplan.isolation.work import Gap, Work

__all__ = ["SOURCE", "Edge", "Neighbourhood", "Ring"]

SOURCE = 0
FAR = float("inf")
LEAST_AT_FIRST, MOST_AT_FIRST = 48, 4000
"""Supernodes that the neighbourhood starts with."""


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


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """One size of the neighbourhood: its edges, its graph for cuts, and its rim.

    Parameters
    ----------
    graph : FlowGraph
        Local nodes; auxiliary nodes of customers attached at several of them come last.
    constant_minor : int
        What the work itself pays whatever the zone [minor units].
    rim : frozenset of int
        Local nodes with a run that leads beyond.
    edges : tuple of Edge
    adjacent : dict
        Edges by local node and the node at their other end.
    loops : dict
        Edges that come back to their own node.
    """

    graph: FlowGraph
    constant_minor: int
    rim: frozenset[int]
    edges: tuple[Edge, ...]
    adjacent: dict[int, dict[int, list[Edge]]]
    loops: dict[int, list[Edge]]


class Neighbourhood:
    """Local nodes round the work: node 0 is the work itself, the others are supernodes, nearest first.

    Everything beyond costs nothing in its graph, so a cut found there is never dearer than the true one, and
    is the true one when its zone touches no rim node.
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
        self.supernode: list[int] = [-1]
        self._known = set(work.supernodes)
        self._frontier = self._first_frontier()
        self._edges: dict[tuple[int, int], Edge] = {}
        self._choices: dict[tuple[int, bool], tuple[Choice, ...]] = {}
        self._ring: Ring | None = None
        self._by_work = {run for node in work.near_m for run in self.index.runs_at(node).tolist()}
        self._by_work |= set(forced)

    @property
    def size(self) -> int:
        """Local nodes apart from the work."""
        return len(self.supernode) - 1

    @property
    def complete(self) -> bool:
        """Whether nothing lies beyond."""
        return not self._frontier

    def _first_frontier(self) -> list[int]:
        ends = {end for gap in self.work.gaps for end in (gap.a, gap.b) if end >= 0}
        return sorted((ends | self._beyond(list(self.work.supernodes))) - self._known)

    def _incident(self, supernodes: list[int]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the untouched runs at some supernodes, and the supernode each was found at."""
        index = self.index
        at_node = np.array(supernodes, dtype=np.int64)
        start = index.adjacent_start[at_node]
        counts = index.adjacent_start[at_node + 1] - start
        ends = np.cumsum(counts)
        at = np.repeat(start - ends + counts, counts) + np.arange(ends[-1] if len(ends) else 0)
        runs = index.adjacent_run[at].astype(np.int64)
        owner = np.repeat(at_node, counts)
        wanted = np.ones(len(runs), dtype=np.bool_)
        for touched in self.work.runs:
            wanted &= runs != touched
        return runs[wanted], owner[wanted]

    def _beyond(self, supernodes: list[int]) -> set[int]:
        runs, owner = self._incident(supernodes)
        return set((self.index.run_a[runs] + self.index.run_b[runs] - owner).tolist())

    def _take_ring(self) -> list[int]:
        new = self._frontier
        self.supernode += new
        self._known.update(new)
        self._frontier = sorted(self._beyond(new) - self._known)
        self._ring = None
        return new

    def grow(self, nodes: int) -> None:
        """Take in whole rings of supernodes outward until there are at least `nodes`, or all."""
        while self._frontier and self.size < nodes:
            self._take_ring()

    def grow_to_suffice(self) -> None:
        """Take in enough for a first answer: until a zone of everything is dearer than the stops close by."""
        limit = sum(least for least in self._first_stops() if least < INFINITE)
        inside = 0
        while (
            self._frontier and self.size < MOST_AT_FIRST and (self.size < LEAST_AT_FIRST or inside <= limit)
        ):
            inside += int(self.ground.node_minor[self._take_ring()].sum())

    def _first_stops(self) -> list[int]:
        """Return the least prices of the stops next to the work."""
        index = self.index
        found = [self._least(gap.run, gap)[gap.a >= 0] for gap in self.work.gaps]
        runs, owner = self._incident(list(self.work.supernodes))
        for run, supernode in zip(runs.tolist(), owner.tolist(), strict=True):
            found.append(self._least(run, None)[int(index.run_a[run]) != supernode])
        return found

    def ring(self) -> Ring:
        """Return the neighbourhood as it is now."""
        if self._ring is None:
            self._ring = self._build()
        return self._ring

    def _build(self) -> Ring:
        index = self.index
        runs, _ = self._incident(sorted(self._known))
        runs = np.unique(runs)
        keys = np.array([*self.work.supernodes, *self.supernode[1:]], dtype=np.int64)
        names = np.concatenate(
            [np.zeros(len(self.work.supernodes), np.int64), np.arange(1, len(self.supernode))]
        )
        by_key = np.argsort(keys, kind="stable")
        keys, names = keys[by_key], names[by_key]
        ends = np.stack([index.run_a[runs], index.run_b[runs]]).astype(np.int64)
        place = np.minimum(np.searchsorted(keys, ends), len(keys) - 1)
        known = keys[place] == ends
        local = names[place]
        both = known.all(axis=0)
        rim = {int(node) for side in (0, 1) for node in local[side][known[side] & ~both].tolist()}
        edges = self._run_edges(runs[both], local[0][both], local[1][both])
        for number, gap in enumerate(self.work.gaps):
            sides = [
                SOURCE if end < 0 else int(names[np.searchsorted(keys, end)]) if end in self._known else -1
                for end in (gap.a, gap.b)
            ]
            if -1 in sides:
                rim.add(SOURCE)
            else:
                edges.append(self._gap_edge(number, gap, *sides))
        graph, constant = self._graph(edges)
        adjacent: dict[int, dict[int, list[Edge]]] = {}
        loops: dict[int, list[Edge]] = {}
        for edge in edges:
            if edge.u == edge.v:
                loops.setdefault(edge.u, []).append(edge)
            else:
                adjacent.setdefault(edge.u, {}).setdefault(edge.v, []).append(edge)
                adjacent.setdefault(edge.v, {}).setdefault(edge.u, []).append(edge)
        return Ring(graph, constant, frozenset(rim), tuple(edges), adjacent, loops)

    def _run_edges(self, runs: NDArray[np.int64], u: NDArray[np.int64], v: NDArray[np.int64]) -> list[Edge]:
        ground = self.ground
        ground.price_runs(runs)
        columns = (runs, u, v, ground.cost_a[runs], ground.cost_b[runs], ground.runs.gas_minor[runs])
        edges = []
        special = self._special_runs(runs)
        for run, a, b, out_a, out_b, gas in zip(*(column.tolist() for column in columns), strict=True):
            edge = self._edges.get((run, -1))
            if edge is None:
                if run in special:
                    out_a, out_b = self._least(run, None)
                edge = self._edges[run, -1] = self._lost(Edge(run, a, b, None, out_a, out_b, gas))
            edges.append(edge)
        return edges

    def _special_runs(self, runs: NDArray[np.int64]) -> set[int]:
        """Return the runs near the work and those that an order concerns."""
        if self.sites is self.ground.sites:
            return self._by_work
        index, barred = self.index, self.sites.barred
        ordered = {run for run in runs.tolist() if barred.touches(index.network, index.pieces_of(run))}
        return self._by_work | ordered

    def _gap_edge(self, number: int, gap: Gap, u: int, v: int) -> Edge:
        edge = self._edges.get((-1, number))
        if edge is None:
            gas = self.ground.gap_gas_minor(gap.shape)
            edge = self._edges[-1, number] = self._lost(
                Edge(gap.run, u, v, gap, *self._least(gap.run, gap), gas)
            )
        return edge

    def _least(self, run: int, gap: Gap | None) -> tuple[int, int]:
        pair = (self._choose(run, gap, True), self._choose(run, gap, False))
        return (
            pair[0][0].cost_minor if pair[0] else INFINITE,
            pair[1][0].cost_minor if pair[1] else INFINITE,
        )

    def _lost(self, edge: Edge) -> Edge:
        if self.stranded is not None:
            index, gap = self.index, edge.gap
            a, b = (int(index.run_a[edge.run]), int(index.run_b[edge.run])) if gap is None else (gap.a, gap.b)
            if b >= 0 and edge.out_u < INFINITE:
                edge.stranded_u = self.stranded(edge.run, b)
                edge.out_u = min(edge.out_u + edge.stranded_u, INFINITE)
            if a >= 0 and edge.out_v < INFINITE:
                edge.stranded_v = self.stranded(edge.run, a)
                edge.out_v = min(edge.out_v + edge.stranded_v, INFINITE)
        return edge

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
        if gap is None and run not in self._special_runs(np.array([run])):
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
        return bool(self.index.blocked[supernode]) or supernode in self.kept_at

    def _graph(self, edges: list[Edge]) -> tuple[FlowGraph, int]:
        ground, n = self.ground, len(self.supernode)
        table = np.array([(e.u, e.v, e.out_u, e.out_v, e.gas_minor) for e in edges], np.int64).reshape(-1, 5)
        u, v, out_u, out_v, gas = table.T
        # The gas of an edge wholly inside is shared by its ends, so that no arc becomes negative.
        gas = np.where(u == v, gas, np.minimum(gas, out_u + out_v))
        share = np.minimum(np.maximum(gas // 2, gas - out_v), out_u)
        pay = np.zeros(n, dtype=np.int64)
        np.add.at(pay, u, share)
        np.add.at(pay, v, gas - share)
        supernodes = np.array(self.supernode[1:], dtype=np.int64)
        pay[1:] += ground.node_minor[supernodes]
        blocked = self.index.blocked[supernodes] > 0
        if self.kept_at:
            blocked |= np.isin(supernodes, sorted(self.kept_at))
        pay[1:][blocked] = INFINITE
        constant = (
            int(pay[SOURCE]) + self.work_gas_minor + int(ground.node_minor[list(self.work.supernodes)].sum())
        )
        pay[SOURCE] = INFINITE if any(self.barred(node) for node in self.work.supernodes) else 0
        cut = u != v
        tails, heads, outlets, paid = self._shared(n)
        forth = np.where(out_u < INFINITE, out_u - share, INFINITE)[cut]
        back = np.where(out_v < INFINITE, out_v - (gas - share), INFINITE)[cut]
        graph = FlowGraph(
            n + len(outlets),
            np.concatenate([u[cut], tails]),
            np.concatenate([v[cut], heads]),
            np.concatenate([forth, np.full(len(tails), INFINITE)]),
            np.concatenate([back, np.zeros(len(tails), np.int64)]),
            np.concatenate([pay, outlets]),
        )
        return graph, constant + paid

    def _shared(self, n: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], int]:
        """Give every customer attached at several supernodes one node of its own, so it is paid for once."""
        index, ground = self.index, self.ground
        attached: dict[int, set[int]] = {}
        members = [
            *((node, SOURCE) for node in self.work.supernodes),
            *zip(self.supernode[1:], range(1, n), strict=True),
        ]
        for supernode, node in members:
            if ground.has_several[supernode]:
                customers = index.customers_at(supernode)
                for row in customers[index.several[customers]].tolist():
                    attached.setdefault(row, set()).add(node)
        tails: list[int] = []
        heads: list[int] = []
        outlets: list[int] = []
        paid = 0
        for row in sorted(attached):
            if SOURCE in attached[row]:
                paid += int(ground.off_minor[row])
                continue
            tails += sorted(attached[row])
            heads += [n + len(outlets)] * len(attached[row])
            outlets.append(int(ground.off_minor[row]))
        return np.array(tails, np.int64), np.array(heads, np.int64), np.array(outlets, np.int64), paid
