"""Shortest paths in a plane with barriers, by A* over the corners where such a path can bend.

A shortest path among polygons is straight but for bends at their corners, and touches what it bends at: an
edge of the visibility graph that would cut into the corner it ends at is never part of one. Which corners see
one another is asked only of those that a search comes by, and kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints

__all__ = ["Barriers", "Corners", "VisibilityGraph", "corners_of"]

ROUNDING: Final = 1e-9
"""What rounding may do to a length or a turn (own) [m, m²]."""
_START, _STOP = -2, -3
Instead = Mapping[int, Any]
"""Shapes that count instead of the barriers of their owners; None for nothing."""
_AS_THEY_ARE: Final[Instead] = MappingProxyType({})


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Corners of polygons where a path round or within them can bend.

    Parameters
    ----------
    xy : float array, shape (n, 2)
        Places.
    before, after : float arrays, shape (n, 2)
        The corners next to each on its ring.
    """

    xy: Floats
    before: Floats
    after: Floats

    def __len__(self) -> int:
        return len(self.xy)

    def take(self, rows: Ints | Flags) -> Corners:
        """Return some of them."""
        return Corners(self.xy[rows], self.before[rows], self.after[rows])

    def joined_with(self, other: Corners) -> Corners:
        """Return both, sorted by place: the order of the polygons then changes no answer."""
        parts = ((self.xy, other.xy), (self.before, other.before), (self.after, other.after))
        all_of = Corners(*(np.concatenate(pair) for pair in parts))
        columns = [all_of.after, all_of.before, all_of.xy]
        return all_of.take(np.lexsort([part[:, axis] for part in columns for axis in (1, 0)]))


def corners_of(polygons: NDArray[np.object_], *, within: bool = False) -> Corners:
    """Return the corners of polygons at which a path can bend.

    Parameters
    ----------
    polygons : array of shapely Polygons or MultiPolygons
    within : bool
        Whether the path runs within the polygons instead of outside them.
    """
    rings, polygon = shapely.get_rings(shapely.get_parts(polygons), return_index=True)
    is_outer = np.diff(polygon, prepend=-1) > 0
    found: list[tuple[Floats, Floats, Floats]] = [(np.zeros((0, 2)),) * 3]
    for ring, is_on_left in zip(rings, shapely.is_ccw(rings) == is_outer, strict=True):
        xy = shapely.get_coordinates(ring)[:-1]
        before, after = np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0)
        # With the polygon on its left a ring turns left where that is less than half a circle wide.
        turn = _cross(xy - before, after - xy) * (1.0 if is_on_left else -1.0)
        bends = turn < -ROUNDING if within else turn > ROUNDING
        found.append((xy[bends], before[bends], after[bends]))
    return Corners(*(np.concatenate(part) for part in zip(*found, strict=True)))


@dataclass(frozen=True, slots=True, eq=False)
class Barriers:
    """What no path may touch.

    Parameters
    ----------
    shapes : array of shapely geometries, shape (k,)
    owner : int array, shape (k,)
        Number of the thing that each is the barrier of.
    """

    shapes: NDArray[np.object_]
    owner: Ints


