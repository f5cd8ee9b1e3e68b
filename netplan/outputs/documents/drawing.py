"""Vector drawings for paper, as SVG: a place in metres becomes a place on the sheet in millimetres."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Floats

__all__ = ["FONT", "DrawingSheet"]

FONT: Final = "Libertinus Serif"


@dataclass
class DrawingSheet:
    """A drawing of a part of the map, north up.

    Parameters
    ----------
    box : tuple of float
        Least and greatest x and y that must be seen [m].
    width_mm, height_mm : float
        Size on paper [mm].
    """

    box: tuple[float, float, float, float]
    width_mm: float
    height_mm: float
    parts: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        x_low, y_low, x_high, y_high = self.box
        self.scale = min(
            self.width_mm / max(x_high - x_low, 1e-6), self.height_mm / max(y_high - y_low, 1e-6)
        )
        self._left = (x_low + x_high) / 2 - self.width_mm / self.scale / 2
        self._top = (y_low + y_high) / 2 + self.height_mm / self.scale / 2

    @property
    def window(self) -> shapely.Polygon:
        """What the sheet shows [m]."""
        width, height = self.width_mm / self.scale, self.height_mm / self.scale
        return shapely.box(self._left, self._top - height, self._left + width, self._top)

    def place(self, xy: Any) -> Floats:
        """Return places [m] as places on the sheet [mm from its upper left corner]."""
        points = np.asarray(xy, dtype=float).reshape(-1, 2)
        return np.column_stack(
            [(points[:, 0] - self._left) * self.scale, (self._top - points[:, 1]) * self.scale]
        )

    def path(self, geometries: Iterable[Any], **style: object) -> None:
        """Draw lines and areas; those outside the sheet are left out, the others are cut to it."""
        found = np.asarray([g for g in geometries if g is not None], dtype=object)
        if not len(found):
            return
        shown = shapely.intersection(found[shapely.intersects(found, self.window)], self.window)
        steps = []
        for part in shapely.get_parts(shapely.get_parts(shown)):
            rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
            steps += [self._steps(ring) for ring in rings if ring.geom_type != "Point"]
        if steps:
            self.parts.append(f'<path d="{"".join(steps)}" {_attributes({"fill": "none", **style})}/>')

    def _steps(self, line: Any) -> str:
        points = self.place(shapely.get_coordinates(line))
        return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)

    def mark(self, xy: Any, svg: str, shift: tuple[float, float] = (0.0, 0.0)) -> None:
        """Put a symbol, drawn in millimetres around the origin, at a place [m], shifted on the sheet [mm]."""
        x, y = self.place(xy)[0]
        self.parts.append(f'<g transform="translate({x + shift[0]:.2f} {y + shift[1]:.2f})">{svg}</g>')

    def leader(self, xy: Any, shift: tuple[float, float]) -> None:
        """Draw a line from a place [m] to a shifted symbol [mm]."""
        x, y = self.place(xy)[0]
        ends = f'x1="{x:.2f}" y1="{y:.2f}" x2="{x + shift[0]:.2f}" y2="{y + shift[1]:.2f}"'
        self.parts.append(f'<line {ends} stroke="white" stroke-width="0.9"/>')
        self.parts.append(f'<line {ends} stroke="black" stroke-width="0.3"/>')
        self.parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.6"/>')

    def text(self, xy: Any, words: str, size_mm: float = 2.6, **style: object) -> None:
        """Write words at a place [m]; they are data, never markup."""
        x, y = self.place(xy)[0]
        turn = style.pop("turn", None)
        move = f"translate({x:.2f} {y:.2f})" + (f" rotate({turn})" if turn is not None else "")
        words = escape(words[:60], quote=True)
        halo = (
            f'stroke="white" stroke-width="{size_mm * 0.28:.2f}" stroke-linejoin="round" paint-order="stroke"'
        )
        base = {"font-family": FONT, "font-size": f"{size_mm:.2f}", "text-anchor": "middle", **style}
        self.parts.append(f'<text transform="{move}" {halo} {_attributes(base)}>{words}</text>')

    def raw(self, svg: str) -> None:
        """Add our own SVG, in millimetres on the sheet."""
        self.parts.append(svg)

    def scale_bar(self, unit_m: float = 1.0, unit: str = "m") -> None:
        """Draw a scale bar of a round length in the lower left corner, and north."""
        wanted = 45.0 / self.scale / unit_m
        power = 10.0 ** np.floor(np.log10(wanted))
        length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= wanted)
        wide, y = length * unit_m * self.scale, self.height_mm - 4.0
        self.raw(
            f'<rect x="2" y="{y - 5.2:.2f}" width="{wide + 10:.2f}" height="8" fill="white" opacity="0.9"/>'
        )
        self.raw(
            f'<rect x="4" y="{y:.2f}" width="{wide:.2f}" height="1.2" fill="white" stroke="black" '
            'stroke-width="0.25"/>'
        )
        self.raw(f'<rect x="4" y="{y:.2f}" width="{wide / 2:.2f}" height="1.2"/>')
        self.raw(
            f'<text x="{4 + wide / 2:.2f}" y="{y - 1.2:.2f}" font-family="{FONT}" font-size="2.8" '
            f'text-anchor="middle">{length:g} {unit}</text>'
        )
        north = '<path d="M0 -4L1.8 2.6L0 1.3L-1.8 2.6Z"/><text y="6" font-size="3" text-anchor="middle"'
        self.raw(
            f'<g transform="translate({self.width_mm - 6:.2f} 8)">{north} font-family="{FONT}">N</text></g>'
        )

    def svg(self) -> str:
        """Return the drawing."""
        wide, high = self.width_mm, self.height_mm
        size = f'width="{wide}mm" height="{high}mm" viewBox="0 0 {wide} {high}"'
        clip = f'<clipPath id="sheet"><rect width="{self.width_mm}" height="{self.height_mm}"/></clipPath>'
        body = "".join(self.parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size}><defs>{clip}</defs>'
            f'<g clip-path="url(#sheet)">{body}</g></svg>'
        )


def _attributes(style: dict[str, object]) -> str:
    return " ".join(f'{name.replace("_", "-")}="{value}"' for name, value in style.items())
