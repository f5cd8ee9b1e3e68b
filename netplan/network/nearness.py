"""Which points lie near each other or on lines, by sorting into cells: for millions at once.

A tree of geometries answers the same, several times slower, because every query is a call of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.network.polyline import measures

__all__ = ["close_pairs", "points_on_lines"]

_CHUNK: Final = 4_000_000
_DENSE: Final = 40_000_000
_CELLS_A_SEGMENT: Final = 1.5
Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


def close_pairs(points_m: Floats, reach_m: float) -> Rows:
    """Return pairs of points at most `reach_m` [m] apart, each once, shape (k, 2)."""
    cell = np.floor((points_m - points_m.min(axis=0)) / reach_m).astype(np.int64)
    width = int(cell[:, 1].max(initial=0)) + 3
    key = cell[:, 0] * width + cell[:, 1] + 1
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    found: list[Rows] = []
    # A cell, and half of its eight neighbours: the other half sees it from their side.
    for step in (0, 1, width - 1, width, width + 1):
        first = np.searchsorted(sorted_key, sorted_key + step)
        last = np.searchsorted(sorted_key, sorted_key + step, side="right")
        if step == 0:
            first = np.arange(1, len(order) + 1)
        some = np.flatnonzero(last > first)
        one, other = _expand(some, first[some], last[some])
        pair = np.column_stack([order[one], order[other]])
        near = np.hypot(*(points_m[pair[:, 0]] - points_m[pair[:, 1]]).T) <= reach_m
        found.append(pair[near])
    return np.concatenate(found)


def points_on_lines(
    points_m: Floats, coords_m: Floats, start: Rows, reach_m: float
) -> tuple[Rows, Rows, Floats, Floats]:
    """Return which points lie within reach of which lines.

    Parameters
    ----------
    points_m : float array, shape (m, 2)
    coords_m, start : arrays
        Vertices of the lines one after another [m], and offsets.
    reach_m : float
        Greatest distance [m].

    Returns
    -------
    point, line : int64 arrays
        Each pair once, sorted by line, then point.
    measure_m, distance_m : float arrays
        Planar measure on the line of the place nearest to the point, and the distance [m].
    """
    if not len(points_m) or len(start) < 2:
        none = np.zeros(0, dtype=np.int64)
        return none, none, np.zeros(0), np.zeros(0)
    line = np.repeat(np.arange(len(start) - 1), np.diff(start) - 1)
    vertex = np.arange(len(line)) + line
    running = measures(coords_m, start)
    parts = list(_near(points_m, coords_m, vertex, reach_m))
    point, segment, share, distance = (np.concatenate(column) for column in zip(*parts, strict=True))
    at = vertex[segment]
    measure = running[at] - running[start[line[segment]]] + share * (running[at + 1] - running[at])
    host = line[segment]
    chosen = _best_of_each(host * len(points_m) + point, distance, measure)
    return point[chosen], host[chosen], measure[chosen], distance[chosen]


def _best_of_each(key: Rows, distance: Floats, measure: Floats) -> Rows:
    """Return the row of the least distance, then measure, of each key, sorted by key."""
    # The rows come nearly in order, which a stable sort of one key makes use of.
    order = np.argsort(key, kind="stable")
    again = np.zeros(len(order) + 1, dtype=bool)
    again[1:-1] = key[order][1:] == key[order][:-1]
    shared = np.flatnonzero(again[:-1] | again[1:])
    some = order[shared]
    order[shared] = some[np.lexsort((measure[some], distance[some], key[some]))]
    return order[~again[:-1]]


def _near(
    points: Floats, coords: Floats, vertex: Rows, reach: float
) -> Iterator[tuple[Rows, Rows, Floats, Floats]]:
    """Yield points, segments, share along the segment and distance, a chunk of candidates at a time."""
    origin = points.min(axis=0)
    begin, step = coords[vertex] - origin, coords[vertex + 1] - coords[vertex]
    local = points - origin
    size = max(float(np.hypot(*step.T).mean()) / _CELLS_A_SEGMENT, 20 * reach)
    cells = np.floor(local / size).astype(np.int64)
    wide, high = (int(value) + 1 for value in cells.max(axis=0))
    key = cells[:, 0] * high + cells[:, 1]
    order = np.argsort(key, kind="stable")
    segment, low, top = _columns(begin, step, reach, size, wide, high)
    first, last = _ranges(key[order], wide * high, low, top)
    some = np.flatnonzero(last > first)
    bounds = np.searchsorted(
        np.cumsum(last[some] - first[some]), np.arange(0, (last - first)[some].sum() + _CHUNK, _CHUNK)
    )
    square = np.maximum((step**2).sum(axis=1), 1e-12)
    for chunk in (some[a:b] for a, b in pairwise(bounds.tolist())):
        which, place = _expand(segment[chunk], first[chunk], last[chunk])
        point = order[place]
        gap = local[point] - begin[which]
        way = step[which]
        share = np.clip((gap * way).sum(axis=1) / square[which], 0.0, 1.0)
        gap -= way * share[:, None]
        distance = np.hypot(gap[:, 0], gap[:, 1])
        near = distance <= reach
        yield point[near], which[near], share[near], distance[near]


def _columns(
    begin: Floats, step: Floats, reach: float, size: float, wide: int, high: int
) -> tuple[Rows, Rows, Rows]:
    """Cut segments into columns of cells: segment, and the first and last cell it touches in the column."""
    end = begin + step
    west, east = np.minimum(begin[:, 0], end[:, 0]) - reach, np.maximum(begin[:, 0], end[:, 0]) + reach
    first = np.clip(np.floor(west / size), 0, wide).astype(np.int64)
    last = np.clip(np.floor(east / size), -1, wide - 1).astype(np.int64)
    segment, column = _expand(np.arange(len(begin)), first, np.maximum(last + 1, first))
    x, way = begin[segment, 0], step[segment, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        enter = (column * size - reach - x) / way
        leave = ((column + 1) * size + reach - x) / way
    steep = np.abs(way) < 1e-9
    one = np.where(steep, 0.0, np.clip(np.minimum(enter, leave), 0.0, 1.0))
    other = np.where(steep, 1.0, np.clip(np.maximum(enter, leave), 0.0, 1.0))
    y, rise = begin[segment, 1], step[segment, 1]
    south = np.minimum(y + one * rise, y + other * rise) - reach
    north = np.maximum(y + one * rise, y + other * rise) + reach
    low = np.clip(np.floor(south / size), 0, high).astype(np.int64)
    top = np.clip(np.floor(north / size), -1, high - 1).astype(np.int64)
    inside = top >= low
    column = column[inside] * high
    return segment[inside], column + low[inside], column + top[inside]


def _ranges(sorted_key: Rows, n_cells: int, low: Rows, top: Rows) -> tuple[Rows, Rows]:
    """Return where the points of the cells from low to top stand among the sorted ones."""
    if n_cells > _DENSE:
        return np.searchsorted(sorted_key, low), np.searchsorted(sorted_key, top, side="right")
    begin = np.zeros(n_cells + 1, dtype=np.int64)
    np.cumsum(np.bincount(sorted_key, minlength=n_cells), out=begin[1:])
    return begin[low], begin[top + 1]


def _expand(owner: Rows, first: Rows, last: Rows) -> tuple[Rows, Rows]:
    """Return each owner repeated beside every number of its range [first, last)."""
    count = last - first
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(owner, count), np.repeat(first, count) + offset
