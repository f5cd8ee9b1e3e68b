"""The part of the network round the work section that the cut is sought in; it grows until that suffices."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.index import Index
from netplan.isolation.mincut import INFINITE, Arcs
from netplan.isolation.shapes import Shape, run_shape
from netplan.isolation.sites import Choice, Sites
from netplan.isolation.work import Gap, Work

__all__ = ["SOURCE", "Edge", "Neighbourhood"]

SOURCE, SINK = 0, 1


@dataclass(frozen=True, slots=True)
class Edge:
    """A run (or a gap beside the work) between two local nodes of the neighbourhood.

    Parameters
    ----------
    run : int
        Run row.
    u, v : int
        Local nodes; `SOURCE` for the work.
    gap : Gap or None
        For what is left of a run beside the work.
    from_u, from_v : tuple of Choice
        Stops with the zone at u, and with the zone at v; cheapest first; empty where none can be made.
    gas_minor : int
        Gas of the whole edge [minor units].
    stranded_u, stranded_v : int
        What a stop with the zone at u (at v) strands for certain, at least [minor units].
    """

    run: int
    u: int
    v: int
    gap: Gap | None
    from_u: tuple[Choice, ...]
    from_v: tuple[Choice, ...]
    gas_minor: int
    stranded_u: int = 0
    stranded_v: int = 0

    def cost(self, zone_at_u: bool) -> int:
        """Return the least price of a stop on this edge with the zone at one end [minor units]."""
        choices = self.from_u if zone_at_u else self.from_v
        return (
            choices[0].cost_minor + (self.stranded_u if zone_at_u else self.stranded_v)
            if choices
            else INFINITE
        )


class Neighbourhood:
    """Local graph for cuts: node 0 is the work, 1 the sink, then supernodes in order of distance.

    Everything beyond costs nothing here, so a cut found here is never dearer than the true one, and is the
    true one when its zone touches no rim node.
    """

    def __init__(
        self,
        index: Index,
        sites: Sites,
        work: Work,
        off_minor: NDArray[np.int64],
        kept: frozenset[int],
        stranded: Callable[[int, int], int] | None,
        forced: dict[int, list[tuple[float, int]]],
    ) -> None:
        self.index, self.sites, self.work = index, sites, work
        self.off_minor, self.kept, self.stranded, self.forced = off_minor, kept, stranded, forced
        self.local: dict[int, int] = dict.fromkeys(work.supernodes, SOURCE)
        self.supernode: list[int] = [-1, -1]
        self.edges: list[Edge] = []
        self._seen_runs: set[int] = set(work.runs)
        self._queue: list[int] = []
        self._arcs: Arcs | None = None
        self._rim: NDArray[np.bool_] | None = None
        self.constant_minor = 0
        self._gap_at: dict[int, list[Gap]] = {}
        self.size = 0
        for gap in work.gaps:
            for end in {gap.a, gap.b} - {-1}:
                self._gap_at.setdefault(end, []).append(gap)
        self._reach_from_work()

    @property
    def complete(self) -> bool:
        """Whether nothing lies beyond."""
        return not self._queue

    def _reach_from_work(self) -> None:
        first = {end for gap in self.work.gaps for end in (gap.a, gap.b) if end >= 0}
        for node in self.work.supernodes:
            first.update(self._beyond(node))
        self._queue = sorted(node for node in first if node not in self.local)
        self._queued = set(self._queue)

    def _beyond(self, supernode: int) -> list[int]:
        index = self.index
        found = []
        for run in index.runs_at(supernode).tolist():
            if run not in self.work.runs:
                a, b = int(index.run_a[run]), int(index.run_b[run])
                found.append(b if a == supernode else a)
        for gap in self._gap_at.get(supernode, ()):
            found.extend(end for end in (gap.a, gap.b) if end >= 0 and end != supernode)
        return found

    def grow(self, nodes: int) -> None:
        """Take in the next supernodes outward until there are at least `nodes`, or all."""
        at = 0
        new: list[int] = []
        while at < len(self._queue) and self.size + len(new) < nodes:
            node = self._queue[at]
            at += 1
            new.append(node)
            self.local[node] = len(self.supernode)
            self.supernode.append(node)
            for other in sorted(self._beyond(node)):
                if other not in self.local and other not in self._queued:
                    self._queued.add(other)
                    self._queue.append(other)
        self._queue = self._queue[at:]
        self.size += len(new)
        self._add_edges(new)
        self._arcs = self._rim = None

    def _add_edges(self, new: list[int]) -> None:
        index, runs = self.index, []
        for node in [*(self.work.supernodes if not self.edges else ()), *new]:
            for run in index.runs_at(node).tolist():
                if (
                    run not in self._seen_runs
                    and int(index.run_a[run]) in self.local
                    and int(index.run_b[run]) in self.local
                ):
                    self._seen_runs.add(run)
                    runs.append(run)
        if runs:
            self.sites.prepare(np.concatenate([index.pieces_of(run) for run in runs]))
        for run in runs:
            self.edges.append(self._run_edge(run))
        known = set() if not self.edges else {id(edge.gap) for edge in self.edges}
        for gap in self.work.gaps:
            ends = [end for end in (gap.a, gap.b) if end >= 0]
            if id(gap) not in known and all(end in self.local for end in ends):
                self.edges.append(self._gap_edge(gap))

    def _run_edge(self, run: int) -> Edge:
        index = self.index
        a, b = int(index.run_a[run]), int(index.run_b[run])
        near_a, near_b = self.work.near_m.get(a), self.work.near_m.get(b)
        if near_a is None and near_b is None and run not in self.forced:
            from_a, from_b = self.sites.run_choices(run, True), self.sites.run_choices(run, False)
        else:
            from_a, from_b = self._choices(run, self.run_shape(run))
        gas = self.sites.gas_minor(float(index.run_volume_m3[run]))
        lost = (0, 0) if self.stranded is None else (self._lost(run, b, from_a), self._lost(run, a, from_b))
        return Edge(run, self.local[a], self.local[b], None, from_a, from_b, gas, *lost)

    def run_shape(self, run: int) -> Shape:
        """Return a run's shape from its a end, knowing how near its ends are to the work."""
        index, far = self.index, float("inf")
        near = self.work.near_m
        return self.sites.with_gap(
            run_shape(index, run), near.get(int(index.run_a[run]), far), near.get(int(index.run_b[run]), far)
        )

    def _choices(self, run: int, shape: Shape) -> tuple[tuple[Choice, ...], tuple[Choice, ...]]:
        places = [
            at for at in (self.place_on(shape, *want) for want in self.forced.get(run, ())) if at is not None
        ]
        if not places:
            return self.sites.choices(shape), self.sites.choices(shape.turned())
        at = places[0]
        return self.sites.choices(shape, at), self.sites.choices(shape.turned(), shape.length_m - at)

    def _lost(self, run: int, far: int, choices: tuple[Choice, ...]) -> int:
        return 0 if self.stranded is None or far < 0 or not choices else self.stranded(run, far)

    @staticmethod
    def place_on(shape: Shape, chainage_m: float, pipe: int) -> float | None:
        """Return where a chainage of a pipe lies on a shape [m], or None."""
        for leg in shape.legs:
            at = leg.start_m + leg.sign * (chainage_m - leg.chainage_m)
            if leg.pipe == pipe and leg.start_m - 1e-6 <= at <= leg.end_m + 1e-6:
                return at
        return None

    def _gap_edge(self, gap: Gap) -> Edge:
        near, far = self.work.near_m, float("inf")
        shape = self.sites.with_gap(
            gap.shape,
            0.0 if gap.a < 0 else near.get(gap.a, far),
            0.0 if gap.b < 0 else near.get(gap.b, far),
        )
        u = SOURCE if gap.a < 0 else self.local[gap.a]
        v = SOURCE if gap.b < 0 else self.local[gap.b]
        from_u, from_v = self._choices(gap.run, shape)
        pipes = self.index.network.pipes
        area = 0.25 * np.pi * float(pipes.bore_m[shape.legs[0].pipe]) ** 2 if shape.legs else 0.0
        lost_u, lost_v = self._lost(gap.run, gap.b, from_u), self._lost(gap.run, gap.a, from_v)
        return Edge(
            gap.run, u, v, gap, from_u, from_v, self.sites.gas_minor(area * shape.length_m), lost_u, lost_v
        )

    def rim(self) -> NDArray[np.bool_]:
        """Return which local nodes have a run that leads beyond the neighbourhood."""
        if self._rim is None:
            self._rim = self._find_rim()
        return self._rim

    def _find_rim(self) -> NDArray[np.bool_]:
        rim = np.zeros(len(self.supernode), dtype=np.bool_)
        waiting = set(self._queue)
        if not waiting:
            return rim
        for node, local in self.local.items():
            if not rim[local] and not waiting.isdisjoint(self._beyond(node)):
                rim[local] = True
        rim[SOURCE] |= any(end in waiting for gap in self.work.gaps for end in (gap.a, gap.b))
        return rim

    def barred(self, supernode: int) -> bool:
        """Whether a supernode may never be in a zone."""
        return bool(self.index.blocked[supernode]) or (
            bool(self.kept) and not self.kept.isdisjoint(self.index.customers_at(supernode).tolist())
        )

    def node_minor(self, supernode: int) -> int:
        """Return what a supernode costs in a zone: customers attached nowhere else, gas of its services."""
        customers = self.index.customers_at(supernode)
        single = customers[~self.index.several[customers]]
        return int(self.off_minor[single].sum()) + self.sites.gas_minor(
            float(self.index.super_volume_m3[supernode])
        )

    def arcs(self) -> Arcs:
        """Return the local graph with capacities; auxiliary nodes of customers come last."""
        if self._arcs is None:
            self._arcs = self._build_arcs()
        return self._arcs

    def _build_arcs(self) -> Arcs:
        arcs = _ArcList()
        for supernode, node in self.local.items():
            if self.barred(supernode):
                arcs.add(node, SINK, INFINITE)
            arcs.pay(node, self.node_minor(supernode))
        n = self._add_shared(arcs)
        for edge in self.edges:
            if edge.u == edge.v:
                arcs.pay(edge.u, edge.gas_minor)
                continue
            out_u, out_v = edge.cost(True), edge.cost(False)
            # The gas of an edge wholly inside is shared by its ends, so that no arc becomes negative.
            gas = min(edge.gas_minor, out_u + out_v)
            share = min(max(gas // 2, gas - out_v), out_u)
            arcs.add(edge.u, edge.v, out_u - share if out_u < INFINITE else INFINITE)
            arcs.add(edge.v, edge.u, out_v - (gas - share) if out_v < INFINITE else INFINITE)
            arcs.pay(edge.u, share)
            arcs.pay(edge.v, gas - share)
        self.constant_minor = arcs.constant
        return Arcs.build(
            n, *(np.array(column, np.int64) for column in (arcs.tails, arcs.heads, arcs.values))
        )

    def _add_shared(self, arcs: _ArcList) -> int:
        """Give every customer attached at several supernodes one node of its own; return how many nodes."""
        shared: dict[int, set[int]] = {}
        for supernode, node in self.local.items():
            customers = self.index.customers_at(supernode)
            for row in customers[self.index.several[customers]].tolist():
                shared.setdefault(row, set()).add(node)
        n = len(self.supernode)
        for row in sorted(shared):
            if SOURCE in shared[row]:
                arcs.pay(SOURCE, int(self.off_minor[row]))
                continue
            for node in sorted(shared[row]):
                arcs.add(node, n, INFINITE)
            arcs.add(n, SINK, int(self.off_minor[row]))
            n += 1
        return n


class _ArcList:
    """Arcs as they are gathered; what the work itself pays is a constant."""

    def __init__(self) -> None:
        self.tails: list[int] = []
        self.heads: list[int] = []
        self.values: list[int] = []
        self.constant = 0

    def add(self, tail: int, head: int, value: int) -> None:
        self.tails.append(tail)
        self.heads.append(head)
        self.values.append(value)

    def pay(self, node: int, value: int) -> None:
        if node == SOURCE:
            self.constant += value
        else:
            self.add(node, SINK, value)
