"""Map tiles cut from a network in memory: binary, drawn on a canvas by the page, generalised far out.

The plane is that of the working CRS. A tile of zoom z is a square of ``extent / 2**z`` metres, numbered from
the west and from the north. Coordinates in a tile are whole numbers, `UNITS` to its side; lines reach beyond
the sides by up to `MARGIN` of it, so that widths and joints at the border are drawn whole.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.model import Network
from netplan.network.vocabulary import Material

__all__ = ["FARTHEST_IN", "UNITS", "MapTiles", "TileLines"]

UNITS: Final = 4096
"""Whole numbers to the side of a tile (own) [-]."""
MARGIN: Final = 0.02
"""Share of its side by which a tile reaches beyond itself (own) [-]."""
PIXELS: Final = 256
"""Points to the side of a tile that far out, where lines lie close, can be told apart (own) [-]."""
FARTHEST_IN: Final = 14
"""Highest zoom (own) [-]."""
FIRST_SHOWN: Final = (0, 1)
"""Zooms at which a page shows all of a network (own)."""
KEPT_OUT_TO: Final = 4
"""Zoom up to which tiles are kept once cut: some hundreds of them (own) [-]."""
CELLS: Final = 9
"""Zoom of the cells that lines are found by (own) [-]."""
DIRECT: Final = 60_000
"""Lines up to which a tile is cut straight from the network; with more from a generalised level (own) [-]."""
PE_MAIN, OTHER_MAIN, SERVICE = 0, 1, 2
"""Kinds of line: main of polyethylene, main of another material, service."""


@dataclass(frozen=True, slots=True, eq=False)
class TileLines:
    """The lines of one tile.

    Parameters
    ----------
    kind : uint8 array, shape (n,)
        `PE_MAIN`, `OTHER_MAIN` or `SERVICE`.
    ends : int16 array, shape (n, 4)
        x and y of both ends, in units of the tile from its north-west corner, y to the south.
    """

    kind: NDArray[np.uint8]
    ends: NDArray[np.int16]

    def to_bytes(self) -> bytes:
        """Return them as the page reads them: count, ends and kinds, little endian."""
        head = np.array([len(self.kind)], dtype="<u4").tobytes()
        return head + self.ends.astype("<i2").tobytes() + self.kind.tobytes()


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Straight lines with a kind each, found by the cells of a grid."""

    ends_m: Floats
    kind: NDArray[np.uint8]
    cell: Ints
    row: Ints


