"""Plots along the streets: a building each, with a number, on its street's odd or even side."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely

from sample_network.ground import rail_land, river
from sample_network.roads import ESTATE_X, Road, quarter_of

__all__ = ["House", "make_houses"]


@dataclass
class House:
    """A building on a street.

    Parameters
    ----------
    road : int
        Row of the road.
    at_m : float
        Place along its centre line [m].
    side : int
        1 on the left (odd numbers), -1 on the right (even numbers).
    number : int
    shape : Polygon
    door : tuple of float
        Where the service enters, on the front wall.
    quarter : str
    """

    road: int
    at_m: float
    side: int
    number: int
    shape: Any
    door: tuple[float, float]
    quarter: str
    tag: str = ""
    load_m3h: float = 0.0


@dataclass(frozen=True)
class Site:
    """A large building put up first: its name, about where, its size [m] and its design load [m³/h]."""

    tag: str
    near: tuple[float, float]
    side: int
    front_m: float
    width_m: float
    depth_m: float
    load_m3h: float


@dataclass(frozen=True)
class Manner:
    """How a quarter is built: plot width and its spread, gaps, setback, width and depth of houses [m]."""

    plot_m: float
    spread_m: float
    gap_share: float
    setback_m: float
    width_m: float
    depth_m: float


MANNERS: Final = {
    "core": Manner(15.0, 2.5, 0.13, 7.2, 10.5, 10.0),
    "hillside": Manner(22.0, 3.5, 0.12, 11.0, 12.5, 10.0),
    "northeast": Manner(19.5, 2.5, 0.10, 9.5, 11.0, 9.5),
    "west": Manner(20.0, 3.0, 0.12, 9.5, 11.0, 9.5),
    "southbank": Manner(17.5, 2.0, 0.08, 8.8, 10.0, 9.0),
    "trading estate": Manner(58.0, 14.0, 0.12, 18.0, 34.0, 24.0),
}
RING: Final = Manner(27.0, 7.0, 0.35, 12.5, 12.0, 10.0)
SITES: Final = (
    Site("hospital", (388.0, 952.0), 1, 24.0, 62.0, 34.0, 95.0),
    Site("school", (480.0, -88.0), -1, 22.0, 46.0, 22.0, 40.0),
    Site("care home", (985.0, 52.0), 1, 12.0, 30.0, 14.0, 14.0),
    Site("laundry works", (1420.0, 640.0), 1, 18.0, 44.0, 30.0, 60.0),
    Site("RS-1", (-62.0, 548.0), -1, 9.0, 4.5, 3.2, 0.0),
    Site("RS-2", (585.0, 960.0), -1, 9.0, 4.5, 3.2, 0.0),
    Site("RS-3", (1052.0, 842.0), -1, 9.0, 4.5, 3.2, 0.0),
)
"""Station housings stand here too: they want land like any other building."""


def _frame(line: Any, at: float) -> tuple[tuple[float, float], float]:
    a, b = line.interpolate(max(at - 2.0, 0.0)), line.interpolate(min(at + 2.0, line.length))
    p = line.interpolate(at)
    return (p.x, p.y), math.atan2(b.y - a.y, b.x - a.x)


def _box(place: tuple[float, float], turn: float, side: int, front: float, width: float, depth: float) -> Any:
    """Return the building: its front wall `front` metres from the centre line on one side."""
    along, out = (math.cos(turn), math.sin(turn)), (-side * math.sin(turn), side * math.cos(turn))
    corners = [
        (-width / 2, front),
        (width / 2, front),
        (width / 2, front + depth),
        (-width / 2, front + depth),
    ]
    return shapely.Polygon(
        [(place[0] + u * along[0] + v * out[0], place[1] + u * along[1] + v * out[1]) for u, v in corners]
    )


def _manner(road: Road, place: tuple[float, float]) -> tuple[str, Manner]:
    quarter = "trading estate" if place[0] > ESTATE_X - 30 else quarter_of(place)
    if quarter == "trading estate" and place[0] <= ESTATE_X - 30:
        quarter = "northeast"
    if road.name.startswith("Ring Road"):
        return quarter, RING
    return quarter, MANNERS[quarter]


class _Land:
    """What is built over already."""

    def __init__(self, roads: list[Road]) -> None:
        self.roads = shapely.STRtree([r.line for r in roads])
        self.lines = [r.line for r in roads]
        self.barred = shapely.union_all([river().buffer(9.0), rail_land().buffer(7.0)])
        shapely.prepare(self.barred)
        self.built: list[Any] = []

    def free(self, shape: Any) -> bool:
        if shape.intersects(self.barred):
            return False
        if any(self.lines[int(i)].distance(shape) < 6.2 for i in self.roads.query(shape.buffer(7.0))):
            return False
        x, y = shape.centroid.coords[0]
        near = (b for bx, by, b in self.built if abs(bx - x) < 60 and abs(by - y) < 60)
        return all(b.distance(shape) > 1.6 for b in near)

    def build(self, shape: Any) -> None:
        x, y = shape.centroid.coords[0]
        self.built.append((x, y, shape))


def make_houses(roads: list[Road], rng: np.random.Generator) -> list[House]:
    """Build along both sides of all streets, old roads first."""
    land, houses = _Land(roads), []
    for site in SITES:
        houses.append(_site(site, roads))
        land.build(houses[-1].shape.buffer(6.0, join_style="mitre"))
    order = sorted(range(len(roads)), key=lambda i: (roads[i].kind != "main", roads[i].kind == "close", i))
    for row in order:
        road = roads[row]
        for side in (1, -1):
            number = 1 if side > 0 else 2
            at = 9.0 + rng.uniform(0, 6)
            end = road.line.length - (3.0 if road.kind == "close" else 9.0)
            while at < end:
                place, turn = _frame(road.line, at)
                quarter, manner = _manner(road, place)
                width = manner.width_m * rng.uniform(0.82, 1.12)
                depth = manner.depth_m * rng.uniform(0.85, 1.2)
                front = manner.setback_m + rng.uniform(-0.6, 1.6)
                shape = _box(place, turn + rng.normal(0, 0.012), side, front, width, depth)
                gap = rng.random() < manner.gap_share
                if not gap and land.free(shape):
                    land.build(shape)
                    door_at = rng.uniform(-0.3, 0.3) * width
                    door = (
                        place[0] + door_at * math.cos(turn) - side * (front + 0.1) * math.sin(turn),
                        place[1] + door_at * math.sin(turn) + side * (front + 0.1) * math.cos(turn),
                    )
                    houses.append(House(row, at + door_at, side, number, shape, door, quarter))
                if gap or (houses and houses[-1].number == number and houses[-1].road == row):
                    number += 2
                at += max(manner.plot_m + rng.normal(0, manner.spread_m), width + 1.8)
    return houses


def _site(site: Site, roads: list[Road]) -> House:
    point = shapely.Point(site.near)
    row = min(range(len(roads)), key=lambda i: float(roads[i].line.distance(point)))
    at = float(roads[row].line.project(point))
    place, turn = _frame(roads[row].line, at)
    shape = _box(place, turn, site.side, site.front_m, site.width_m, site.depth_m)
    front = site.front_m + 0.1
    door = (place[0] - site.side * front * math.sin(turn), place[1] + site.side * front * math.cos(turn))
    quarter = "trading estate" if place[0] > ESTATE_X - 30 else quarter_of(place)
    number = 2 * int(at // 30) + (1 if site.side > 0 else 2)
    return House(row, at, site.side, number, shape, door, quarter, site.tag, site.load_m3h)
