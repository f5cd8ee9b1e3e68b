"""Pipes cut at their nodes into pieces, by sorting alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.network.joining import Joins, PipePolylines, first_of, merge_nodes
from netplan.network.model import Nodes, Pieces
from netplan.network.polyline import along, measures
from netplan.network.vocabulary import ValveState

__all__ = ["split"]

_SAME_PLACE_M = 1e-3


def split(
    course: PipePolylines, joins: Joins, valve_state: NDArray[np.uint8], scale: float
) -> tuple[Nodes, Pieces, Ints]:
    """Return nodes, pieces and the lasting row of every node of `joins`.

    Parameters
    ----------
    valve_state : uint8 array
        Codes of `words.ValveState` by valve row.
    scale : float
        Planar length over true length [-].
    """
    n, k = len(course), len(joins.pipe)
    cuts = np.bincount(joins.pipe, minlength=n)
    first = np.arange(n) + np.concatenate([[0], np.cumsum(cuts)[:-1]]) if n else np.zeros(0, dtype=np.int64)
    pipe = np.repeat(np.arange(n), cuts + 1)
    own = np.arange(k) + joins.pipe  # the part that ends at a place; the next one starts there
    begin, end = np.zeros(n + k), np.empty(n + k)
    begin_node, end_node = np.empty(n + k, dtype=np.int64), np.empty(n + k, dtype=np.int64)
    begin[own + 1], begin_node[own + 1] = joins.measure_m, joins.after
    end[own], end_node[own] = joins.measure_m, joins.before
    begin_node[first] = joins.end_node[:, 0]
    last = first + cuts
    end[last], end_node[last] = course.length_m, joins.end_node[:, 1]
    short = end - begin < _SAME_PLACE_M
    joins.merged.append(np.column_stack([begin_node[short], end_node[short]]))
    lasting = merge_nodes(joins)
    keep = np.flatnonzero(~short)
    with_valve = np.flatnonzero(joins.valve >= 0)
    valve = joins.valve[with_valve]
    order = np.argsort(np.concatenate([2 * keep, 2 * own[with_valve] + 1]), kind="stable")
    at = joins.measure_m[with_valve]
    everything = (
        (pipe[keep], joins.pipe[with_valve]),
        (begin[keep] / scale, at / scale),
        (end[keep] / scale, at / scale),
        (lasting[begin_node[keep]], lasting[joins.before[with_valve]]),
        (lasting[end_node[keep]], lasting[joins.after[with_valve]]),
        (np.full(len(keep), -1), valve),
        (np.ones(len(keep), dtype=bool), valve_state[valve] != ValveState.CLOSED),
    )
    column = [np.concatenate(pair)[order] for pair in everything]
    pieces = Pieces(
        column[0].astype(np.int32),
        column[1],
        column[2],
        column[3].astype(np.int32),
        column[4].astype(np.int32),
        column[5].astype(np.int32),
        column[6].astype(np.bool_),
    )
    return _nodes(course, joins, lasting), pieces, lasting


def _nodes(course: PipePolylines, joins: Joins, lasting: Ints) -> Nodes:
    first = first_of(lasting)
    return Nodes(
        joins.x_m[first], joins.y_m[first], _heights(course, joins, lasting, len(first)), joins.system[first]
    )


def _heights(course: PipePolylines, joins: Joins, lasting: Ints, n: int) -> NDArray[np.float64]:
    """Mean height of the pipe ends at each node; on the interior of a pipe, the height of that pipe."""
    height = np.full(n, np.nan)
    if not np.isfinite(course.height_m).any():
        return height
    running = measures(course.coords_m, course.start)
    inner = along(course.height_m, course.start, running, joins.pipe, joins.measure_m)
    at_end = course.height_m[np.column_stack([course.start[:-1], course.start[1:] - 1])]
    for node, value in (
        (joins.before, inner),
        (joins.after, inner),
        (joins.end_node.ravel(), at_end.ravel()),
    ):
        known = np.isfinite(value)
        rows = lasting[node[known]]
        count = np.bincount(rows, minlength=n)
        total = np.bincount(rows, weights=value[known], minlength=n)
        height = np.where(count > 0, total / np.maximum(count, 1), height)
    return height
