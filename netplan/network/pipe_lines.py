"""Parts of pipes and places on pipes as geometries, for whole networks at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.network.model import Network, Pipes

__all__ = ["PipeLines"]


# Room between the measures of one pipe and the next on the common axis [m].
_GAP_M = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class PipeLines:
    """All pipes laid out on one axis, so that chainages of any pipe are found by one search.

    Parameters
    ----------
    xy : float array, shape (k, 2)
        Vertices of all pipes [m].
    axis : float array, shape (k,)
        Place of each vertex on the common axis [m, planar].
    start : float array
        Place of each pipe's first vertex on the axis [m].
    planar_m : float array
        Planar length of each pipe [m].
    scale : float
        Planar length over true length [-].
    """

    xy: Floats
    axis: Floats
    start: Floats
    planar_m: Floats
    scale: float

    @classmethod
    def of(cls, network: Network) -> PipeLines:
        """Lay out the pipes of a network."""
        return cls._of_pipes(network.pipes, network.scale)

    @classmethod
    def _of_pipes(cls, pipes: Pipes, scale: float) -> PipeLines:
        xy, first = pipes.coords_m, pipes.coord_start[:-1]
        step = np.zeros(len(xy))
        step[1:] = np.hypot(*np.diff(xy, axis=0).T)
        step[first[1:]] = _GAP_M
        axis = np.cumsum(step)
        start = axis[first]
        return cls(xy, axis, start, axis[pipes.coord_start[1:] - 1] - start, scale)

    def _place(self, pipe: Ints, chainage_m: Floats) -> Floats:
        planar = np.clip(chainage_m * self.scale, 0.0, self.planar_m[pipe])
        return np.asarray(self.start[pipe] + planar)

    def _at(self, place: Floats) -> Floats:
        last = np.clip(np.searchsorted(self.axis, place, side="right") - 1, 0, len(self.axis) - 2)
        span = self.axis[last + 1] - self.axis[last]
        share = np.divide(place - self.axis[last], span, out=np.zeros(len(place)), where=span > 0)
        return np.asarray(self.xy[last] + share[:, None] * (self.xy[last + 1] - self.xy[last]))

    def xy_at(self, pipe: Ints, chainage_m: Floats) -> Floats:
        """Return the coordinates of places on pipes [m], shape (n, 2).

        Parameters
        ----------
        pipe : int array
            Rows of the pipes.
        chainage_m : float array
            True distance along each from its first vertex [m]; beyond an end it is that end.
        """
        return self._at(self._place(np.asarray(pipe), np.asarray(chainage_m, dtype=float)))

    def part_vertices(self, pipe: Ints, from_m: Floats, to_m: Floats) -> tuple[Floats, Ints]:
        """Return the vertices of parts of pipes between two chainages, from `from_m` to `to_m`.

        Parameters
        ----------
        pipe : int array
            Rows of the pipes.
        from_m, to_m : float arrays
            Chainages [m], from_m <= to_m; where they are equal the part has length zero.

        Returns
        -------
        xy_m : float array, shape (k, 2)
            Vertices of all parts one after another [m], at least two of each.
        start : int64 array, shape (n + 1,)
            Part i has the vertices ``xy_m[start[i]:start[i + 1]]``.
        """
        n = len(pipe)
        low, high = self._place(pipe, from_m), self._place(pipe, to_m)
        first = np.searchsorted(self.axis, low, side="right")
        behind = np.searchsorted(self.axis, high, side="left")
        inner = np.maximum(behind - first, 0)
        size = inner + 2
        begin = np.concatenate([[0], np.cumsum(size)])
        coords = np.empty((int(begin[-1]), 2))
        owner = np.repeat(np.arange(n), inner)
        step = np.arange(len(owner)) - np.repeat(np.cumsum(inner) - inner, inner)
        coords[begin[:-1]] = self._at(low)
        coords[begin[1:] - 1] = self._at(high)
        coords[begin[owner] + 1 + step] = self.xy[first[owner] + step]
        return coords, begin.astype(np.int64)

    def parts(self, pipe: Ints, from_m: Floats, to_m: Floats) -> NDArray[np.object_]:
        """Return the same parts as lines."""
        coords, begin = self.part_vertices(pipe, from_m, to_m)
        owner = np.repeat(np.arange(len(pipe)), np.diff(begin))
        return np.asarray(shapely.linestrings(coords, indices=owner), dtype=object)
