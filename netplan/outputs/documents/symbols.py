"""Symbols and line styles of the paper drawings; the same shapes as on the map, readable without colour."""

from __future__ import annotations

from typing import Final

from netplan.outputs.documents.drawing import FONT, DrawingSheet

__all__ = ["LINES", "customer_symbol", "legend_svg", "lettered", "stop_symbol", "stroke"]

LINES: Final[dict[str, tuple[dict[str, object], ...]]] = {
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
    ("stranded", "stranded, no gas"),
    ("fed", "kept by a feed"),
    ("live", "in service"),
    ("bypass", "bypass or hose"),
)


def stroke(sheet: DrawingSheet, kind: str, geometries: list[object], *, thin: bool = False) -> None:
    """Draw lines of a kind; services thinner."""
    for style in LINES[kind]:
        width = float(str(style["stroke_width"])) * (0.45 if thin else 1.0)
        sheet.path(geometries, **{**style, "stroke_width": f"{width:.2f}"})


def _letter(text: str, fill: str, size: float = 3.0, y: float = 1.05) -> str:
    return (
        f'<text y="{y}" font-family="{FONT}" font-weight="bold" font-size="{size}" fill="{fill}" '
        f'text-anchor="middle">{text}</text>'
    )


def stop_symbol(kind: str, number: int, *, hollow: bool = False) -> str:
    """Return the symbol of a stop: circle for a bag, barred square for a squeeze, diamond for a valve."""
    fill = "white" if hollow else "black"
    style = f'fill="{fill}" stroke="{"black" if hollow else "white"}" stroke-width="0.35"'
    shapes = {
        "bag": f'<circle r="2.7" {style}/>',
        "squeeze": f'<rect x="-2.2" y="-2.5" width="4.4" height="5" {style}/>'
        '<path d="M-3.1 -2.5v5M3.1 -2.5v5" stroke="black" stroke-width="0.6"/>',
        "valve": f'<path d="M0 -3.5L3.5 0L0 3.5L-3.5 0Z" {style}/>',
    }
    return shapes[kind] + _letter(str(int(number)), "black" if hollow else "white")


def lettered(letter: str) -> str:
    """Return a white circle with one of our letters in it: G gauge, F fallback."""
    return '<circle r="2.2" fill="white" stroke="black" stroke-width="0.4"/>' + _letter(
        letter, "black", 2.6, 0.9
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
    sheet = DrawingSheet((0.0, 0.0, width_mm, 13.0), width_mm, 13.0)
    column = width_mm / 6
    for k, (kind, name) in enumerate(_NAMES):
        x = k * column
        for style in LINES[kind]:
            words = " ".join(f'{key.replace("_", "-")}="{value}"' for key, value in style.items())
            sheet.raw(f'<path d="M{x:.1f} 3H{x + 8:.1f}" fill="none" {words}/>')
        sheet.raw(_words(x + 9.5, 4, name))
    marks = (
        (stop_symbol("bag", 1), "bag stop"),
        (stop_symbol("squeeze", 2), "squeeze-off"),
        (stop_symbol("valve", 3), "valve"),
        (customer_symbol("off"), "customer off"),
        (customer_symbol("kept"), "customer kept"),
        (customer_symbol("kept", priority=True), "priority"),
    )
    for k, (symbol, name) in enumerate(marks):
        sheet.raw(f'<g transform="translate({k * column + 4:.1f} 9.3)">{symbol}</g>')
        sheet.raw(_words(k * column + 9.5, 10.3, name))
    return sheet.svg()


def _words(x: float, y: float, text: str) -> str:
    return f'<text x="{x:.1f}" y="{y}" font-family="{FONT}" font-size="2.9">{text}</text>'
