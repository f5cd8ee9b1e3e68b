"""What of a network lies in the window of a drawing: pipes, base map, meter points, stations."""

from __future__ import annotations

from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints
from netplan.network.model import Network

__all__ = ["NetworkInView"]

Window = tuple[float, float, float, float]
_FINE_MM_PER_M: Final = 0.06
"""Scale from which on buildings and services are drawn: smaller ones only blacken the map (own)."""


class NetworkInView:
    """A network, with bounding boxes to find what a drawing shows.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        self.network = network

    @cached_property
    def _pipe_boxes(self) -> Floats:
        """Least x and y, greatest x and y of each pipe [m], shape (pipes, 4)."""
        pipes = self.network.pipes
        start = pipes.coord_start[:-1]
        boxes = np.empty((len(pipes), 4), order="F")  # each bound in one piece: compared again and again
        boxes[:, :2] = np.minimum.reduceat(pipes.coords_m, start, axis=0)
        boxes[:, 2:] = np.maximum.reduceat(pipes.coords_m, start, axis=0)
        return boxes

    def pipes(self, window: Window) -> Ints:
        """Return the rows of the pipes whose box meets a window."""
        return np.flatnonzero(_meets(self._pipe_boxes, window))

    def lines(self, rows: Ints) -> Any:
        """Return the course of some pipes as shapely lines."""
        pipes = self.network.pipes
        counts = pipes.coord_start[rows + 1] - pipes.coord_start[rows]
        line = np.repeat(np.arange(len(rows)), counts)
        offset = np.arange(len(line)) - np.repeat(np.cumsum(counts) - counts, counts)
        return shapely.linestrings(pipes.coords_m[pipes.coord_start[rows][line] + offset], indices=line)

    def base(self, window: Window, scale_mm_per_m: float) -> dict[str, Any]:
        """Return the base map in a window, each layer a GeoDataFrame; no buildings at small scales."""
        found = {}
        for name, frame in self.network.base.items():
            if name == "buildings" and scale_mm_per_m < _FINE_MM_PER_M:
                continue
            if name not in self._base_boxes:
                self._base_boxes[name] = shapely.bounds(np.asarray(frame.geometry.array, dtype=object))
            rows = np.flatnonzero(_meets(self._base_boxes[name], window))
            # A shape with a place that is no number, or sides that cross, cannot be cut to the sheet.
            rows = rows[shapely.is_valid(np.asarray(frame.geometry.array[rows], dtype=object))]
            if len(rows):
                found[name] = frame.iloc[rows]
        return found

    @cached_property
    def _base_boxes(self) -> dict[str, Floats]:
        return {}

    def customers(self, window: Window) -> Ints:
        """Return the rows of the meter points in a window."""
        customers = self.network.customers
        x_low, y_low, x_high, y_high = window
        return np.flatnonzero(
            (customers.x_m >= x_low)
            & (customers.x_m <= x_high)
            & (customers.y_m >= y_low)
            & (customers.y_m <= y_high)
        )

    def draws_services(self, scale_mm_per_m: float) -> bool:
        """Return whether services are drawn at a scale."""
        return scale_mm_per_m >= 2.0 * _FINE_MM_PER_M


def _meets(boxes: Floats, window: Window) -> Any:
    x_low, y_low, x_high, y_high = window
    return (boxes[:, 0] <= x_high) & (boxes[:, 1] <= y_high) & (boxes[:, 2] >= x_low) & (boxes[:, 3] >= y_low)
