"""What is dug and what it costs, worked out the slow way for the oracle: shares no code with the program.

Mains of the oracle's networks are straight. An excavation is a rectangle along the main by the rules'
``excavation`` table; what is nearer to another one than ``merge_m`` is one with it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from typing import Any

import networkx as nx
import shapely
from shapely.geometry import Polygon

from netplan.network.model import Network
from netplan.rules.rule_set import Rules

__all__ = ["Ground", "grown", "one", "zone_ends"]

SURFACES = ("unknown", "verge", "footway", "carriageway", "unmade")
Dug = tuple[tuple[int, float, float], ...]
"""Main, and chainages of the outermost things on it [m], of each main that one thing takes."""


class Ground:
    """Prices and outlines of excavations on one network."""

    def __init__(self, network: Network, rules: Rules) -> None:
        self.network, self.rules = network, rules.excavation
        assert network.scale == 1.0

    def pit(self, pipe: int) -> int:
        """Return what one excavation costs over a main [minor units]."""
        surcharge = float(getattr(self.rules.price_surface, SURFACES[int(self.network.pipes.surface[pipe])]))
        return round(100 * (self.rules.price + surcharge))

    def work(self, section: Any) -> int:
        """Return what the work's own excavations cost [minor units]."""
        parts = [
            ((int(pipe), float(low), float(high)),)
            for pipe, low, high in zip(section.pipe, section.from_m, section.to_m, strict=True)
        ]
        total = 0
        for group in self.groups(parts):
            lengths = [parts[row][0] for row in group]
            metres = sum(high - low for _, low, high in lengths)
            total += max(self.pit(pipe) for pipe, _, _ in lengths)
            total += round(100 * self.rules.price_per_m * max(0.0, metres - self.rules.length_m))
        return total

    def ends(self, paid: Sequence[Dug], dead: Sequence[tuple[int, float]]) -> int:
        """Return what dead ends cost beside what is paid [minor units]."""
        if not dead:
            return 0
        things = [*paid, *(((pipe, at, at),) for pipe, at in dead)]
        total = 0
        for group in self.groups(things):
            if min(group) >= len(paid):
                total += max(self.pit(dead[row - len(paid)][0]) for row in group)
        return total

    def tee(self, paid: Sequence[Dug], pipe: int, at: float) -> int:
        """Return what a tee costs: nothing where it is one with what is paid [minor units]."""
        own = self.outline(((pipe, at, at),))
        near = any(self._one(own, shape) for shape in self._grown(paid)[1])
        return 0 if near else self.pit(pipe)

    def groups(self, things: Sequence[Dug]) -> list[list[int]]:
        """Return which things are one excavation."""
        return self._grown(things)[0]

    def _grown(self, things: Sequence[Dug]) -> tuple[list[list[int]], list[Any]]:
        shapes = [self.outline(thing) for thing in things]
        return grown(shapes, self.rules.merge_m, self.rules.width_m)

    def _one(self, a: Any, b: Any) -> bool:
        return one(a, b, self.rules.merge_m)

    def outline(self, thing: Dug) -> Any:
        """Return the rectangles along the mains of a thing."""
        return shapely.unary_union([self._rectangle(*length) for length in thing])

    def _rectangle(self, pipe: int, low: float, high: float) -> Any:
        pipes = self.network.pipes
        (x0, y0), (x1, y1) = pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]]
        size = math.dist((x0, y0), (x1, y1))
        along = (x1 - x0) / size, (y1 - y0) / size
        aside = -along[1] * self.rules.width_m / 2, along[0] * self.rules.width_m / 2
        a, b = low - self.rules.margin_m, high + self.rules.margin_m
        return Polygon(
            [
                (x0 + at * along[0] + side * aside[0], y0 + at * along[1] + side * aside[1])
                for at, side in ((a, -1), (b, -1), (b, 1), (a, 1))
            ]
        )


def one(a: Any, b: Any, within_m: float) -> bool:
    """Whether two outlines are one excavation."""
    return bool(a.intersects(b) or a.distance(b) < within_m)


def grown(shapes: list[Any], within_m: float, width_m: float) -> tuple[list[list[int]], list[Any]]:
    """Return which outlines are one excavation, and the outline of each."""
    groups = [[row] for row in range(len(shapes))]
    while True:
        near: nx.Graph[int] = nx.Graph()
        near.add_nodes_from(range(len(groups)))
        near.add_edges_from(
            (a, b)
            for a, b in itertools.combinations(range(len(groups)), 2)
            if one(shapes[a], shapes[b], within_m)
        )
        if not near.number_of_edges():
            return groups, shapes
        found = []
        for some in nx.connected_components(near):
            gaps = [
                _gap(shapes[a], shapes[b], width_m)
                for a, b in near.subgraph(some).edges
                if not shapes[a].intersects(shapes[b])
            ]
            whole = shapely.unary_union([*(shapes[row] for row in some), *gaps])
            found.append(([member for row in some for member in groups[row]], whole))
        groups, shapes = [group for group, _ in found], [shape for _, shape in found]


def _gap(a: Any, b: Any, width_m: float) -> Any:
    """Return the hull of the ends of two outlines that face each other, as far back as the width."""
    reach = a.distance(b) + width_m
    ends = [a.intersection(b.buffer(reach, quad_segs=8)), b.intersection(a.buffer(reach, quad_segs=8))]
    return shapely.unary_union(ends).convex_hull


def zone_ends(
    network: Network, zone: frozenset[int], stops: Iterable[Any]
) -> tuple[list[tuple[int, float]], list[tuple[int, list[int]]]]:
    """Return the dead ends of the mains in a zone (main, chainage), and its loops with the mains of their part.

    Parameters
    ----------
    network : Network
    zone : frozenset of int
        Nodes in it.
    stops : iterable of PlannedStop
    """
    pieces = network.pieces
    inside: nx.MultiGraph[Any] = nx.MultiGraph()
    on: dict[int, list[tuple[float, Any, bool]]] = {}
    for number, stop in enumerate(stops):
        on.setdefault(stop.piece, []).append((stop.chainage_m, number, stop.zone_is_low))
    for row in range(len(pieces)):
        pipe, a, b = int(pieces.pipe[row]), int(pieces.from_node[row]), int(pieces.to_node[row])
        if pipe >= network.pipes.n_mains:
            continue
        if row not in on:
            if pieces.is_open[row] and {a, b} & zone:
                inside.add_edge(
                    a, b, pipe=pipe, at={a: float(pieces.from_m[row]), b: float(pieces.to_m[row])}
                )
            continue
        marks = sorted(on[row])
        if len(marks) == 2 and not marks[0][2] and marks[1][2]:
            inside.add_edge(("stop", marks[0][1]), ("stop", marks[1][1]), pipe=pipe, at={})
            continue
        for _, number, is_low in marks:
            node = a if is_low else b
            at = float(pieces.from_m[row] if is_low else pieces.to_m[row])
            inside.add_edge(node, ("stop", number), pipe=pipe, at={node: at})
    dead = []
    for a, b, data in inside.edges(data=True):
        for end in (a, b):
            if isinstance(end, int) and inside.degree(end) == 1:
                dead.append((data["pipe"], data["at"][end]))
    loops = []
    for part in nx.connected_components(inside):
        own = inside.subgraph(part)
        # A valve alone is nothing that is purged.
        mains = sorted({data["pipe"] for *_, data in own.edges(data=True)})
        loops.append((own.number_of_edges() - own.number_of_nodes() + 1, mains))
    return sorted(dead), loops