class MapTiles:
    """Tiles of one network.

    Parameters
    ----------
    network : Network

    Attributes
    ----------
    west_m, north_m : float
        North-west corner of the tile of zoom 0 [m].
    extent_m : float
        Its side [m].
    """

    def __init__(self, network: Network) -> None:
        self._network = network
        coords = network.pipes.coords_m
        low, high = coords.min(axis=0), coords.max(axis=0)
        self.extent_m = float(max(high - low)) * 1.02 + 10.0
        middle = (low + high) / 2.0
        self.west_m = float(middle[0]) - self.extent_m / 2.0
        self.north_m = float(middle[1]) + self.extent_m / 2.0
        self._levels: dict[int, _Lines] = {}
        self._cut: dict[tuple[int, int, int], TileLines] = {}
        self._lock = threading.Lock()

    @cached_property
    def _straight(self) -> _Lines:
        """All straight parts of all pipes."""
        pipes = self._network.pipes
        inner = np.ones(len(pipes.coords_m), dtype=np.bool_)
        inner[pipes.coord_start[1:] - 1] = False
        first = np.flatnonzero(inner)
        pipe = np.repeat(np.arange(len(pipes)), np.diff(pipes.coord_start))[first]
        plastic = np.isin(pipes.material, [Material.PE80, Material.PE100, Material.PE])
        kind = np.where(plastic, PE_MAIN, OTHER_MAIN).astype(np.uint8)
        kind[pipes.n_mains :] = SERVICE
        return self._found_by_cells(np.hstack([pipes.coords_m[first], pipes.coords_m[first + 1]]), kind[pipe])

    @cached_property
    def _mains(self) -> tuple[Floats, NDArray[np.uint8]]:
        """Ends and kinds of the straight parts of mains: services are too small to be seen far out."""
        own = self._straight.kind != SERVICE
        return self._straight.ends_m[own], self._straight.kind[own]

    def warm(self) -> None:
        """Cut what a page shows first."""
        for zoom in FIRST_SHOWN:
            for column in range(2**zoom):
                for row in range(2**zoom):
                    self.tile(zoom, column, row)

    def tile(self, zoom: int, column: int, row: int) -> TileLines:
        """Return the lines of a tile; none outside the network. Those far out are kept.

        Parameters
        ----------
        zoom, column, row : int
            0 to `FARTHEST_IN`; from the west; from the north.
        """
        if zoom > KEPT_OUT_TO:
            return self._tile(zoom, column, row)
        place = (zoom, column, row)
        # One at a time: several threads would make the same level of lines each.
        with self._lock:
            if place not in self._cut:
                self._cut[place] = self._tile(*place)
            return self._cut[place]

    def _tile(self, zoom: int, column: int, row: int) -> TileLines:
        side_m = self.extent_m / 2**zoom
        west_m, north_m = self.west_m + column * side_m, self.north_m - row * side_m
        box = (
            west_m - MARGIN * side_m,
            north_m - (1 + MARGIN) * side_m,
            west_m + (1 + MARGIN) * side_m,
            north_m + MARGIN * side_m,
        )
        lines = self._straight
        if _count_at_most(lines, box, self) > DIRECT:
            lines = self._level(zoom)
        rows = _within(lines, box, self)
        ends = lines.ends_m[rows]
        scale = UNITS / side_m
        drawn = np.empty_like(ends)
        drawn[:, 0::2], drawn[:, 1::2] = (ends[:, 0::2] - west_m) * scale, (north_m - ends[:, 1::2]) * scale
        drawn, kept = _clipped(drawn, -MARGIN * UNITS, (1 + MARGIN) * UNITS)
        return TileLines(lines.kind[rows][kept], np.rint(drawn).astype(np.int16))

    def _level(self, zoom: int) -> _Lines:
        """Return the lines as a zoom can show them: on the points it tells apart, each once."""
        if zoom not in self._levels:
            step_m = self.extent_m / 2**zoom / PIXELS
            ends_m, kind = self._mains
            origin = np.array([self.west_m, self.north_m] * 2)
            points = np.rint((ends_m - origin) / step_m).astype(np.int64)
            moved = (points[:, :2] != points[:, 2:]).any(axis=1)
            points, kind = points[moved], kind[moved]
            span = 1 << 22
            one, two = points[:, 0] * span + points[:, 1], points[:, 2] * span + points[:, 3]
            low, high = np.minimum(one, two), np.maximum(one, two)
            order = np.lexsort((kind, high, low))
            fresh = np.ones(len(order), dtype=np.bool_)
            fresh[1:] = (np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)
            chosen = np.sort(order[fresh])
            self._levels[zoom] = self._found_by_cells(points[chosen] * step_m + origin, kind[chosen])
        return self._levels[zoom]

    def _found_by_cells(self, ends_m: Floats, kind: NDArray[np.uint8]) -> _Lines:
        """Return lines with the cells that their boxes touch, by cell."""
        low, high = np.minimum(ends_m[:, :2], ends_m[:, 2:]), np.maximum(ends_m[:, :2], ends_m[:, 2:])
        first_x, last_x = self._cell_x(low[:, 0]), self._cell_x(high[:, 0])
        first_y, last_y = self._cell_y(high[:, 1]), self._cell_y(low[:, 1])
        wide, tall = last_x - first_x + 1, last_y - first_y + 1
        row = np.repeat(np.arange(len(ends_m)), wide * tall)
        step = np.arange(len(row)) - np.repeat(np.cumsum(wide * tall) - wide * tall, wide * tall)
        cell = (first_y[row] + step // wide[row]) * 2**CELLS + first_x[row] + step % wide[row]
        order = np.argsort(cell, kind="stable")
        return _Lines(ends_m, kind, cell[order], row[order])

    def _cell_x(self, x_m: Floats) -> Ints:
        cells = np.floor((x_m - self.west_m) / self.extent_m * 2**CELLS).astype(np.int64)
        return np.clip(cells, 0, 2**CELLS - 1)

    def _cell_y(self, y_m: Floats) -> Ints:
        cells = np.floor((self.north_m - y_m) / self.extent_m * 2**CELLS).astype(np.int64)
        return np.clip(cells, 0, 2**CELLS - 1)

    def cells_of(self, box: tuple[float, float, float, float]) -> tuple[Ints, Ints]:
        """Return the columns and rows of the cells that a box touches: west, south, east, north [m]."""
        x = self._cell_x(np.array([box[0], box[2]]))
        y = self._cell_y(np.array([box[3], box[1]]))
        return np.arange(x[0], x[1] + 1), np.arange(y[0], y[1] + 1)


def _count_at_most(lines: _Lines, box: tuple[float, float, float, float], tiles: MapTiles) -> int:
    """Return how many lines the cells of a box hold, those in several counted as often."""
    columns, rows = tiles.cells_of(box)
    first = np.searchsorted(lines.cell, rows * 2**CELLS + columns[0], "left")
    return int((np.searchsorted(lines.cell, rows * 2**CELLS + columns[-1], "right") - first).sum())


def _within(lines: _Lines, box: tuple[float, float, float, float], tiles: MapTiles) -> Ints:
    """Return the rows of the lines whose box meets another, ascending."""
    columns, rows = tiles.cells_of(box)
    first = np.searchsorted(lines.cell, rows * 2**CELLS + columns[0], "left")
    last = np.searchsorted(lines.cell, rows * 2**CELLS + columns[-1], "right")
    # Marked, not np.unique: that hashes whole numbers, which takes ten times as long for a city.
    marked = np.zeros(len(lines.kind), dtype=np.bool_)
    for a, b in zip(first.tolist(), last.tolist(), strict=True):
        marked[lines.row[a:b]] = True
    found = np.flatnonzero(marked)
    ends = lines.ends_m[found]
    meets: Flags = (
        (np.minimum(ends[:, 0], ends[:, 2]) <= box[2])
        & (np.maximum(ends[:, 0], ends[:, 2]) >= box[0])
        & (np.minimum(ends[:, 1], ends[:, 3]) <= box[3])
        & (np.maximum(ends[:, 1], ends[:, 3]) >= box[1])
    )
    return np.asarray(found[meets], dtype=np.int64)


def _clipped(ends: Floats, low: float, high: float) -> tuple[Floats, Flags]:
    """Return the parts of lines inside a square, and which lines have one (Liang and Barsky's way)."""
    start, step = ends[:, :2], ends[:, 2:] - ends[:, :2]
    enters, leaves = np.zeros(len(ends)), np.ones(len(ends))
    inside = np.ones(len(ends), dtype=np.bool_)
    with np.errstate(divide="ignore", invalid="ignore"):
        for axis in (0, 1):
            at, by = start[:, axis], step[:, axis]
            one, two = (low - at) / by, (high - at) / by
            still = by == 0.0
            inside &= ~still | ((at >= low) & (at <= high))
            enters = np.where(still, enters, np.maximum(enters, np.minimum(one, two)))
            leaves = np.where(still, leaves, np.minimum(leaves, np.maximum(one, two)))
    inside &= enters <= leaves
    kept = np.hstack([start + enters[:, None] * step, start + leaves[:, None] * step])[inside]
    if not math.isfinite(float(np.abs(kept).sum())):
        raise AssertionError("a line of the network has no place")
    return kept, inside
