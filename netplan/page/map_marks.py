"""What the page's map shows close in: meter points, names of mains, valves; cut by tiles."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any, Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Category, Material, ValveState
from netplan.page.map_tiles import FARTHEST_IN, MapTiles

__all__ = ["MapMarks"]

WIDEST_M: Final = 400.0
"""Widest tile that marks are cut by (own) [m]."""
MOST_MARKS: Final = 4_000
"""Meter points of one tile at most (own) [-]."""


class MapMarks:
    """Marks of one network, cut by the tiles of one zoom.

    Parameters
    ----------
    network : Network
    tiles : MapTiles

    Attributes
    ----------
    zoom : int
        That zoom.
    """

    def __init__(self, network: Network, tiles: MapTiles) -> None:
        self._network, self._tiles = network, tiles
        self.zoom = min(max(math.ceil(math.log2(tiles.extent_m / WIDEST_M)), 0), FARTHEST_IN)

    @cached_property
    def _middle(self) -> Floats:
        """Middle of each main [m, working CRS]."""
        pipes = self._network.pipes
        return points_at(self._network, np.arange(pipes.n_mains), pipes.length_m[: pipes.n_mains] / 2.0)

    def tile(self, column: int, row: int) -> dict[str, Any]:
        """Return the marks of a tile: from the west, from the north."""
        side_m = self._tiles.extent_m / 2**self.zoom
        west, north = self._tiles.west_m + column * side_m, self._tiles.north_m - row * side_m
        box = (west, north - side_m, west + side_m, north)
        return {"customers": self._customers(box), "mains": self._mains(box), "valves": self._valves(box)}

    def _customers(self, box: tuple[float, float, float, float]) -> list[Any]:
        customers = self._network.customers
        rows = _inside(customers.x_m, customers.y_m, box)[:MOST_MARKS]
        return [
            {
                "x": round(float(customers.x_m[row]), 2),
                "y": round(float(customers.y_m[row]), 2),
                "id": customers.id[row],
                "address": customers.address[row],
                "category": Category(int(customers.category[row])).word,
                "meters": int(customers.meters[row]),
                "priority": customers.priority[row],
            }
            for row in rows.tolist()
        ]

    def _mains(self, box: tuple[float, float, float, float]) -> list[Any]:
        """Return the name of each main whose middle is in a box, and which way it runs there [rad]."""
        pipes = self._network.pipes
        rows = _inside(self._middle[:, 0], self._middle[:, 1], box)
        if not len(rows):
            return []
        half = pipes.length_m[rows] / 2.0
        before, after = (points_at(self._network, rows, half + step) for step in (-0.5, 0.5))
        turn = np.arctan2(after[:, 1] - before[:, 1], after[:, 0] - before[:, 0])
        return [
            {
                "x": round(float(self._middle[row, 0]), 2),
                "y": round(float(self._middle[row, 1]), 2),
                "turn": round(float(angle), 3),
                "length_m": round(float(pipes.length_m[row]), 1),
                "name": f"{pipes.id[row]}  {pipes.street[row]}".strip(),
                "make": _make(Material(int(pipes.material[row])), float(pipes.od_m[row])),
            }
            for row, angle in zip(rows.tolist(), turn.tolist(), strict=True)
        ]

    def _valves(self, box: tuple[float, float, float, float]) -> list[Any]:
        network = self._network
        valves = network.valves
        placed = np.flatnonzero(valves.pipe >= 0)
        if not len(placed):
            return []
        rows = placed[_inside(self._valve_xy[:, 0], self._valve_xy[:, 1], box)]
        xy = points_at(network, valves.pipe[rows], valves.chainage_m[rows])
        return [
            {
                "x": round(x, 2),
                "y": round(y, 2),
                "id": valves.id[row],
                "state": ValveState(int(valves.state[row])).word,
            }
            for row, (x, y) in zip(rows.tolist(), xy.tolist(), strict=True)
        ]

    @cached_property
    def _valve_xy(self) -> Floats:
        """Where each valve that is on a main sits [m, working CRS]."""
        valves = self._network.valves
        placed = np.flatnonzero(valves.pipe >= 0)
        return points_at(self._network, valves.pipe[placed], valves.chainage_m[placed])


def _inside(x_m: Floats, y_m: Floats, box: tuple[float, float, float, float]) -> Any:
    west, south, east, north = box
    return np.flatnonzero((x_m >= west) & (x_m < east) & (y_m > south) & (y_m <= north))


def _make(material: Material, od_m: float) -> str:
    size = "" if math.isnan(od_m) else f" {od_m * MM_PER_M:g} mm"
    return material.word.replace("_", " ") + size
