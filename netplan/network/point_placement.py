"""Points placed on pipes: the nearest main of their system, a node there, and the rules for valves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog
from netplan.network.flat_geometry import interpolated_at, measures
from netplan.network.normalise import NormalisedTable
from netplan.network.pipe_joining import POINT_REACH_M, SNAP_M, NodePlaces, PipePolylines
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import ValveState

__all__ = [
    "MainCandidates",
    "MainIndex",
    "PointPlacement",
    "nodes_at",
    "notice_unknown_states",
    "place_valves",
    "points_along",
]

_SAME_M = 1e-3


@dataclass(slots=True, eq=False)
class MainCandidates:
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
    ) -> MainCandidates:
        """Return the mains within reach of each point, of its system where systems are given."""
        if not len(xy_m) or not self._course.n_mains:
            none = np.zeros(0, dtype=np.int64)
            return MainCandidates(none, none, np.zeros(0))
        points = np.asarray(shapely.points(xy_m), dtype=object)
        usable = np.isfinite(xy_m).all(axis=1)
        points[~usable] = None
        point, pipe = self._tree.query(points, predicate="dwithin", distance=reach_m)
        if system is not None:
            same = self._course.system[pipe] == system[point]
            point, pipe = point[same], pipe[same]
        distance = np.asarray(shapely.distance(points[point], self._course.main_shapes[pipe]))
        order = np.lexsort([pipe, np.round(distance, 6), point])
        return MainCandidates(point[order], pipe[order], distance[order])

    def near_two(self, xy_m: Floats, reach_m: float, spread_m: float) -> MainCandidates:
        """Return the nearest main of each point within reach, and others hardly farther.

        Others are those whose distance is at most `spread_m` [m] greater.
        """
        if not len(xy_m) or not self._course.n_mains:
            none = np.zeros(0, dtype=np.int64)
            return MainCandidates(none, none, np.zeros(0))
        points = np.asarray(shapely.points(xy_m), dtype=object)
        points[~np.isfinite(xy_m).all(axis=1)] = None
        (point, _), distance = self._tree.query_nearest(
            points, max_distance=reach_m, return_distance=True, all_matches=False
        )
        reach = np.full(len(xy_m), -1.0)
        reach[point] = np.minimum(distance + spread_m, reach_m)
        chosen = np.flatnonzero(reach >= 0)
        found = self.near(xy_m[chosen], reach[chosen])
        return MainCandidates(chosen[found.point], found.pipe, found.distance_m)

    def measure(self, xy_m: Floats, pipe: Ints) -> Floats:
        """Return the planar measure [m] of the foot of each point on its pipe."""
        return np.asarray(
            shapely.line_locate_point(self._course.main_shapes[pipe], shapely.points(xy_m)), dtype=np.float64
        )


def nodes_at(course: PipePolylines, joins: NodePlaces, pipe: Ints, measure_m: Floats) -> Ints:
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


def _add(course: PipePolylines, joins: NodePlaces, pipe: Ints, measure_m: Floats) -> Ints:
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


@dataclass(frozen=True, slots=True, eq=False)
class PointPlacement:
    """Features of the point layers, to be placed on the nearest main of their system.

    Parameters
    ----------
    course : PipePolylines
        The pipes.
    joins : NodePlaces
        Their nodes; new ones are added to it.
    index : MainIndex
        The mains.
    tables : mapping of NormalisedTable
        Features by layer.
    places : mapping of float arrays
        Their places (n, 2) [m].
    system : mapping of int16 arrays
        The system of each feature by layer.
    notes : FindingLog
        Takes a finding for each feature that lies on no main.
    """

    course: PipePolylines
    joins: NodePlaces
    index: MainIndex
    tables: Mapping[str, NormalisedTable]
    places: Mapping[str, Floats]
    system: Mapping[str, NDArray[np.int16]]
    notes: FindingLog

    def on_mains(self, layer: str) -> tuple[Ints, Floats]:
        """Return the main of each feature and the planar measure there [m]; -1 and NaN where none is near."""
        table, xy_m = self.tables[layer], self.places[layer]
        pipe, _ = self.index.near(xy_m, POINT_REACH_M, self.system[layer]).nearest(len(table))
        placed = np.flatnonzero(pipe >= 0)
        measure = np.full(len(table), np.nan)
        if len(placed):
            measure[placed] = self.index.measure(xy_m[placed], pipe[placed])
        self.notes.add_each(
            f"{layer.rstrip('s').replace('_', '-')}-on-no-main",
            layer,
            table.id if table.id is not None else table.text["station_id"],
            pipe < 0,
            Severity.WARNING,
            f"lies on no live main of its system within {POINT_REACH_M:g} m",
            "move it onto its main, or correct its system",
            xy_m,
        )
        return pipe, measure

    def nodes(self, layer: str) -> Ints:
        """Return the node of each feature on its main, -1 where none is near."""
        pipe, measure = self.on_mains(layer)
        node = np.full(len(pipe), -1, dtype=np.int64)
        placed = np.flatnonzero(pipe >= 0)
        if len(placed):
            node[placed] = nodes_at(self.course, self.joins, pipe[placed], measure[placed])
        return node


def points_along(course: PipePolylines, pipe: Ints, measure_m: Floats) -> Floats:
    """Return the coordinates (n, 2) at planar measures on pipes [m]."""
    return interpolated_at(
        course.coords_m, course.start, measures(course.coords_m, course.start), pipe, measure_m
    )


def place_valves(
    course: PipePolylines,
    joins: NodePlaces,
    index: MainIndex,
    ids: TextColumn,
    xy_m: Floats,
    system: NDArray[np.int16],
    notes: FindingLog,
) -> tuple[Ints, Floats]:
    """Give every valve a place on the main whose geometry it lies nearest along.

    Each placed valve gets two nodes of its own, one on either side.

    Returns
    -------
    pipe : int64 array
        Main that each valve closes; -1 for none within reach.
    measure_m : float array
        Planar measure on it [m]; NaN for none.
    """
    near = index.near(xy_m, POINT_REACH_M, system)
    pipe, distance = near.nearest(len(ids))
    placed = np.flatnonzero(pipe >= 0)
    measure = np.full(len(ids), np.nan)
    if len(placed):
        measure[placed] = index.measure(xy_m[placed], pipe[placed])
    _notice_unclear(course, joins, near, ids, xy_m, pipe, distance, measure, notes)
    if len(placed):
        at = points_along(course, pipe[placed], measure[placed])
        system_of = course.system[pipe[placed]]
        before, after = joins.add_nodes(at, system_of), joins.add_nodes(at, system_of)
        joins.add_places(pipe[placed], measure[placed], before, after, placed)
    notes.add_each(
        "valve-on-no-main",
        "valves",
        ids,
        (pipe < 0) & np.isfinite(xy_m[:, 0]),
        Severity.WARNING,
        f"lies on no live main of its system within {POINT_REACH_M:g} m; it closes nothing",
        "move it onto its main, or correct its system",
        xy_m,
    )
    return pipe, measure


def notice_unknown_states(
    ids: TextColumn, state: NDArray[np.uint8], pipe: Ints, xy_m: Floats, notes: FindingLog
) -> None:
    """Notice placed valves whose state is not known."""
    notes.add_each(
        "valve-state-unknown",
        "valves",
        ids,
        (pipe >= 0) & (state == ValveState.UNKNOWN),
        Severity.WARNING,
        "has no known state; it counts as open, and is never a stop",
        "record whether it is open or closed",
        xy_m,
    )


def _notice_unclear(
    course: PipePolylines,
    joins: NodePlaces,
    near: MainCandidates,
    ids: TextColumn,
    xy_m: Floats,
    pipe: Ints,
    distance: Floats,
    measure: Floats,
    notes: FindingLog,
) -> None:
    rival = (near.pipe != pipe[near.point]) & (near.distance_m <= distance[near.point] + SNAP_M)
    point, other = near.point[rival], near.pipe[rival]
    # At a plain joint of two mains it makes no difference which of them the valve is taken to close.
    harmless = _at_joint_of_two(course, joins, pipe[point], measure[point], other)
    several = np.bincount(point, minlength=len(ids)) > 1
    unclear = np.zeros(len(ids), dtype=bool)
    unclear[point[~harmless]] = True
    unclear |= several
    notes.add_each(
        "valve-main-unclear",
        "valves",
        ids,
        unclear,
        Severity.WARNING,
        "is equally near to several mains; it is taken to close one of them",
        "move it a little along the main that it closes",
        xy_m,
    )
    beside = _beside_a_tee(joins, pipe, measure) & ~unclear
    notes.add_each(
        "valve-side-unclear",
        "valves",
        ids,
        beside,
        Severity.WARNING,
        "lies on a tee or tapping of its main; it is not clear on which side",
        "move it a little to the correct side",
        xy_m,
    )


def _at_joint_of_two(
    course: PipePolylines, joins: NodePlaces, pipe: Ints, measure: Floats, other: Ints
) -> NDArray[np.bool_]:
    if not len(pipe):
        return np.zeros(0, dtype=bool)
    at_start, at_end = measure <= SNAP_M, measure >= course.length_m[pipe] - SNAP_M
    node = np.where(at_start, joins.end_node[pipe, 0], joins.end_node[pipe, 1])
    links = np.bincount(joins.end_node.ravel(), minlength=joins.n_nodes)
    links += 2 * np.bincount(joins.before, minlength=joins.n_nodes)
    meets = (joins.end_node[other] == node[:, None]).any(axis=1)
    return np.asarray((at_start | at_end) & meets & (links[node] == 2))


def _beside_a_tee(joins: NodePlaces, pipe: Ints, measure: Floats) -> NDArray[np.bool_]:
    result = np.zeros(len(pipe), dtype=bool)
    placed = np.flatnonzero(pipe >= 0)
    chosen = np.isin(joins.pipe, pipe[placed])
    row, at = joins.pipe[chosen], joins.measure_m[chosen]
    first = np.searchsorted(row, pipe[placed])
    last = np.searchsorted(row, pipe[placed], side="right")
    for valve, low, high in zip(placed.tolist(), first.tolist(), last.tolist(), strict=True):
        result[valve] = bool((np.abs(at[low:high] - measure[valve]) <= SNAP_M).any())
    return result
