"""Vector drawings for paper, as SVG: the sheet, its lines, symbols and legend."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Floats
from netplan.core.printable_text import shown_signs
from netplan.core.units import convert
from netplan.outputs.number_format import Figures

__all__ = [
    "FONT",
    "LINE_STROKES",
    "DrawingSheet",
    "customer_symbol",
    "draw_lines",
    "label_symbol",
    "legend_svg",
    "letter_symbol",
    "stop_symbol",
]


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
        words = escape(shown_signs(words)[:60], quote=True)
        halo = (
            f'stroke="white" stroke-width="{size_mm * 0.28:.2f}" stroke-linejoin="round" paint-order="stroke"'
        )
        base = {"font-family": FONT, "font-size": f"{size_mm:.2f}", "text-anchor": "middle", **style}
        self.parts.append(f'<text transform="{move}" {halo} {_attributes(base)}>{words}</text>')

    def raw(self, svg: str) -> None:
        """Add our own SVG, in millimetres on the sheet."""
        self.parts.append(svg)

    def scale_bar(self, units: Figures) -> None:
        """Draw a scale bar of a round length in the lower left corner, and north."""
        length_kind = units.kind("length")
        unit_m, unit = convert(1.0, length_kind.shown, "m"), length_kind.sign
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

    def svg(self, name: str = "") -> str:
        """Return the drawing; several on one page need different names of letters and digits."""
        wide, high = self.width_mm, self.height_mm
        size = f'width="{wide}mm" height="{high}mm" viewBox="0 0 {wide} {high}"'
        clip = f'<clipPath id="sheet{name}"><rect width="{wide}" height="{high}"/></clipPath>'
        body = "".join(self.parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size}><defs>{clip}</defs>'
            f'<g clip-path="url(#sheet{name})">{body}</g></svg>'
        )


def _attributes(style: dict[str, object]) -> str:
    return " ".join(f'{name.replace("_", "-")}="{value}"' for name, value in style.items())


LINE_STROKES: Final[dict[str, tuple[dict[str, object], ...]]] = {
    "light": ({"stroke": "#9a9a9a", "stroke_width": 0.45},),
    "service": ({"stroke": "#b5b5b5", "stroke_width": 0.2},),
    "live": ({"stroke": "#0072b2", "stroke_width": 0.8},),
    "isolated": (
        {"stroke": "#d55e00", "stroke_width": 2.0},
        {"stroke": "white", "stroke_width": 0.6, "stroke_dasharray": "1.8 1.5"},
    ),
    "stranded": (
        {"stroke": "black", "stroke_width": 1.8, "stroke_dasharray": "0.01 2.6", "stroke_linecap": "round"},
        {"stroke": "#cc79a7", "stroke_width": 1.2, "stroke_dasharray": "0.01 2.6", "stroke_linecap": "round"},
    ),
    "fed": ({"stroke": "#009e73", "stroke_width": 1.2, "stroke_dasharray": "3.2 1.2 0.5 1.2"},),
    "other system": ({"stroke": "#6d6a64", "stroke_width": 0.5, "stroke_dasharray": "2 1"},),
    "closed": ({"stroke": "black", "stroke_width": 1.2},),
    "work": (
        {"stroke": "black", "stroke_width": 3.0},
        {"stroke": "#f0e442", "stroke_width": 2.0, "stroke_dasharray": "2.6 2.2"},
    ),
    "bypass": (
        {"stroke": "black", "stroke_width": 1.7, "stroke_linecap": "round"},
        {"stroke": "#56b4e9", "stroke_width": 0.9, "stroke_linecap": "round"},
    ),
}
"""Strokes of each kind of line, one over the other [mm]."""

_NAMES: Final = (
    ("work", "work section"),
    ("isolated", "isolated zone"),
    ("stranded", "stranded, off"),
    ("fed", "kept by a feed"),
    ("live", "in service"),
    ("bypass", "bypass or hose"),
)


def draw_lines(sheet: DrawingSheet, kind: str, geometries: list[object], *, thin: bool = False) -> None:
    """Draw lines of a kind; services thinner."""
    for style in LINE_STROKES[kind]:
        width = float(str(style["stroke_width"])) * (0.45 if thin else 1.0)
        sheet.path(geometries, **{**style, "stroke_width": f"{width:.2f}"})


def _letter(text: str, fill: str, size: float = 3.0, y: float = 1.05) -> str:
    return (
        f'<text y="{y}" font-family="{FONT}" font-weight="bold" font-size="{size}" fill="{fill}" '
        f'text-anchor="middle">{text}</text>'
    )


def stop_symbol(kind: str, label: str | int, *, hollow: bool = False) -> str:
    """Return the symbol of a stop: circle for a bag, barred square for a squeeze, diamond for a valve."""
    text = str(label)
    size = {0: 3.0, 1: 3.0, 2: 2.5}.get(len(text), 2.0)
    fill = "white" if hollow else "black"
    style = f'fill="{fill}" stroke="{"black" if hollow else "white"}" stroke-width="0.35"'
    shapes = {
        "bag": f'<circle r="2.7" {style}/>',
        "squeeze": f'<rect x="-2.2" y="-2.5" width="4.4" height="5" {style}/>'
        '<path d="M-3.1 -2.5v5M3.1 -2.5v5" stroke="black" stroke-width="0.6"/>',
        "valve": f'<path d="M0 -3.5L3.5 0L0 3.5L-3.5 0Z" {style}/>',
    }
    return shapes[kind] + _letter(
        escape(shown_signs(text)[:6]), "black" if hollow else "white", size, 0.35 * size
    )


def letter_symbol(text: str) -> str:
    """Return a white circle with a letter or an id in it: G gauge, G1 one of them."""
    size = 2.6 if len(text) < 2 else 2.0
    return '<circle r="2.2" fill="white" stroke="black" stroke-width="0.4"/>' + _letter(
        escape(shown_signs(text)[:4]), "black", size, 0.35 * size
    )


def label_symbol(text: str) -> str:
    """Return an id in a white box: B1 a bypass, P1 a purge point."""
    words = escape(shown_signs(text)[:6])
    width = 1.6 + 1.5 * max(len(text[:6]), 2)
    return (
        f'<rect x="{-width / 2:.1f}" y="-1.8" width="{width:.1f}" height="3.6" fill="white" stroke="black" '
        f'stroke-width="0.3"/>{_letter(words, "black", 2.4, 0.85)}'
    )


def customer_symbol(effect: str, *, priority: bool = False) -> str:
    """Return the symbol of a customer: crossed square off, ring kept, triangle standby; diamond: priority."""
    ring = (
        '<path d="M0 -2.6L2.6 0L0 2.6L-2.6 0Z" fill="white" stroke="black" stroke-width="0.5"/>'
        if priority
        else ""
    )
    shapes = {
        "off": '<rect x="-1.2" y="-1.2" width="2.4" height="2.4" fill="#d55e00"/>'
        '<path d="M-.7 -.7L.7 .7M-.7 .7L.7 -.7" stroke="white" stroke-width="0.4"/>',
        "kept": '<circle r="1" fill="white" stroke="#009e73" stroke-width="0.7"/>',
        "standby": '<path d="M0 -1.5L1.4 1.1H-1.4Z" fill="#f0e442" stroke="black" stroke-width="0.3"/>',
    }
    return ring + shapes[effect]


def legend_svg(width_mm: float = 178.0) -> str:
    """Return the legend of the paper drawings."""
    sheet = DrawingSheet((0.0, 0.0, width_mm, 20.0), width_mm, 20.0)
    column = width_mm / 6
    for k, (kind, name) in enumerate(_NAMES):
        x = k * column
        for style in LINE_STROKES[kind]:
            words = " ".join(f'{key.replace("_", "-")}="{value}"' for key, value in style.items())
            sheet.raw(f'<path d="M{x:.1f} 3H{x + 8:.1f}" fill="none" {words}/>')
        sheet.raw(_words(x + 9.5, 4, name))
    marks = (
        (stop_symbol("bag", "S"), "bag stop"),
        (stop_symbol("squeeze", "S"), "squeeze-off"),
        (stop_symbol("valve", "S"), "valve"),
        (customer_symbol("off"), "customer off"),
        (customer_symbol("kept"), "customer kept"),
        (customer_symbol("kept", priority=True), "priority"),
        (letter_symbol("G"), "gauge"),
        (label_symbol("P"), "purge point"),
    )
    for k, (symbol, name) in enumerate(marks):
        x, y = k % 6 * column, 9.3 + k // 6 * 6.3
        sheet.raw(f'<g transform="translate({x + 4:.1f} {y:.1f})">{symbol}</g>')
        sheet.raw(_words(x + 9.5, y + 1.0, name))
    return sheet.svg()


def _words(x: float, y: float, text: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-family="{FONT}" font-size="2.9">{text}</text>'
