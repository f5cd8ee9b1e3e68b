"""Points on pipes: the nearest main of the system, and a node there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.network.joining import SNAP_M, Joins, PipePolylines
from netplan.network.polyline import along, measures

__all__ = ["Candidates", "MainIndex", "nodes_at", "points_along"]

_SAME_M = 1e-3


@dataclass(slots=True, eq=False)
class Candidates:
    """Mains near points, sorted by point, distance, main: rows of points and pipes, distance [m]."""

    point: Ints
    pipe: Ints
    distance_m: Floats

    def nearest(self, n_points: int) -> tuple[Ints, Floats]:
        """Return the nearest pipe of each point (-1 for none) and its distance [m]."""
        pipe = np.full(n_points, -1, dtype=np.int64)
        distance = np.full(n_points, np.inf)
        first = np.ones(len(self.point), dtype=bool)
        first[1:] = self.point[1:] != self.point[:-1]
        pipe[self.point[first]] = self.pipe[first]
        distance[self.point[first]] = self.distance_m[first]
        return pipe, distance


class MainIndex:
    """A spatial index of the mains.

    Parameters
    ----------
    course : PipePolylines
        The pipes; only the mains are indexed.
    """

    def __init__(self, course: PipePolylines) -> None:
        self._course = course
        self._tree = shapely.STRtree(course.main_shapes)

    def near(
        self, xy_m: Floats, reach_m: float | Floats, system: NDArray[np.int16] | None = None
    ) -> Candidates:
        """Return the mains within reach of each point, of its system where systems are given."""
        if not len(xy_m) or not self._course.n_mains:
            none = np.zeros(0, dtype=np.int64)
            return Candidates(none, none, np.zeros(0))
        points = np.asarray(shapely.points(xy_m), dtype=object)
        usable = np.isfinite(xy_m).all(axis=1)
        points[~usable] = None
        point, pipe = self._tree.query(points, predicate="dwithin", distance=reach_m)
        if system is not None:
            same = self._course.system[pipe] == system[point]
            point, pipe = point[same], pipe[same]
        distance = np.asarray(shapely.distance(points[point], self._course.main_shapes[pipe]))
        order = np.lexsort([pipe, np.round(distance, 6), point])
        return Candidates(point[order], pipe[order], distance[order])

    def near_two(self, xy_m: Floats, reach_m: float, spread_m: float) -> Candidates:
        """Return the nearest main of each point within reach, and others hardly farther.

        Others are those whose distance is at most `spread_m` [m] greater.
        """
        if not len(xy_m) or not self._course.n_mains:
            none = np.zeros(0, dtype=np.int64)
            return Candidates(none, none, np.zeros(0))
        points = np.asarray(shapely.points(xy_m), dtype=object)
        points[~np.isfinite(xy_m).all(axis=1)] = None
        (point, _), distance = self._tree.query_nearest(
            points, max_distance=reach_m, return_distance=True, all_matches=False
        )
        reach = np.full(len(xy_m), -1.0)
        reach[point] = np.minimum(distance + spread_m, reach_m)
        chosen = np.flatnonzero(reach >= 0)
        found = self.near(xy_m[chosen], reach[chosen])
        return Candidates(chosen[found.point], found.pipe, found.distance_m)

    def measure(self, xy_m: Floats, pipe: Ints) -> Floats:
        """Return the planar measure [m] of the foot of each point on its pipe."""
        return np.asarray(
            shapely.line_locate_point(self._course.main_shapes[pipe], shapely.points(xy_m)), dtype=np.float64
        )


def nodes_at(course: PipePolylines, joins: Joins, pipe: Ints, measure_m: Floats) -> Ints:
    """Return a node for each place on a pipe, adding nodes where none lies within the snap distance."""
    n = len(course)
    ends = np.arange(n)
    plain = joins.before == joins.after
    row = np.concatenate([ends, ends, joins.pipe[plain]])
    at = np.concatenate([np.zeros(n), course.length_m, joins.measure_m[plain]])
    node = np.concatenate([joins.end_node[:, 0], joins.end_node[:, 1], joins.before[plain]])
    wanted = np.isin(row, pipe)
    row, at, node = row[wanted], at[wanted], node[wanted]
    order = np.lexsort([node, at, row])
    row, at, node = row[order], at[order], node[order]
    span = float(course.length_m.max(initial=0.0)) + 1.0
    key, ask = row * span + at, pipe * span + measure_m
    right = np.clip(np.searchsorted(key, ask), 0, max(len(key) - 1, 0))
    left = np.clip(right - 1, 0, None)
    gap = [np.where(row[side] == pipe, np.abs(at[side] - measure_m), np.inf) for side in (left, right)]
    result = np.where(gap[0] <= gap[1], node[left], node[right])
    new = np.minimum(*gap) > SNAP_M
    if new.any():
        result[new] = _add(course, joins, pipe[new], measure_m[new])
    return result


def _add(course: PipePolylines, joins: Joins, pipe: Ints, measure_m: Floats) -> Ints:
    order = np.lexsort([measure_m, pipe])
    sorted_pipe, sorted_at = pipe[order], measure_m[order]
    starts = np.ones(len(order), dtype=bool)
    starts[1:] = (np.diff(sorted_pipe) != 0) | (np.diff(sorted_at) > _SAME_M)
    first = np.flatnonzero(starts)
    place, at = sorted_pipe[first], sorted_at[first]
    node = joins.add_nodes(points_along(course, place, at), course.system[place])
    joins.add_places(place, at, node, node, np.full(len(place), -1))
    result = np.empty(len(order), dtype=np.int64)
    result[order] = node[np.cumsum(starts) - 1]
    return result


def points_along(course: PipePolylines, pipe: Ints, measure_m: Floats) -> Floats:
    """Return the coordinates (n, 2) at planar measures on pipes [m]."""
    return along(course.coords_m, course.start, measures(course.coords_m, course.start), pipe, measure_m)
