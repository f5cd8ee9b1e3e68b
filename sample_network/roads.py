"""Streets with names and courses, from the street graph."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import networkx as nx
import numpy as np
import shapely

from sample_network.ground import QUARTERS, smooth
from sample_network.names import CLOSE_NAMES, ESTATE_NAMES, HILL_NAMES, LOCAL_NAMES

__all__ = ["Road", "make_roads", "quarter_of"]

Node = tuple[float, float]
STRAIGHT_DEG = 38.0
ESTATE_X = 1290.0


@dataclass(frozen=True)
class Road:
    """A street from end to end.

    Parameters
    ----------
    name : str
    kind : str
        main, local, close or estate.
    nodes : tuple
        Junctions and bends of the graph in order.
    line : LineString
        Centre line.
    at_m : tuple of float
        Distance of each node along the line [m].
    """

    name: str
    kind: str
    nodes: tuple[Node, ...]
    line: Any
    at_m: tuple[float, ...]


def quarter_of(place: Node) -> str:
    """Return the quarter a place lies in, or the nearest one."""
    point = shapely.Point(place)
    return min(QUARTERS, key=lambda name: shapely.Polygon(QUARTERS[name][0]).distance(point))


def _bend(at: Node, one: Node, other: Node) -> float:
    u = math.atan2(at[1] - one[1], at[0] - one[0]) - math.atan2(other[1] - at[1], other[0] - at[0])
    turn = abs(math.degrees(u)) % 360
    return min(turn, 360 - turn)


def _chains(graph: nx.Graph[Node]) -> list[list[Node]]:
    """Join streets that go straight on at junctions."""
    edges = sorted((min(a, b), max(a, b)) for a, b in graph.edges())
    row = {edge: i for i, edge in enumerate(edges)}
    line: nx.Graph[int] = nx.Graph()
    line.add_nodes_from(range(len(edges)))
    for at in sorted(graph.nodes):
        around = sorted(graph[at])
        name = {n: graph.edges[at, n]["name"] for n in around}
        pairs = sorted(
            ((name[a] != name[b] or not name[a], _bend(at, a, b)), a, b)
            for a, b in itertools.combinations(around, 2)
            if name[a] == name[b]
        )
        used: set[Node] = set()
        for (unlike, bend), a, b in pairs:
            if not {a, b} & used and (bend < STRAIGHT_DEG or not unlike or len(around) == 2):
                used |= {a, b}
                line.add_edge(row[min(at, a), max(at, a)], row[min(at, b), max(at, b)])
    found = []
    for part in nx.connected_components(line):
        course: nx.Graph[Node] = nx.Graph([edges[i] for i in part])
        tips = sorted(n for n in course if course.degree(n) == 1)
        if not tips:
            raise ValueError("a street goes round in a circle; change the seed")
        chain, before = [tips[0]], None
        while True:
            nxt = [n for n in course[chain[-1]] if n != before]
            if not nxt:
                break
            before = chain[-1]
            chain.append(nxt[0])
        found.append(chain)
    return sorted(found)


def _course(chain: list[Node], fixed: bool, rng: np.random.Generator) -> tuple[Any, tuple[float, ...]]:
    points: list[Node] = [chain[0]]
    for a, b in itertools.pairwise(chain):
        length = math.dist(a, b)
        if not fixed and length > 45:
            bow = float(np.clip(rng.normal(0, 0.045), -0.08, 0.08))
            points.append(((a[0] + b[0]) / 2 - bow * (b[1] - a[1]), (a[1] + b[1]) / 2 + bow * (b[0] - a[0])))
        points.append(b)
    line = smooth(tuple(points), 14.0)
    return line, tuple(float(line.project(shapely.Point(n))) for n in chain)


def make_roads(graph: nx.Graph[Node], rng: np.random.Generator) -> list[Road]:
    """Name the streets and give them their courses."""
    local, closes, estate, hill = (
        list(rng.permutation(names)) for names in (LOCAL_NAMES, CLOSE_NAMES, ESTATE_NAMES, HILL_NAMES)
    )
    roads = []
    for chain in _chains(graph):
        given = graph.edges[chain[0], chain[1]]["name"]
        line, at = _course(chain, bool(given), rng)
        middle = chain[len(chain) // 2]
        dead_end = 1 in (graph.degree(chain[0]), graph.degree(chain[-1]))
        if given:
            name, kind = given, "main"
        elif middle[0] > ESTATE_X:
            name, kind = str(estate.pop()), "estate"
        elif dead_end and line.length < 190:
            name, kind = str(closes.pop()), "close"
        elif quarter_of(middle) == "hillside":
            name, kind = str(hill.pop()), "local"
        else:
            name, kind = str(local.pop()), "local"
        roads.append(Road(name, kind, tuple(chain), line, at))
    return roads
