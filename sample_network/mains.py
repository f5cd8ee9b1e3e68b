"""Mains: one line per run of equal pipe along a street, joined at the junctions."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import ops

from sample_network.roads import Node, Road
from sample_network.sizing import Stretch

__all__ = ["Main", "gapped", "junction_places", "lay_mains"]

OFFSET_M: Final = 2.3
LONGEST_M: Final = 340.0
BRIDGED: Final = ("Ring Road North", "Ring Road South", "High Street")
"""Streets in which a main leads across the boundary of the areas, through a closed valve."""

Floats = NDArray[np.float64]


@dataclass
class Main:
    """A main: where it lies along its road, its course, and what is recorded of it."""

    id: str
    road: int
    from_m: float
    to_m: float
    line: Any
    od_mm: float
    system: str = "LP"
    status: str = "live"
    facts: dict[str, Any] = field(default_factory=dict)
    boundary: bool = False
    stretches: tuple[Stretch, ...] = ()


def gapped(item: Stretch, bridged: set[int]) -> bool:
    """Whether the mains stop on both sides of the area boundary in this stretch."""
    return item.crosses and item.road not in bridged


def _left(line: Any, offset: float) -> Floats:
    """Return the vertices moved to the left by `offset` [m]."""
    p = np.asarray(line.coords)[:, :2]
    d = np.gradient(p, axis=0)
    normal = np.column_stack([-d[:, 1], d[:, 0]]) / np.hypot(d[:, 0], d[:, 1])[:, None]
    return np.asarray(p + offset * normal)


def junction_places(roads: list[Road]) -> tuple[list[Floats], dict[Node, Node]]:
    """Return the moved course of each road and the place of the main at each junction.

    The road that goes straight through a junction rules its place, an old road first.
    """
    moved = [_left(road.line, OFFSET_M) for road in roads]
    ruler: dict[Node, tuple[Any, Node]] = {}
    for r, road in enumerate(roads):
        coords = np.asarray(road.line.coords)
        for k, node in enumerate(road.nodes):
            vertex = int(np.argmin(np.hypot(*(coords - node).T)))
            through = 0 < k < len(road.nodes) - 1
            rank = (not through, road.kind != "main", road.kind == "close", r)
            if node not in ruler or rank < ruler[node][0]:
                ruler[node] = (rank, (float(moved[r][vertex, 0]), float(moved[r][vertex, 1])))
    return moved, {node: place for node, (_, place) in ruler.items()}


def _course(road: Road, moved: Floats, item: Stretch, place: dict[Node, Node]) -> Any:
    coords = np.asarray(road.line.coords)
    low, high = (int(np.argmin(np.hypot(*(coords - n).T))) for n in item.ends)
    inner = moved[low + 1 : high]
    points = np.vstack([place[item.ends[0]], inner, place[item.ends[1]]])
    return shapely.LineString(np.round(points, 3)).simplify(0.12)


def lay_mains(roads: list[Road], items: list[Stretch], rng: np.random.Generator) -> list[Main]:
    """Lay mains in all streets; runs of one size are one main, now and then broken at a junction."""
    moved, place = junction_places(roads)
    bridged = {r for r, road in enumerate(roads) if road.name in BRIDGED}
    bridged |= {i.road for i in items if i.crosses and i.ends[1][1] > 1000}
    mains: list[Main] = []
    by_road: dict[int, list[Stretch]] = {}
    for item in items:
        by_road.setdefault(item.road, []).append(item)
    for r, road in enumerate(roads):
        run: list[Stretch] = []
        for item in by_road[r]:
            if run and _breaks(run, item, rng):
                mains.append(_main(len(mains), road, run, moved[r], place))
                run = []
            if gapped(item, bridged):
                mains += _halves(len(mains), road, item, moved[r], place)
            else:
                run.append(item)
        if run:
            mains.append(_main(len(mains), road, run, moved[r], place))
    return mains


def _breaks(run: list[Stretch], item: Stretch, rng: np.random.Generator) -> bool:
    if item.k != run[-1].k + 1 or item.od_mm != run[-1].od_mm or item.crosses or run[-1].crosses:
        return True
    return sum(i.length_m for i in run) + item.length_m > LONGEST_M or bool(rng.random() < 0.25)


def _main(n: int, road: Road, run: list[Stretch], moved: Floats, place: dict[Node, Node]) -> Main:
    parts = [np.asarray(_course(road, moved, item, place).coords) for item in run]
    coords = np.vstack([parts[0], *(p[1:] for p in parts[1:])])
    return Main(
        f"M{n + 1:04d}",
        run[0].road,
        road.at_m[run[0].k],
        road.at_m[run[-1].k + 1],
        shapely.LineString(coords),
        float(run[0].od_mm),
        boundary=run[0].crosses,
        stretches=tuple(run),
    )


def _halves(n: int, road: Road, item: Stretch, moved: Floats, place: dict[Node, Node]) -> list[Main]:
    line = _course(road, moved, item, place)
    middle = line.length / 2
    low, high = ops.substring(line, 0, middle - 3.0), ops.substring(line, middle + 3.0, line.length)
    at = (road.at_m[item.k] + road.at_m[item.k + 1]) / 2
    spans = ((low, road.at_m[item.k], at - 3.0), (high, at + 3.0, road.at_m[item.k + 1]))
    return [
        Main(
            f"M{n + i + 1:04d}", item.road, start, end,
            shapely.transform(part, lambda c: np.round(c, 3)), float(item.od_mm), stretches=(item,),
        )
        for i, (part, start, end) in enumerate(spans)
    ]  # fmt: skip
