"""Shortest paths in a plane with barriers, by A* over the corners where such a path can bend.

A shortest path among polygons is straight but for bends at their corners. Which corners see one another is
asked only of those that a search comes by, and kept.
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

__all__ = ["Barriers", "VisibilityGraph"]

ROUNDING: Final = 1e-9
"""What rounding may do to a length or a turn (own) [m, m²]."""
_START, _STOP = -2, -3
Instead = Mapping[int, Any]
"""Shapes that count instead of the barriers of their owners; None for nothing."""
_AS_THEY_ARE: Final[Instead] = MappingProxyType({})


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
    corners : float array, shape (n, 2)
        Where paths can bend; those on a barrier or outside `within` are left out.
    barriers : Barriers
    within : shapely geometry, optional
        What holds every path; None: the whole plane.
    """

    def __init__(self, corners: Floats, barriers: Barriers, within: Any | None = None) -> None:
        self._tree = shapely.STRtree(barriers.shapes)
        self._owner = barriers.owner
        self._within = within
        if within is not None:
            shapely.prepare(within)
        # In the order of their places, so that the order of what they are corners of changes no answer.
        corners = np.unique(corners, axis=0)
        points = shapely.points(corners)
        free = np.ones(len(corners), dtype=bool)
        free[self._tree.query(points, predicate="intersects")[0]] = False
        if within is not None:
            free &= shapely.covers(within, points)
        self._corners: Floats = corners[free]
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
        xy = self._corners
        before, ahead = _length(xy - start), _length(xy - stop)
        near = np.flatnonzero(before + ahead <= limit + ROUNDING)
        first, last = (near[self._sees(end, xy[near], instead)] for end in (start, stop))
        to_stop = np.full(len(xy), np.inf)
        to_stop[last] = ahead[last]
        return self._search(start, stop, first, to_stop, limit)

    def _search(
        self, start: Floats, stop: Floats, first: Ints, to_stop: Floats, limit: float
    ) -> Floats | None:
        """Return the path over corners, of which the first are seen from the start."""
        xy = self._corners
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
            here = self._corners[corner]
            seen = np.flatnonzero(self._sees(here, self._corners, _AS_THEY_ARE))
            self._seen_from[corner] = seen, _length(self._corners[seen] - here)
        return self._seen_from[corner]

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


def _length(some: Floats) -> Floats:
    return np.asarray(np.hypot(some[..., 0], some[..., 1]))
