"""The street graph: old roads, and local streets grown between them."""

from __future__ import annotations

import itertools
import math
from typing import Any

import networkx as nx
import numpy as np
import shapely
from scipy.spatial import Delaunay, KDTree

from sample_network.ground import ARTERIALS, QUARTERS, rail_land, river, smooth

__all__ = ["street_graph"]

Node = tuple[float, float]
STEP_M = 88.0
CLEAR_M = 47.0
CLOSE_M = 36.0
CLOSE_SHARE = 0.3


def _arterials(graph: nx.Graph[Node]) -> dict[str, Any]:
    lines = {name: smooth(points) for name, points in ARTERIALS.items()}
    fixed: list[tuple[float, float]] = []
    for line in lines.values():
        fixed += [line.coords[0], line.coords[-1]]
    for one, other in itertools.combinations(lines.values(), 2):
        meet = one.intersection(other)
        fixed += [(p.x, p.y) for p in shapely.get_parts(meet) if p.geom_type == "Point"]
    nodes: list[tuple[float, float]] = []
    for place in fixed:
        if all(math.dist(place, n) > 12 for n in nodes):
            nodes.append(place)
    for name, line in lines.items():
        stops = sorted(
            {
                round(line.project(shapely.Point(p)), 3): p
                for p in nodes
                if line.distance(shapely.Point(p)) < 12
            }.items()
        )
        for (low, a), (high, b) in itertools.pairwise(stops):
            n = max(1, round((high - low) / STEP_M))
            inner = [line.interpolate(low + (high - low) * k / n).coords[0] for k in range(1, n)]
            chain = [a, *inner, b]
            for p, q in itertools.pairwise(chain):
                graph.add_edge(_key(p), _key(q), name=name, fixed=True)
    return lines


def _key(p: Any) -> tuple[float, float]:
    return (round(float(p[0]), 2), round(float(p[1]), 2))


def _local_points(rng: np.random.Generator, lines: dict[str, Any]) -> list[tuple[float, float]]:
    barrier = shapely.union_all([river(), rail_land()])
    roads = shapely.union_all(list(lines.values()))
    found: list[tuple[float, float]] = []
    for ring, spacing in QUARTERS.values():
        area = shapely.Polygon(ring)
        x0, y0, x1, y1 = area.bounds
        turn = rng.uniform(0, 1.2)
        for gx, gy in itertools.product(np.arange(-1200, 1200, spacing), repeat=2):
            jitter = rng.normal(0, spacing * 0.14, 2)
            cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
            x = cx + gx * math.cos(turn) - gy * math.sin(turn) + jitter[0]
            y = cy + gx * math.sin(turn) + gy * math.cos(turn) + jitter[1]
            point = shapely.Point(x, y)
            if not area.contains(point) or barrier.distance(point) < 40 or roads.distance(point) < CLEAR_M:
                continue
            if all(math.dist((x, y), p) > 0.62 * spacing for p in found):
                found.append(_key((x, y)))
    return found


def _crossing_free(graph: nx.Graph[Node], a: Any, b: Any, barrier: Any) -> bool:
    line = shapely.LineString([a, b])
    if line.distance(barrier) < 22:
        return False
    for p, q in graph.edges:
        if {p, q} & {a, b}:
            continue
        if shapely.LineString([p, q]).distance(line) < 18:
            return False
    return all(_angle(a, b, c) > 42 for c in graph[a]) and all(_angle(b, a, c) > 42 for c in graph[b])


def _angle(at: Any, one: Any, other: Any) -> float:
    u = math.atan2(one[1] - at[1], one[0] - at[0]) - math.atan2(other[1] - at[1], other[0] - at[0])
    turn = abs(math.degrees(u)) % 360
    return min(turn, 360 - turn)


def street_graph(rng: np.random.Generator) -> nx.Graph[Node]:
    """Grow the street graph; nodes are local places, edges know their road's name or none."""
    graph: nx.Graph[Node] = nx.Graph()
    lines = _arterials(graph)
    barrier = shapely.union_all([river(), rail_land()])
    local = _local_points(rng, lines)
    graph.add_nodes_from(local)
    places = sorted(graph.nodes)
    isl = set(local)
    mesh = Delaunay(np.asarray(places))
    pairs = {
        tuple(sorted((places[i], places[j])))
        for t in mesh.simplices.tolist()
        for i, j in itertools.combinations(t, 2)
    }
    tree = KDTree(np.asarray(places))
    wanted = []
    for a, b in sorted(pairs):
        length = math.dist(a, b)
        if length > 175 or not (a in isl or b in isl):
            continue
        near = tree.query_ball_point(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), length * 0.5 - 0.01)
        wanted.append((length * (1.0 if len(near) == 0 else 1.5) * rng.uniform(0.75, 1.3), a, b))
    union = nx.utils.UnionFind(places)
    for a, b in graph.edges:
        union.union(a, b)
    later = []
    for cost, a, b in sorted(wanted):
        if graph.degree(a) < 4 and graph.degree(b) < 4 and _crossing_free(graph, a, b, barrier):
            if union[a] != union[b]:
                union.union(a, b)
                graph.add_edge(a, b, name="", fixed=False)
            else:
                later.append((cost, a, b))
    _close_loops(graph, later, barrier, rng)
    _add_closes(graph, barrier, rng)
    whole = max(nx.connected_components(graph), key=len)
    return graph.subgraph(whole).copy()


def _close_loops(graph: nx.Graph[Node], later: list[Any], barrier: Any, rng: np.random.Generator) -> None:
    """Add edges that close loops of more than a few streets; some tips stay closes."""
    for _, a, b in later:
        if rng.random() < 0.28 or graph.degree(a) > 3 or graph.degree(b) > 3:
            continue
        if nx.shortest_path_length(graph, a, b) >= 4 and _crossing_free(graph, a, b, barrier):
            graph.add_edge(a, b, name="", fixed=False)


def _add_closes(graph: nx.Graph[Node], barrier: Any, rng: np.random.Generator) -> None:
    """Let short closes grow into the empty land between streets, from plain bends of the streets."""
    for at in sorted(n for n in graph if graph.degree(n) == 2):
        one, other = sorted(graph[at])
        along = math.atan2(other[1] - one[1], other[0] - one[0])
        for side in rng.permutation([1.0, -1.0]).tolist():
            turn = along + side * math.pi / 2 + rng.normal(0, 0.12)
            others = [shapely.LineString([p, q]) for p, q in graph.edges if at not in (p, q)]
            for length in (105.0, 84.0, 66.0):
                tip = (at[0] + length * math.cos(turn), at[1] + length * math.sin(turn))
                body = shapely.LineString([(at[0] + 20 * math.cos(turn), at[1] + 20 * math.sin(turn)), tip])
                free = min(line.distance(body) for line in others) > CLOSE_M
                if free and body.distance(barrier) > 30 and rng.random() < CLOSE_SHARE:
                    graph.add_edge(at, _key(tip), name="", fixed=False)
                    break
            if graph.degree(at) > 2:
                break
