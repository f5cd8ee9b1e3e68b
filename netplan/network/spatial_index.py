"""Which points lie near each other or on lines, by sorting into cells: for millions at once.

A tree of geometries answers the same, several times slower, because every query is a call of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.network.concurrency import in_parallel
from netplan.network.flat_geometry import measures

__all__ = ["close_pairs", "points_on_lines"]

_CHUNK: Final = 500_000
_BLOCK: Final = 100_000
_DENSE: Final = 40_000_000
_CELLS_A_SEGMENT: Final = 1.5


def close_pairs(points_m: Floats, reach_m: float) -> Ints:
    """Return pairs of points at most `reach_m` [m] apart, each once, shape (k, 2)."""
    cell = np.floor((points_m - _lowest(points_m)) / reach_m).astype(np.int64)
    width = int(cell[:, 1].max(initial=0)) + 3
    key = cell[:, 0] * width + cell[:, 1] + 1
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    # The rest of a point's own cell and the next one, then the three beside: the other half of the eight
    # neighbours sees it from their side.
    ranges = (
        (np.arange(1, len(order) + 1), np.searchsorted(sorted_key, sorted_key + 1, side="right")),
        (
            np.searchsorted(sorted_key, sorted_key + (width - 1)),
            np.searchsorted(sorted_key, sorted_key + (width + 1), side="right"),
        ),
    )
    found: list[Ints] = []
    for first, last in ranges:
        some = np.flatnonzero(last > first)
        one, other = _expand(some, first[some], last[some])
        pair = np.column_stack([order[one], order[other]])
        near = np.hypot(*(points_m[pair[:, 0]] - points_m[pair[:, 1]]).T) <= reach_m
        found.append(pair[near])
    return np.concatenate(found)


def points_on_lines(
    points_m: Floats, coords_m: Floats, start: Ints, reach_m: float
) -> tuple[Ints, Ints, Floats, Floats]:
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
    parts = _near(points_m, coords_m, vertex, reach_m)
    point, segment, share, distance = (np.concatenate(column) for column in zip(*parts, strict=True))
    at = vertex[segment]
    measure = running[at] - running[start[line[segment]]] + share * (running[at + 1] - running[at])
    host = line[segment]
    chosen = _best_of_each(host * len(points_m) + point, distance, measure)
    return point[chosen], host[chosen], measure[chosen], distance[chosen]


def _best_of_each(key: Ints, distance: Floats, measure: Floats) -> Ints:
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
    points: Floats, coords: Floats, vertex: Ints, reach: float
) -> list[tuple[Ints, Ints, Floats, Floats]]:
    """Return points, segments, share along the segment and distance, a block of segments at a time."""
    step = coords[vertex + 1] - coords[vertex]
    size = max(float(np.hypot(*step.T).mean()) / _CELLS_A_SEGMENT, 20 * reach)
    cells = _Cells.of(points, size)
    begin = coords[vertex] - cells.origin

    def block(first: int) -> list[tuple[Ints, Ints, Floats, Floats]]:
        own = slice(first, first + _BLOCK)
        ways = _Ways(*(np.ascontiguousarray(column) for column in (*begin[own].T, *step[own].T)))
        return [
            (point, segment + first, share, distance)
            for point, segment, share, distance in _near_ways(cells, ways, reach)
        ]

    found = in_parallel(block, range(0, len(vertex), _BLOCK))
    return [part for parts in found for part in parts]


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Points sorted into square cells, numbered column by column.

    `order` are the points in the order of their cells, `x` and `y` their places from the origin in that
    order; `key` are their cells, or `begin` where each cell begins, when there are not too many.
    """

    origin: Floats
    size: float
    wide: int
    high: int
    order: Ints
    x: Floats
    y: Floats
    key: Ints
    begin: Ints | None

    @classmethod
    def of(cls, points: Floats, size: float) -> _Cells:
        origin = _lowest(points)
        x, y = (points[:, axis] - origin[axis] for axis in (0, 1))
        column, row = (np.floor(value / size).astype(np.int64) for value in (x, y))
        wide, high = int(column.max()) + 1, int(row.max()) + 1
        key = column * high + row
        order = np.argsort(key, kind="stable")
        begin = None
        if wide * high <= _DENSE:
            begin = np.zeros(wide * high + 1, dtype=np.int64)
            np.cumsum(np.bincount(key, minlength=wide * high), out=begin[1:])
        return cls(origin, size, wide, high, order, x[order], y[order], key[order], begin)

    def ranges(self, low: Ints, top: Ints) -> tuple[Ints, Ints]:
        """Return where the points of the cells from low to top stand among the sorted ones."""
        if self.begin is not None:
            return self.begin[low], self.begin[top + 1]
        return np.searchsorted(self.key, low), np.searchsorted(self.key, top, side="right")


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """Segments: where they begin, from the origin of the cells, and how far they go [m]."""

    x: Floats
    y: Floats
    step_x: Floats
    step_y: Floats


