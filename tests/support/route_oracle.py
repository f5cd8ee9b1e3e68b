"""Shortest ways of hoses by brute force: every corner, every pair, networkx. Shares no code with the package."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import networkx as nx
import shapely

XY = tuple[float, float]
CLEAR_M, LEAST_CLEAR_M = 0.25, 0.14
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

    It bends at corners `bends_m` off the obstacles, and keeps `least_m` clear of them.
    """
    closed = shapely.union_all(grown(obstacles, least_m)) if obstacles else shapely.Point()
    shapely.prepare(closed)
    room = None if streets is None else shapely.buffer(streets, 0.01, **MITRE)
    corners = [xy for shape in grown(obstacles, bends_m) for xy in shapely.get_coordinates(shape).tolist()]
    if streets is not None:
        corners += shapely.get_coordinates(streets).tolist()
    places = [start, stop, *dict.fromkeys((x, y) for x, y in corners)]
    graph = nx.Graph()
    graph.add_nodes_from(places)
    for one, other in itertools.combinations(places, 2):
        line = shapely.LineString([one, other])
        if not closed.intersects(line) and (room is None or room.covers(line)):
            graph.add_edge(one, other, weight=math.dist(one, other))
    try:
        return float(nx.dijkstra_path_length(graph, start, stop))
    except nx.NetworkXNoPath:
        return math.inf
