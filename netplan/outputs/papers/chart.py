"""A small line chart for paper: lines apart by dashes and names, not by colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.outputs.papers.drawing import FONT

__all__ = ["Curve", "chart_svg"]

Floats = NDArray[np.float64]
_DASHES: Final = ("none", "3 1.2", "0.8 1", "4 1 0.8 1", "1.8 0.8", "5 1.2", "0.8 0.6 2 0.6")
_LEFT, _RIGHT, _TOP, _BOTTOM = 15.0, 20.0, 4.0, 12.0


@dataclass(frozen=True, slots=True)
class Curve:
    """A line of a chart: its name (our own words), and its points."""

    name: str
    x: Floats
    y: Floats
    strong: bool = False


def chart_svg(
    curves: Sequence[Curve],
    point: tuple[float, float] | None,
    axes: tuple[str, str],
    limits: tuple[float, float],
    width_mm: float = 150.0,
    height_mm: float = 75.0,
) -> str:
    """Return a chart as SVG; both axes start at zero.

    Parameters
    ----------
    curves : sequence of Curve
    point : tuple of float, optional
        The working point to mark.
    axes : tuple of str
        Names of the axes, with units.
    limits : tuple of float
        Ends of the axes.
    """
    frame = _Frame(limits, width_mm, height_mm)
    parts = [frame.grid(axes)]
    for k, curve in enumerate(curves):
        parts.append(frame.line(curve, _DASHES[k % len(_DASHES)]))
    if point is not None:
        x, y = frame.at(*point)
        parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.5" fill="white" stroke="black" stroke-width="0.6"/>'
        )
        parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.5"/>')
    size = f'width="{width_mm}mm" height="{height_mm}mm" viewBox="0 0 {width_mm} {height_mm}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FONT}" font-size="2.8">'
    return f"{head}{''.join(parts)}</svg>"


@dataclass(frozen=True, slots=True)
class _Frame:
    limits: tuple[float, float]
    width: float
    height: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        wide, high = self.width - _LEFT - _RIGHT, self.height - _TOP - _BOTTOM
        return _LEFT + wide * x / self.limits[0], self.height - _BOTTOM - high * y / self.limits[1]

    def grid(self, axes: tuple[str, str]) -> str:
        parts = []
        (x0, y0), (x1, y1) = self.at(0, 0), self.at(*self.limits)
        for value in _ticks(self.limits[0]):
            x, _ = self.at(value, 0)
            parts.append(f'<path d="M{x:.2f} {y0:.2f}V{y1:.2f}" stroke="#ccc" stroke-width="0.2"/>')
            parts.append(f'<text x="{x:.2f}" y="{y0 + 4:.2f}" text-anchor="middle">{value:g}</text>')
        for value in _ticks(self.limits[1]):
            _, y = self.at(0, value)
            parts.append(f'<path d="M{x0:.2f} {y:.2f}H{x1:.2f}" stroke="#ccc" stroke-width="0.2"/>')
            parts.append(f'<text x="{x0 - 1.5:.2f}" y="{y + 1:.2f}" text-anchor="end">{value:g}</text>')
        parts.append(
            f'<path d="M{x0:.2f} {y1:.2f}V{y0:.2f}H{x1:.2f}" fill="none" stroke="black" stroke-width="0.4"/>'
        )
        parts.append(f'<text x="{(x0 + x1) / 2:.2f}" y="{y0 + 9:.2f}" text-anchor="middle">{axes[0]}</text>')
        middle = f"translate(4 {(y0 + y1) / 2:.2f}) rotate(-90)"
        parts.append(f'<text transform="{middle}" text-anchor="middle">{axes[1]}</text>')
        return "".join(parts)

    def line(self, curve: Curve, dash: str) -> str:
        inside = np.isfinite(curve.y) & (curve.y <= self.limits[1]) & (curve.x <= self.limits[0])
        # Up to where the line leaves the frame.
        end = len(inside) if inside.all() else int(np.argmin(inside))
        points = [self.at(float(x), float(y)) for x, y in zip(curve.x[:end], curve.y[:end], strict=True)]
        if len(points) < 2:
            return ""
        path = "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
        width, weight = (0.7, "bold") if curve.strong else (0.4, "normal")
        x, y = points[-1]
        return (
            f'<path d="M{path}" fill="none" stroke="black" stroke-width="{width}" stroke-dasharray="{dash}"/>'
            f'<text x="{x + 1:.2f}" y="{y + 0.9:.2f}" font-weight="{weight}">{curve.name}</text>'
        )


def _ticks(limit: float) -> list[float]:
    power = 10.0 ** np.floor(np.log10(limit))
    step = next(s * power for s in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0) if limit / (s * power) <= 6)
    return [float(round(k * step, 9)) for k in range(int(limit / step + 1e-9) + 1)]
