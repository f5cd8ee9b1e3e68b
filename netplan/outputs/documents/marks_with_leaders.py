"""Marks on a drawing that stand beside their places, none over another."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from netplan.outputs.documents.svg_drawing import DrawingSheet

__all__ = ["MarksWithLeaders"]

_LEADERS_MM: Final = (7.5, 11.0, 14.5, 18.0)
"""Lengths of a leader, the shortest first [mm]."""
_TURNS: Final = tuple(
    math.radians(turn) for turn in (0, 30, -30, 60, -60, 90, -90, 120, -120, 150, -150, 180)
)
_APART_MM: Final = 6.8
"""Two marks this far apart do not touch: they are half as large (own) [mm]."""
_EDGE_MM: Final = 3.2


@dataclass(eq=False)
class MarksWithLeaders:
    """Puts marks on a sheet one by one, each clear of those before it and of their places.

    Parameters
    ----------
    sheet : DrawingSheet
    middle : float array
        What the marks point away from, the middle of the work [m].
    """

    sheet: DrawingSheet
    middle: Any
    _taken_mm: list[tuple[float, float]] = field(default_factory=list, init=False)

    def keep_clear(self, xy: Any) -> None:
        """Keep marks that follow off a place [m]."""
        x, y = self.sheet.place(xy)[0]
        self._taken_mm.append((float(x), float(y)))

    def put(self, xy: Any, turn: float, symbol: str) -> None:
        """Put a symbol beside a place.

        Parameters
        ----------
        xy : tuple of float
            The place [m].
        turn : float
            The direction wanted, against that away from the middle [rad]; the nearest free one is taken.
        symbol : str
            Drawn in millimetres around the origin.
        """
        outward = np.asarray(xy) - self.middle
        wanted = float(np.arctan2(-outward[1], outward[0])) + turn
        shift = self._free(self.sheet.place(xy)[0], wanted)
        self.sheet.leader(xy, shift)
        self.sheet.mark(xy, symbol, shift)
        x, y = self.sheet.place(xy)[0]
        self._taken_mm.append((float(x) + shift[0], float(y) + shift[1]))

    def _free(self, place_mm: Any, wanted: float) -> tuple[float, float]:
        shifts = [
            (length * math.cos(wanted + turn), length * math.sin(wanted + turn))
            for length in _LEADERS_MM
            for turn in _TURNS
        ]
        free = (
            shift
            for shift in shifts
            if self._is_free(float(place_mm[0]) + shift[0], float(place_mm[1]) + shift[1])
        )
        return next(free, shifts[0])

    def _is_free(self, x_mm: float, y_mm: float) -> bool:
        inside = (
            _EDGE_MM <= x_mm <= self.sheet.width_mm - _EDGE_MM
            and _EDGE_MM <= y_mm <= self.sheet.height_mm - _EDGE_MM
        )
        return inside and all(math.hypot(x_mm - x, y_mm - y) >= _APART_MM for x, y in self._taken_mm)
