"""Connectivity the slow and obvious way, sharing no code with the package.

Reads the layers as they stand, joins them by the words of the input contract with shapely and networkx, cuts
mains where a plan says, and walks. Used to verify plans after the fact.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import networkx as nx
import shapely

SNAP_M = 0.05
REACH_M = 0.5
SERVICE_END_M = 5.0
INSIDE_M = 2e-6

Frames = dict[str, gpd.GeoDataFrame]
Spot = tuple[str, float]
"""A main and a chainage on it [m]."""


@dataclass(frozen=True)
class Outcome:
    """Who is where after the stops."""

    section_fed: bool
    isolated: frozenset[str]
    stranded: frozenset[str]
    fed: frozenset[str]
    dark: frozenset[tuple[str, Any]]
    """Customers and those of their ends that neither lie in the zone nor have gas."""
    zone_length_m: dict[tuple[str, str], float]
    """True length [m] of each pipe inside the zone, by (layer, id)."""


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value)


class Walker:
    """Layers of one projected CRS in metres; `scale` is planar length over true length."""

    def __init__(self, layers: Frames, scale: float = 1.0) -> None:
        self.layers = layers
        self.scale = scale
        self.lines: list[Any] = []
        self.name: list[tuple[str, str]] = []
        self.system: list[str] = []
        for layer in ("mains", "services"):
            for record in self._records(layer):
                if _text(record.get("status")) in ("", "live"):
                    self.lines.append(shapely.force_2d(record["geometry"]))
                    self.name.append((layer, str(record["id"])))
                    self.system.append(_text(record.get("system")) or "LP")
        self.row = {name: i for i, name in enumerate(self.name)}
        self.tree = shapely.STRtree(self.lines)
        self.joins = self._join()

    def _records(self, layer: str) -> list[dict[str, Any]]:
        frame = self.layers.get(layer)
        return [] if frame is None else frame.to_dict("records")

    def _join(self) -> dict[int, list[tuple[float, Any]]]:
        union: Any = nx.utils.UnionFind()
        for i, line in enumerate(self.lines):
            for at, end in ((0.0, line.coords[0]), (line.length, line.coords[-1])):
                point = shapely.Point(end)
                union.union((i, at))
                for j in (int(k) for k in self.tree.query(point, predicate="dwithin", distance=SNAP_M)):
                    if j == i or self.system[j] != self.system[i]:
                        continue
                    other = self.lines[j]
                    if shapely.Point(other.coords[0]).distance(point) <= SNAP_M:
                        union.union((i, at), (j, 0.0))
                    elif shapely.Point(other.coords[-1]).distance(point) <= SNAP_M:
                        union.union((i, at), (j, other.length))
                    else:
                        union.union((i, at), (j, round(other.project(point), 9)))
        self.joined = union
        joins: dict[int, list[tuple[float, Any]]] = defaultdict(list)
        for pipe, at in list(union.parents):
            joins[pipe].append((at, union[(pipe, at)]))
        return joins

    def on_main(self, point: Any, system: str) -> tuple[int, float] | None:
        """Return the nearest main of a system within reach and the planar measure on it."""
        near = [
            (self.lines[j].distance(point), int(j))
            for j in self.tree.query(point, predicate="dwithin", distance=REACH_M)
            if self.name[j][0] == "mains" and self.system[j] == system
        ]
        if not near:
            return None
        row = min(near)[1]
        return row, self.lines[row].project(point)

    def _placed(self, layer: str) -> list[tuple[dict[str, Any], int, float]]:
        found = []
        for record in self._records(layer):
            if _text(record.get("status")) in ("", "live"):
                place = self.on_main(
                    shapely.force_2d(record["geometry"]), _text(record.get("system")) or "LP"
                )
                if place is not None:
                    found.append((record, *place))
        return found

    def customer_ends(self) -> dict[str, list[Any]]:
        """Return the nodes of the service ends of every customer."""
        services = {name[1]: i for name, i in self.row.items() if name[0] == "services"}
        free_end: dict[int, Any] = {}
        for i in services.values():
            line = self.lines[i]
            on = [
                any(
                    self.name[int(j)][0] == "mains" and self.system[int(j)] == self.system[i]
                    for j in self.tree.query(shapely.Point(end), predicate="dwithin", distance=SNAP_M)
                )
                for end in (line.coords[0], line.coords[-1])
            ]
            free_end[i] = (i, 0.0) if on[1] and not on[0] else (i, line.length)
        ends = {i: shapely.Point(self.lines[i].interpolate(key[1])) for i, key in free_end.items()}
        found: dict[str, list[Any]] = {}
        for record in self._records("customers"):
            named = [services[s] for s in _text(record.get("service_id")).split(";") if s in services]
            if not named and ends:
                away = {i: end.distance(record["geometry"]) for i, end in ends.items()}
                least = min(away.values())
                most = least if least <= SNAP_M else min(least + 1.0, SERVICE_END_M)
                named = [i for i, gap in away.items() if gap <= most <= SERVICE_END_M]
            found[str(record["id"])] = [self.joined[free_end[i]] for i in named]
        return found

    def _marks(
        self,
        cuts: list[Spot],
        sections: list[tuple[str, float, float]],
        closed: frozenset[str],
        opened: frozenset[str],
        links: tuple[tuple[Spot, Spot], ...],
    ) -> tuple[dict[int, list[tuple[float, int, Any, Any]]], list[Any]]:
        marks: dict[int, list[tuple[float, int, Any, Any]]] = defaultdict(list)

        def add(row: int, at: float, low: Any, high: Any) -> None:
            marks[row].append((min(max(at, 0.0), self.lines[row].length), int(low != high), low, high))

        for row, there in self.joins.items():
            for at, node in there:
                add(row, at, node, node)
        for main_id, chainage in cuts:
            add(
                self.row[("mains", main_id)],
                chainage * self.scale,
                ("cut", main_id, chainage, 0),
                ("cut", main_id, chainage, 1),
            )
        sources: list[Any] = []
        for record, row, at in self._placed("regulators"):
            add(row, at, ("station", record["id"]), ("station", record["id"]))
            sources.append(("station", record["id"]))
        for main_id, low, high in sections:
            for chainage in (low, high):
                node = ("work", main_id, chainage)
                add(self.row[("mains", main_id)], chainage * self.scale, node, node)
        for spot in (end for pair in links for end in pair):
            add(self.row[("mains", spot[0])], spot[1] * self.scale, ("link", *spot), ("link", *spot))
        for record, row, at in self._placed("valves"):
            ident = str(record["id"])
            if ident in closed or (record["state"] == "closed" and ident not in opened):
                inside = min(max(at, INSIDE_M), self.lines[row].length - INSIDE_M)
                add(row, inside, ("valve", ident, 0), ("valve", ident, 1))
        return marks, sources

    def walk(
        self,
        cuts: list[Spot],
        sections: list[tuple[str, float, float]],
        closed: frozenset[str] = frozenset(),
        opened: frozenset[str] = frozenset(),
        links: tuple[tuple[Spot, Spot], ...] = (),
    ) -> Outcome:
        """Cut mains at `cuts`, close and open valves, add links, and say who is where."""
        marks, sources = self._marks(cuts, sections, closed, opened, links)
        graph: Any = nx.MultiGraph()
        pieces: list[tuple[int, float, float, Any]] = []
        for row in range(len(self.lines)):
            ordered = sorted(marks[row], key=lambda mark: (mark[0], mark[1], str(mark[2])))
            for before, after in itertools.pairwise(ordered):
                graph.add_edge(before[3], after[2])
                pieces.append((row, before[0], after[0], before[3]))
            for mark in ordered:
                graph.add_nodes_from((mark[2], mark[3]))
        for pair in links:
            graph.add_edge(("link", *pair[0]), ("link", *pair[1]))
        part = {node: k for k, nodes in enumerate(nx.connected_components(graph)) for node in nodes}
        live = {part[node] for node in sources}
        zone = {part[("work", m, c)] for m, low, high in sections for c in (low, high)}
        return self._outcome(pieces, part, live, zone)

    def _outcome(self, pieces: list[Any], part: dict[Any, int], live: set[int], zone: set[int]) -> Outcome:
        who: dict[str, set[str]] = defaultdict(set)
        dark: set[tuple[str, Any]] = set()
        for customer, nodes in self.customer_ends().items():
            parts = {part[node] for node in nodes}
            where = "isolated" if parts & zone else "fed" if parts & live else "stranded"
            who[where].add(customer)
            dark |= {(customer, node) for node in nodes if part[node] not in live | zone}
        length: dict[tuple[str, str], float] = defaultdict(float)
        for row, low, high, node in pieces:
            if part[node] in zone:
                length[self.name[row]] += (high - low) / self.scale
        return Outcome(
            section_fed=bool(zone & live),
            isolated=frozenset(who["isolated"]),
            stranded=frozenset(who["stranded"]),
            fed=frozenset(who["fed"]),
            dark=frozenset(dark),
            zone_length_m=dict(length),
        )
