"""Offsets a crew can tape out: from a stop to corners, junctions and the street, with where they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.arrays import Floats
from netplan.planfile import StatePipes
from netplan.planfile.model import Stop

__all__ = ["Offset", "offsets_of"]

Layers = Mapping[str, gpd.GeoDataFrame]

REACH_M: Final = 40.0
_CORNERS: Final = 2
_LEAST_ANGLE_DEG: Final = 35.0


@dataclass(frozen=True, slots=True)
class Offset:
    """A straight distance from the barrier nearest the work to something a crew can see or find.

    Parameters
    ----------
    label : str
        Letter on the sketch.
    what : str
        What is measured from.
    distance_m : float
        Horizontal distance on the ground [m].
    x_m, y_m : float
        Where it is [m].
    """

    label: str
    what: str
    distance_m: float
    x_m: float
    y_m: float


def offsets_of(stop: Stop, layers: Layers, pipes: StatePipes, length_scale: float) -> tuple[Offset, ...]:
    """Return the offsets of a stop: two building corners well apart, the next junction, the street's line.

    Parameters
    ----------
    stop : Stop
    layers : mapping of str to GeoDataFrame
    pipes : StatePipes
        Pipes of the option.
    length_scale : float
        Planar over true length [-]: distances are those on the ground.
    """
    at = np.array([stop.x, stop.y])
    found = [("building corner", corner) for corner in _corners(at, layers)]
    junction = _junction(at, pipes)
    if junction is not None:
        found.append(("junction of mains, as recorded", junction))
    found += _street(at, layers)
    offsets = []
    for k, (what, place) in enumerate(found):
        distance = float(np.hypot(*(place - at))) / length_scale
        offsets.append(Offset(chr(ord("A") + k), what, distance, float(place[0]), float(place[1])))
    return tuple(offsets)


def _corners(at: Floats, layers: Layers) -> list[Floats]:
    if "buildings" not in layers:
        return []
    near = layers["buildings"].geometry.array
    near = near[shapely.dwithin(near, shapely.Point(at), REACH_M)]
    corners = shapely.get_coordinates(near)
    if not len(corners):
        return []
    distance = np.hypot(*(corners - at).T)
    order = np.lexsort((corners[:, 1], corners[:, 0], distance))
    chosen: list[Floats] = []
    for corner in corners[order]:
        if np.hypot(*(corner - at)) > REACH_M or len(chosen) == _CORNERS:
            break
        if all(_angle(corner - at, other - at) >= _LEAST_ANGLE_DEG for other in chosen):
            chosen.append(corner)
    return chosen


def _angle(a: Floats, b: Floats) -> float:
    turn = np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
    # Corners on one line through the stop give a poor fix, opposite or not.
    return float(min(abs(turn), 180.0 - abs(turn)))


def _junction(at: Floats, pipes: StatePipes) -> Floats | None:
    rows = np.flatnonzero(pipes.is_main & (pipes.length_m > 0))
    lines = pipes.lines(rows)
    near = shapely.dwithin(lines, shapely.Point(at), 2 * REACH_M)
    rows, lines = rows[near], lines[near]
    ends = np.concatenate([pipes.from_node[rows], pipes.to_node[rows]])
    places: Any = np.concatenate([shapely.get_point(lines, 0), shapely.get_point(lines, -1)])
    node, first, count = np.unique(ends, return_index=True, return_counts=True)
    met = first[count >= 3]
    if not len(met):
        return None
    xy = shapely.get_coordinates(places[met])
    distance = np.hypot(*(xy - at).T)
    nearest = int(np.lexsort((node[count >= 3], distance))[0])
    return xy[nearest] if distance[nearest] <= 2 * REACH_M else None


def _street(at: Floats, layers: Layers) -> list[tuple[str, Floats]]:
    if "streets" not in layers:
        return []
    shapes = layers["streets"].geometry.array
    shapes = shapes[shapely.dwithin(shapes, shapely.Point(at), REACH_M)]
    if not len(shapes):
        return []
    is_area = shapely.get_dimensions(shapes) == 2
    what = "kerb line, as mapped" if is_area.any() else "middle of the street, as mapped"
    lines = shapely.boundary(shapes[is_area]) if is_area.any() else shapes
    point = shapely.Point(at)
    links = shapely.shortest_line(point, lines)
    nearest = links[int(np.argmin(shapely.length(links)))]
    return [(what, shapely.get_coordinates(nearest)[-1])]
