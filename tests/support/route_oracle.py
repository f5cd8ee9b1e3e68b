"""Shortest ways of hoses by brute force: every corner, every pair, networkx. Shares no code with the package."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import networkx as nx
import shapely

XY = tuple[float, float]
CLEAR_M, LEAST_CLEAR_M, SEAM_M = 0.25, 0.14, 0.01
MITRE: dict[str, Any] = {"join_style": "mitre", "mitre_limit": 2.0, "cap_style": "square"}


def grown(shapes: Sequence[Any], by: float) -> list[Any]:
    """Return shapes with so much round them, square at corners and ends."""
    return [shapely.buffer(shape, by, **MITRE) for shape in shapes]


def shortest_way(
    start: XY,
    stop: XY,
    obstacles: Sequence[Any],
    streets: Any | None = None,
    *,
    bends_m: float = CLEAR_M,
    least_m: float = LEAST_CLEAR_M,
) -> float:
    """Return the length of the shortest way round obstacles, within the streets if any; infinity for none.

    It bends at corners `bends_m` off the obstacles, and keeps `least_m` clear of them but for ends nearer by.
    """
    path = shortest_path(start, stop, obstacles, streets, bends_m=bends_m, least_m=least_m)
    return math.inf if path is None else sum(map(math.dist, path[1:], path[:-1]))


def shortest_path(
    start: XY,
    stop: XY,
    obstacles: Sequence[Any],
    streets: Any | None = None,
    *,
    bends_m: float = CLEAR_M,
    least_m: float = LEAST_CLEAR_M,
) -> list[XY] | None:
    """Return the bends of that way, with both ends; None for none."""
    closed = shapely.union_all(grown(obstacles, least_m)) if obstacles else shapely.Point()
    room = None if streets is None else shapely.buffer(streets, 0.01, **MITRE)
    corners = [xy for shape in grown(obstacles, bends_m) for xy in shapely.get_coordinates(shape).tolist()]
    if streets is not None:
        corners += shapely.get_coordinates(streets).tolist()
    places = [start, stop, *dict.fromkeys((x, y) for x, y in corners)]
    shapely.prepare([closed, *([] if room is None else [room])])
    pairs = list(itertools.combinations(range(len(places)), 2))
    lines = shapely.linestrings([[places[a], places[b]] for a, b in pairs])
    is_free = ~shapely.intersects(closed, lines)
    near = _round_ends(start, stop, obstacles, least_m)
    if near is not None:
        at_end = [row for row, pair in enumerate(pairs) if min(pair) < 2]
        is_free[at_end] = ~shapely.intersects(near, lines[at_end])
    if room is not None:
        is_free[is_free] = shapely.covers(room, lines[is_free])
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(len(places)))
    for row in is_free.nonzero()[0].tolist():
        a, b = pairs[row]
        graph.add_edge(a, b, weight=math.dist(places[a], places[b]))
    try:
        return [places[node] for node in nx.dijkstra_path(graph, 0, 1)]
    except nx.NetworkXNoPath:
        return None


def _round_ends(start: XY, stop: XY, obstacles: Sequence[Any], least_m: float) -> Any | None:
    """Return what bars the first and last length of a way that begins or ends nearer to an obstacle.

    There an obstacle bars with its own outline, and none bars that an end lies in; None for no such end.
    """
    ends = shapely.MultiPoint([start, stop])
    wide = grown(obstacles, least_m)
    if not any(shape.intersects(ends) for shape in wide):
        return None
    bars = []
    for shape, more in zip(obstacles, wide, strict=True):
        bare = shape if shape.geom_type == "LineString" else shapely.buffer(shape, -SEAM_M, **MITRE)
        if not more.intersects(ends):
            bars.append(more)
        elif shape.geom_type == "LineString" or not bare.intersects(ends):
            bars.append(bare)
    return shapely.union_all(bars)
