"""What a chart holds: lines, levels and points in the reader's units, and the ranges of its axes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from netplan.core.arrays import Floats

__all__ = ["Chart", "ChartLine", "ChartPoint", "Crossing", "Level"]

LINES: Final[tuple[tuple[str, tuple[float, ...]], ...]] = (
    ("#0072B2", ()),
    ("#D55E00", (3.7, 1.6)),
    ("#009E73", (6.4, 1.6, 1.0, 1.6)),
    ("#CC79A7", (1.0, 1.65)),
    ("#E69F00", (5.0, 1.0, 1.0, 1.0, 1.0, 1.0)),
    ("#56B4E9", (3.0, 1.0)),
    ("#000000", (1.0, 1.0)),
)
"""Colour and dashes [line widths]: the palette of Okabe and Ito (2008), told apart without colour too."""
NEED: Final = "#444444"
MINIMUM: Final = "#B00020"
FOOT: Final = "Planning figures: the operator's rules, local codes and competent people govern."

_FEWEST_TICKS: Final = 4
_STEPS: Final = (5.0, 2.5, 2.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class ChartLine:
    """A line through points; it breaks where a figure is not finite.

    Parameters
    ----------
    x, y : float arrays, shape (k,)
        In the units of the axes.
    label : str
        In the legend.
    look : int
        Which of the colours and dashes.
    has_end : bool
        Whether its last point is marked: it goes no farther.
    """

    x: Floats
    y: Floats
    label: str
    look: int
    has_end: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line over the whole width, with words at its right end, above it or below it."""

    y: float
    words: str
    colour: str
    below: bool = False


@dataclass(frozen=True, slots=True)
class Crossing:
    """A vertical line over the whole height: words along its upper end, or, `level`, beside its foot."""

    x: float
    words: str
    level: bool = False


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """A point with words beside it."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A chart, as `chart_svg` and `chart_png` draw it.

    Parameters
    ----------
    title, note : str
        Above it; what the note says is smaller.
    x_label, y_label : str
        With the unit.
    x_range, y_range : (float, float)
        Least and greatest of each axis; what lies beyond is cut off.
    lines : tuple of ChartLine
    levels, crossings, points : tuples
    legend_title : str
    """

    title: str
    note: str
    x_label: str
    y_label: str
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    lines: tuple[ChartLine, ...]
    levels: tuple[Level, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    points: tuple[ChartPoint, ...] = ()
    legend_title: str = ""

    def drawn(self) -> dict[str, Any]:
        """Return what the template draws: places as shares of width and height, from the lower left."""
        x_ticks, y_ticks = ticks(*self.x_range), ticks(*self.y_range)
        return {
            "title": self.title,
            "note": self.note,
            "foot": FOOT,
            "x-label": self.x_label,
            "y-label": self.y_label,
            "x-ticks": [(self._x(value), words) for value, words in x_ticks],
            "y-ticks": [(self._y(value), words) for value, words in y_ticks],
            "lines": [self._line(line) for line in self.lines],
            "levels": [
                {"y": self._y(one.y), "words": one.words, "colour": one.colour, "below": one.below}
                for one in self.levels
                if self._is_within(one.y, self.y_range)
            ],
            "crossings": [
                {"x": self._x(one.x), "words": one.words, "level": one.level}
                for one in self.crossings
                if self._is_within(one.x, self.x_range)
            ],
            "points": [{"x": self._x(one.x), "y": self._y(one.y), "words": one.words} for one in self.points],
            "legend": self.legend_title,
        }

    def _line(self, line: ChartLine) -> dict[str, Any]:
        colour, dashes = LINES[line.look % len(LINES)]
        known = np.isfinite(line.x) & np.isfinite(line.y)
        steps = np.flatnonzero(np.diff(known.astype(np.int8))) + 1
        runs = [run for run in np.split(np.arange(len(known)), steps) if len(run) and known[run[0]]]
        places = [[(self._x(float(line.x[k])), self._y(float(line.y[k]))) for k in run] for run in runs]
        end = places[-1][-1] if places else None
        is_seen = end is not None and max(end) <= 1.0
        return {
            "colour": colour,
            "dashes": dashes,
            "label": line.label,
            "runs": places,
            "end": end if line.has_end and is_seen else None,
        }

    def _x(self, value: float) -> float:
        low, high = self.x_range
        return round((value - low) / (high - low), 6)

    def _y(self, value: float) -> float:
        low, high = self.y_range
        return round((value - low) / (high - low), 6)

    @staticmethod
    def _is_within(value: float, of: tuple[float, float]) -> bool:
        return of[0] <= value <= of[1]


def spread(values: Iterable[float], margin: float) -> tuple[float, float]:
    """Return the range of an axis that shows all finite values, with a share of it free at both ends."""
    known = [value for value in values if math.isfinite(value)] or [0.0]
    low, high = min(known), max(known)
    free = margin * (high - low) if high > low else max(0.05 * abs(high), 1e-9)
    return low - free, high + free


def ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return round values within a range, at least four, with their words."""
    power = 10.0 ** math.floor(math.log10((high - low) / _FEWEST_TICKS))
    step = next(step * power for step in _STEPS if step * power * _FEWEST_TICKS <= high - low)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) + (round(step / power, 6) == 2.5)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    values = [k * step for k in range(first, last + 1)]
    return [(value, f"{value:.{decimals}f}".replace("-", "−")) for value in values]