class VisibilityGraph:
    """Corners in a plane with barriers, and which of them see one another.

    Parameters
    ----------
    corners : Corners
        Where paths can bend; those on a barrier or outside `within` are left out.
    barriers : Barriers
    within : shapely geometry, optional
        What holds every path; None: the whole plane.
    """

    def __init__(self, corners: Corners, barriers: Barriers, within: Any | None = None) -> None:
        self._tree = shapely.STRtree(barriers.shapes)
        self._owner = barriers.owner
        self._within = within
        if within is not None:
            shapely.prepare(within)
        points = shapely.points(corners.xy)
        free = np.ones(len(corners), dtype=bool)
        free[self._tree.query(points, predicate="intersects")[0]] = False
        if within is not None:
            free &= shapely.covers(within, points)
        self._corners = corners.take(free)
        self._seen_from: dict[int, tuple[Ints, Floats]] = {}

    def shortest_path(
        self, start: Floats, stop: Floats, limit: float, instead: Instead = _AS_THEY_ARE
    ) -> Floats | None:
        """Return the vertices of the shortest path from one place to another; None where none is that short.

        Parameters
        ----------
        start, stop : float arrays, shape (2,)
        limit : float
            Greatest length of the path.
        instead : mapping of int to shape
            What counts instead of the barriers of these owners between an end of the path and the bend next
            to it; None for nothing.
        """
        if _length(stop - start) > limit + ROUNDING:
            return None
        if self._sees(start, stop[None], instead)[0]:
            return np.array([start, stop])
        xy = self._corners.xy
        before, ahead = _length(xy - start), _length(xy - stop)
        near = np.flatnonzero(before + ahead <= limit + ROUNDING)
        first, last = (near[self._seen(end, near, instead)] for end in (start, stop))
        to_stop = np.full(len(xy), np.inf)
        to_stop[last] = ahead[last]
        return self._search(start, stop, first, to_stop, limit)

    def _search(
        self, start: Floats, stop: Floats, first: Ints, to_stop: Floats, limit: float
    ) -> Floats | None:
        """Return the path over corners, of which the first are seen from the start."""
        xy = self._corners.xy
        length = np.full(len(xy), np.inf)
        length[first] = _length(xy[first] - start)
        came_from = np.full(len(xy), _START)
        ahead = _length(xy - stop)
        waiting = np.isfinite(length)
        best, best_from = limit + ROUNDING, _STOP
        while waiting.any():
            bound = np.where(waiting, length + ahead, np.inf)
            at = int(np.argmin(bound))
            if bound[at] > best:
                break
            waiting[at] = False
            if length[at] + to_stop[at] < best - (ROUNDING if best_from != _STOP else 0.0):
                best, best_from = length[at] + to_stop[at], at
            beyond, apart = self._row(at)
            nearer = length[at] + apart < length[beyond] - ROUNDING
            reached = beyond[nearer]
            length[reached] = length[at] + apart[nearer]
            came_from[reached] = at
            waiting[reached] = True
        if best_from == _STOP:
            return None
        way = [best_from]
        while came_from[way[-1]] != _START:
            way.append(int(came_from[way[-1]]))
        return np.concatenate([start[None], xy[way[::-1]], stop[None]])

    def _row(self, corner: int) -> tuple[Ints, Floats]:
        """Return the corners that a path can go on to from a corner, and how far they are."""
        if corner not in self._seen_from:
            here, others = self._corners.xy[corner], np.arange(len(self._corners))
            along = self._corners.xy - here
            others = others[_touches(self._corners.take([corner]), along) & (others != corner)]
            seen = others[self._seen(here, others, _AS_THEY_ARE)]
            self._seen_from[corner] = seen, _length(along[seen])
        return self._seen_from[corner]

    def _seen(self, place: Floats, rows: Ints, instead: Instead) -> Flags:
        """Return which corners a place sees, of those that it does not reach by cutting into the corner."""
        some = self._corners.take(rows)
        seen = _touches(some, some.xy - place)
        seen[seen] = self._sees(place, some.xy[seen], instead)
        return seen

    def _sees(self, place: Floats, others: Floats, instead: Instead) -> Flags:
        """Return which places another one sees."""
        seen = np.ones(len(others), dtype=bool)
        if not len(others):
            return seen
        ends = np.stack([np.broadcast_to(place, others.shape), others], axis=1)
        lines = shapely.linestrings(ends)
        line, barrier = self._tree.query(lines, predicate="intersects")
        if len(instead):
            line = line[~np.isin(self._owner[barrier], list(instead))]
        seen[line] = False
        for shape in instead.values():
            if shape is not None:
                seen &= ~shapely.intersects(shape, lines)
        if self._within is not None:
            seen[seen] = shapely.covers(self._within, lines[seen])
        return seen


def _touches(corners: Corners, along: Floats) -> Flags:
    """Return whether lines along these directions only touch the rings at the corners."""
    before = _cross(along, corners.before - corners.xy)
    after = _cross(along, corners.after - corners.xy)
    return np.asarray(before * after >= -ROUNDING)


def _cross(some: Floats, others: Floats) -> Floats:
    return np.asarray(some[..., 0] * others[..., 1] - some[..., 1] * others[..., 0])


def _length(some: Floats) -> Floats:
    return np.asarray(np.hypot(some[..., 0], some[..., 1]))
