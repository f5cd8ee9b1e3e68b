"""From chainages to coordinates, lines and volumes, for many places at once.

Chainages are true metres along a pipe; coordinates are metres in the working CRS, which differ by the
scale of the projection. `PipeLines` lays out the pipes of a whole network once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from netplan.core.arrays import Floats, Ints
from netplan.network.flat_geometry import interpolated_at, measures
from netplan.network.model import Network, Pipes

__all__ = [
    "PipeLines",
    "from_lon_lat",
    "lines_between",
    "lon_lat",
    "nearest_chainage",
    "piece_at",
    "points_at",
    "volumes_m3",
]

_SAME_M = 1e-7
"""Distances along a line below this are none (own) [m]."""
_FEW_PLACES = 16
"""Up to so many places only the mains near them go into a tree (own) [-]."""
Rows = NDArray[np.integer[Any]]
# Room between the measures of one pipe and the next on the common axis [m].
_GAP_M = 1.0


def points_at(network: Network, pipe: Rows, chainage_m: Floats) -> Floats:
    """Return coordinates of places on pipes.

    Parameters
    ----------
    pipe, chainage_m : arrays, shape (m,)
        Rows in `Network.pipes` and chainages on them [m]; beyond an end means the end.

    Returns
    -------
    float array, shape (m, 2)
        x and y in the working CRS [m].
    """
    pipes = network.pipes
    rows = np.asarray(pipe, dtype=np.int64)
    measure = np.asarray(chainage_m, dtype=np.float64) * network.scale
    if len(rows) < 1000:
        return _few(pipes, rows, measure)
    running = measures(pipes.coords_m, pipes.coord_start)
    return interpolated_at(pipes.coords_m, pipes.coord_start, running, rows, measure)


def lon_lat(network: Network, xy_m: Floats) -> Floats:
    """Return longitude and latitude (WGS 84) [°] of working coordinates, shape (m, 2)."""
    places = np.asarray(xy_m, dtype=np.float64).reshape(-1, 2)
    lon, lat = _to_wgs84(network.crs).transform(places[:, 0], places[:, 1])
    return np.column_stack([lon, lat])


def from_lon_lat(network: Network, lon_lat_deg: Floats) -> Floats:
    """Return working coordinates [m] of longitudes and latitudes (WGS 84) [°], shape (m, 2)."""
    places = np.asarray(lon_lat_deg, dtype=np.float64).reshape(-1, 2)
    x, y = _to_wgs84(network.crs).transform(places[:, 0], places[:, 1], direction="INVERSE")
    return np.column_stack([x, y])


def lines_between(network: Network, pipe: Rows, from_m: Floats, to_m: Floats) -> NDArray[np.object_]:
    """Return the course of pipes between two chainages each [m] as shapely lines in the working CRS."""
    pipes, line = network.pipes, np.arange(len(pipe))
    coords, start = _vertices(pipes, np.asarray(pipe, dtype=np.int64))
    running, of = measures(coords, start), np.repeat(line, np.diff(start))
    low, high = (np.asarray(at_m, dtype=np.float64) * network.scale for at_m in (from_m, to_m))
    first, last = (interpolated_at(coords, start, running, line, at) for at in (low, high))
    here = running - running[start[:-1]][of]
    inner = (here > low[of] + _SAME_M) & (here < high[of] - _SAME_M)
    owner = np.concatenate([line, of[inner], line])
    place = np.repeat([0, 1, 2], [len(line), int(inner.sum()), len(line)])
    order = np.lexsort([place, owner])
    xy = np.concatenate([first, coords[inner], last])[order]
    return np.asarray(shapely.linestrings(xy, indices=owner[order]), dtype=object)


def volumes_m3(network: Network, pipe: Rows, from_m: Floats, to_m: Floats) -> Floats:
    """Return the inside volume of intervals of pipes [m³, actual]: bore area × true length."""
    bore = network.pipes.bore_m[np.asarray(pipe, dtype=np.int64)]
    return np.asarray(np.pi / 4.0 * bore**2 * (np.asarray(to_m) - np.asarray(from_m)))


def piece_at(network: Network, pipe: int, chainage_m: float) -> int:
    """Return the row of the piece of a pipe that holds a chainage [m].

    At a node the piece that begins there is meant; at the end of the pipe the last one. Never a valve.
    """
    pieces = network.pieces
    rows = np.array(pieces.rows_of(pipe))
    own = rows[pieces.valve[rows] < 0]
    place = int(np.searchsorted(pieces.from_m[own], chainage_m, side="right")) - 1
    return int(own[min(max(place, 0), len(own) - 1)])


def nearest_chainage(network: Network, xy_m: Floats, reach_m: float) -> tuple[Rows, Floats, Floats]:
    """Return the nearest main of each place, its chainage there and the distance.

    Parameters
    ----------
    xy_m : float array, shape (m, 2)
        Places in the working CRS [m].
    reach_m : float
        Mains farther away don't count [m].

    Returns
    -------
    pipe : int64 array
        Row of the main; -1 for none within reach.
    chainage_m, distance_m : float arrays
        NaN and infinity for none.
    """
    places = np.asarray(xy_m, dtype=np.float64).reshape(-1, 2)
    rows, shapes, tree = _mains_index(network, places, reach_m)
    pipe = np.full(len(places), -1, dtype=np.int64)
    chainage, distance = np.full(len(places), np.nan), np.full(len(places), np.inf)
    points = np.asarray(shapely.points(places), dtype=object)
    (who, row), gap = tree.query_nearest(points, max_distance=reach_m, return_distance=True)
    row = rows[row]
    order = np.lexsort([row, who])[::-1]  # of equally near mains the first by id is kept
    who, row, gap = who[order], row[order], gap[order]
    pipe[who], distance[who] = row, gap
    found = np.flatnonzero(pipe >= 0)
    lines = shapes[np.searchsorted(rows, pipe[found])]
    chainage[found] = shapely.line_locate_point(lines, points[found]) / network.scale
    return pipe, chainage, distance


def _mains_index(
    network: Network, places: Floats, reach_m: float
) -> tuple[NDArray[np.int64], NDArray[np.object_], Any]:
    """Return the mains that may lie within reach of some place: rows, lines and a tree of the lines."""
    pipes = network.pipes
    rows = np.arange(pipes.n_mains)
    if len(places) <= _FEW_PLACES and pipes.n_mains:
        start = pipes.coord_start[:-1][: pipes.n_mains]
        coords = pipes.coords_m[: pipes.coord_start[pipes.n_mains]]
        low, high = (reach.reduceat(coords, start, axis=0) for reach in (np.minimum, np.maximum))
        near = np.zeros(pipes.n_mains, dtype=bool)
        for place in places:
            near |= ((low <= place + reach_m) & (high >= place - reach_m)).all(axis=1)
        rows = np.flatnonzero(near)
    coords, start = _vertices(pipes, rows)
    shapes = np.asarray(
        shapely.from_ragged_array(shapely.GeometryType.LINESTRING, coords, (start,)), dtype=object
    )
    return rows, shapes, shapely.STRtree(shapes)


def _few(pipes: Pipes, rows: NDArray[np.int64], measure_m: Floats) -> Floats:
    """Interpolate on a few pipes without walking along all the others."""
    coords, start = _vertices(pipes, rows)
    return interpolated_at(coords, start, measures(coords, start), np.arange(len(rows)), measure_m)


def _vertices(pipes: Pipes, rows: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Return the vertices of some pipes, one pipe after another, and where each begins."""
    count = pipes.coord_start[rows + 1] - pipes.coord_start[rows]
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    vertex = np.arange(start[-1]) - np.repeat(start[:-1], count) + np.repeat(pipes.coord_start[rows], count)
    return pipes.coords_m[vertex], start


@lru_cache(maxsize=8)
def _to_wgs84(crs: str) -> Transformer:
    return Transformer.from_crs(CRS.from_user_input(crs), CRS.from_epsg(4326), always_xy=True)


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
