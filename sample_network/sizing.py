"""How large the main in each street is: by the load that comes down to it from the stations."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import networkx as nx

from sample_network.houses import House
from sample_network.roads import Node, Road

__all__ = ["STATIONS", "Stretch", "area_of", "near_node", "stretches"]

STATIONS: Final[dict[str, Node]] = {"RS-1": (-40.0, 548.0), "RS-2": (600.0, 960.0), "RS-3": (1080.0, 841.0)}
"""Near which junction each regulator station stands, local metres."""

_STEPS: Final = (
    (0.0, 63),
    (15.0, 75),
    (28.0, 90),
    (55.0, 110),
    (90.0, 125),
    (140.0, 160),
    (200.0, 180),
    (340.0, 250),
    (620.0, 315),
)
"""Load [m³/h] from which each outside diameter [mm] is laid."""

_LEAST: Final = {"main": 125, "local": 90, "close": 63, "estate": 125}
_LOAD_M3H: Final = {
    "core": 1.55,
    "hillside": 2.0,
    "northeast": 1.7,
    "west": 1.7,
    "southbank": 1.6,
    "trading estate": 11.0,
}


@dataclass
class Stretch:
    """A street between two neighbouring places of the graph, with its load and size."""

    road: int
    k: int
    ends: tuple[Node, Node]
    length_m: float
    own_m3h: float = 0.0
    load_m3h: float = 0.0
    od_mm: int = 63
    looped: bool = False
    tip: bool = False

    @property
    def crosses(self) -> bool:
        """Whether it leads from one area into the other."""
        return not self.tip and area_of(self.ends[0]) != area_of(self.ends[1])


def area_of(place: Node) -> str:
    """Return the low-pressure area a place belongs to: west, or east of the old town wall."""
    return "east" if place[1] > 330 and place[0] > 955 - 0.12 * (place[1] - 500) else "west"


def near_node(graph: nx.Graph[Node], place: Node) -> Node:
    """Return the node of the graph nearest to a place."""
    nodes: list[Node] = sorted(graph.nodes)
    return min(nodes, key=lambda n: (n[0] - place[0]) ** 2 + (n[1] - place[1]) ** 2)


def stretches(graph: nx.Graph[Node], roads: list[Road], houses: list[House]) -> list[Stretch]:
    """Cut the roads at their places, and size each stretch."""
    found = [
        Stretch(r, k, ends, road.at_m[k + 1] - road.at_m[k], tip=any(graph.degree(n) == 1 for n in ends))
        for r, road in enumerate(roads)
        for k, ends in enumerate(itertools.pairwise(road.nodes))
    ]
    by_road: dict[int, list[Stretch]] = {}
    for item in found:
        by_road.setdefault(item.road, []).append(item)
    for house in houses:
        at = roads[house.road].at_m
        k = next((k for k in range(len(at) - 1) if house.at_m <= at[k + 1]), len(at) - 2)
        by_road[house.road][k].own_m3h += house.load_m3h or _LOAD_M3H[house.quarter]
    _spread(graph, roads, found)
    for item in found:
        least = _LEAST[roads[item.road].kind]
        if roads[item.road].name.startswith("Ring Road"):
            least = 180
        item.od_mm = max(least, max(od for load, od in _STEPS if item.load_m3h >= load))
    return found


def _spread(graph: nx.Graph[Node], roads: list[Road], found: list[Stretch]) -> None:
    """Send each stretch's load up the shortest way to a station of its area."""
    net: nx.Graph[Node] = nx.Graph()
    for item in found:
        if not item.crosses:
            weight = item.length_m * (0.55 if roads[item.road].kind == "main" else 1.0)
            net.add_edge(*item.ends, weight=weight, item=item)
    starts = {near_node(graph, place) for place in STATIONS.values()}
    far: dict[Node, float]
    way: dict[Node, list[Node]]
    far, way = nx.multi_source_dijkstra(net, starts, weight="weight")  # type: ignore[assignment]
    for item in found:
        foot = min((e for e in item.ends if e in far), key=lambda e: far[e])
        item.load_m3h += item.own_m3h
        path = way[foot]
        for a, b in itertools.pairwise(path):
            up = net.edges[a, b]["item"]
            if up is not item:
                up.load_m3h += item.own_m3h
    for item in found:
        a, b = item.ends
        item.looped = not item.crosses and not (
            (b in way and a in way[b][-2:-1]) or (a in way and b in way[a][-2:-1])
        )
