"""Valves on mains: which main each one closes, and where."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.joining import POINT_REACH_M, SNAP_M, Joins, PipePolylines
from netplan.network.notes import Notes
from netplan.network.placing import Candidates, MainIndex, points_along
from netplan.network.text import Text
from netplan.network.vocabulary import ValveState

__all__ = ["notice_unknown_states", "place_valves"]


def place_valves(
    course: PipePolylines,
    joins: Joins,
    index: MainIndex,
    ids: Text,
    xy_m: Floats,
    system: NDArray[np.int16],
    notes: Notes,
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
    ids: Text, state: NDArray[np.uint8], pipe: Ints, xy_m: Floats, notes: Notes
) -> None:
    """Notice placed valves whose state is not known."""
    notes.add_each(
        "valve-state-unknown",
        "valves",
        ids,
        (pipe >= 0) & (state == ValveState.UNKNOWN),
        Severity.WARNING,
        "has no known state; gas is taken to pass it, and it is never a stop",
        "record whether it is open or closed",
        xy_m,
    )


def _notice_unclear(
    course: PipePolylines,
    joins: Joins,
    near: Candidates,
    ids: Text,
    xy_m: Floats,
    pipe: Ints,
    distance: Floats,
    measure: Floats,
    notes: Notes,
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
        "lies equally near along several mains; it is taken to close one of them",
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
        "lies on a tee or tapping of its main; on which side of it is not clear",
        "move it a little to the side where it lies",
        xy_m,
    )


def _at_joint_of_two(
    course: PipePolylines, joins: Joins, pipe: Ints, measure: Floats, other: Ints
) -> NDArray[np.bool_]:
    if not len(pipe):
        return np.zeros(0, dtype=bool)
    at_start, at_end = measure <= SNAP_M, measure >= course.length_m[pipe] - SNAP_M
    node = np.where(at_start, joins.end_node[pipe, 0], joins.end_node[pipe, 1])
    links = np.bincount(joins.end_node.ravel(), minlength=joins.n_nodes)
    links += 2 * np.bincount(joins.before, minlength=joins.n_nodes)
    meets = (joins.end_node[other] == node[:, None]).any(axis=1)
    return np.asarray((at_start | at_end) & meets & (links[node] == 2))


def _beside_a_tee(joins: Joins, pipe: Ints, measure: Floats) -> NDArray[np.bool_]:
    result = np.zeros(len(pipe), dtype=bool)
    placed = np.flatnonzero(pipe >= 0)
    chosen = np.isin(joins.pipe, pipe[placed])
    row, at = joins.pipe[chosen], joins.measure_m[chosen]
    first = np.searchsorted(row, pipe[placed])
    last = np.searchsorted(row, pipe[placed], side="right")
    for valve, low, high in zip(placed.tolist(), first.tolist(), last.tolist(), strict=True):
        result[valve] = bool((np.abs(at[low:high] - measure[valve]) <= SNAP_M).any())
    return result