def _near_ways(cells: _Cells, ways: _Ways, reach: float) -> Iterator[tuple[Ints, Ints, Floats, Floats]]:
    segment, low, top = _columns(cells, ways, reach)
    first, last = cells.ranges(low, top)
    some = np.flatnonzero(last > first)
    segment, first, count = segment[some], first[some], (last - first)[some]
    total = np.concatenate([[0], np.cumsum(count)])
    bounds = np.unique(np.append(np.searchsorted(total, np.arange(0, int(total[-1]), _CHUNK)), len(some)))
    square = np.maximum(ways.step_x**2 + ways.step_y**2, 1e-12)
    for span in (slice(*pair) for pair in pairwise(bounds.tolist())):
        own, often = segment[span], count[span]
        which, place = _expand(own, first[span], first[span] + often)
        way_x, way_y = np.repeat(ways.step_x[own], often), np.repeat(ways.step_y[own], often)
        gap_x = cells.x[place] - np.repeat(ways.x[own], often)
        gap_y = cells.y[place] - np.repeat(ways.y[own], often)
        share = np.clip((gap_x * way_x + gap_y * way_y) / np.repeat(square[own], often), 0.0, 1.0)
        gap_x -= way_x * share
        gap_y -= way_y * share
        close = np.flatnonzero(gap_x**2 + gap_y**2 <= (reach * 1.001) ** 2)
        distance = np.hypot(gap_x[close], gap_y[close])
        within = distance <= reach
        close = close[within]
        yield cells.order[place[close]], which[close], share[close], distance[within]


def _columns(cells: _Cells, ways: _Ways, reach: float) -> tuple[Ints, Ints, Ints]:
    """Cut segments into columns of cells: segment, and the first and last cell it touches in the column."""
    size, wide, high = cells.size, cells.wide, cells.high
    end_x = ways.x + ways.step_x
    west, east = np.minimum(ways.x, end_x) - reach, np.maximum(ways.x, end_x) + reach
    first = np.clip(np.floor(west / size), 0, wide).astype(np.int64)
    last = np.clip(np.floor(east / size), -1, wide - 1).astype(np.int64)
    segment, column = _expand(np.arange(len(end_x)), first, np.maximum(last + 1, first))
    x, way = ways.x[segment], ways.step_x[segment]
    with np.errstate(divide="ignore", invalid="ignore"):
        enter = (column * size - reach - x) / way
        leave = ((column + 1) * size + reach - x) / way
    steep = np.abs(way) < 1e-9
    one = np.where(steep, 0.0, np.clip(np.minimum(enter, leave), 0.0, 1.0))
    other = np.where(steep, 1.0, np.clip(np.maximum(enter, leave), 0.0, 1.0))
    y, rise = ways.y[segment], ways.step_y[segment]
    one, other = y + one * rise, y + other * rise
    low = np.clip(np.floor((np.minimum(one, other) - reach) / size), 0, high).astype(np.int64)
    top = np.clip(np.floor((np.maximum(one, other) + reach) / size), -1, high - 1).astype(np.int64)
    inside = top >= low
    column = column[inside] * high
    return segment[inside], column + low[inside], column + top[inside]


def _lowest(points: Floats) -> Floats:
    """Return the least x and y; one column at a time, as numpy is slow along a short axis."""
    return np.array([points[:, 0].min(), points[:, 1].min()])


def _expand(owner: Ints, first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Return each owner repeated beside every number of its range [first, last)."""
    count = last - first
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(owner, count), np.repeat(first, count) + offset
