"""Drop against flow of a bypass as a picture of the pack, drawn without loading a charting package."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.feeds.feed_curves import DropCurve
from netplan.outputs.charts.chart_format import LINE_STYLES, axis_label, shown_flow, shown_pressure
from netplan.outputs.charts.feed_charts import HEADROOM, size_words, working_point_words
from netplan.outputs.documents.svg_drawing import FONT
from netplan.outputs.number_format import FIGURES_CAUTION, Figures

__all__ = ["drop_drawing", "ticks"]

WIDTH_MM: Final = 182.0
HEIGHT_MM: Final = 109.0
LEFT_MM: Final = 17.0
RIGHT_MM: Final = 153.0
TOP_MM: Final = 15.0
BOTTOM_MM: Final = 91.0
LEGEND_MM: Final = 6.0
"""From one line of the legend to the next [mm]."""
MOST_TICKS: Final = 8
DASHES: Final = ("", "3 1.2", "3 1 0.7 1", "0.7 1", "3 1 0.7 1 0.7 1", "2 2", "0.7 0.7")
"""Dashes in the order of `LINE_STYLES` [mm]."""


def drop_drawing(
    curves: Sequence[DropCurve],
    working_flow_m3_per_s_std: float,
    working_drop_pa: float,
    figures: Figures,
    title: str,
) -> str:
    """Return drop against flow per size as SVG; each line ends at the velocity limit.

    Parameters
    ----------
    curves : sequence of DropCurve
        One for each size.
    working_flow_m3_per_s_std, working_drop_pa : float
        Flow [m³/s at 15 °C, 101.325 kPa] and drop [Pa] of the size chosen, as solved.
    figures : Figures
        Units of the reader.
    title : str
    """
    flow = float(shown_flow(figures, working_flow_m3_per_s_std)[0])
    drop = float(shown_pressure(figures, working_drop_pa)[0])
    most = HEADROOM * max(flow, 1e-9), HEADROOM * max(drop, 1e-9)
    note = working_point_words(figures, working_flow_m3_per_s_std, working_drop_pa)
    parts = [_text(2.0, 5.5, title, 4.2, bold=True), _text(LEFT_MM, TOP_MM - 2.5, note, 3.1)]
    parts += _axes(most, figures)
    for row, curve in enumerate(curves):
        colour, dash = LINE_STYLES[row % len(LINE_STYLES)][0], DASHES[row % len(DASHES)]
        stroke = f'fill="none" stroke="{colour}" stroke-width="0.6" stroke-dasharray="{dash or "none"}"'
        parts += _curve(curve, most, figures, stroke, colour)
        y = TOP_MM + 9.0 + LEGEND_MM * row
        parts.append(f'<path d="M{RIGHT_MM + 3.0} {y - 1.0:.2f}H{RIGHT_MM + 11.0}" {stroke}/>')
        parts.append(_text(RIGHT_MM + 12.5, y, size_words(curve, figures), 3.1))
    parts.append(_text(RIGHT_MM + 3.0, TOP_MM + 3.0, "bore", 3.1, bold=True))
    x, y = _place(flow, drop, most)
    parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.2" fill="black"/>')
    parts.append(f'<rect x="{x + 2.2:.2f}" y="{y + 1.9:.2f}" width="18.5" height="4.2" fill="white"/>')
    parts.append(_text(x + 2.8, y + 5.1, "working point", 3.1))
    parts.append(_text(2.0, HEIGHT_MM - 2.0, FIGURES_CAUTION, 2.8))
    size = f'width="{WIDTH_MM}mm" height="{HEIGHT_MM}mm" viewBox="0 0 {WIDTH_MM} {HEIGHT_MM}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(parts)}</svg>'


def _place(flow: float, drop: float, most: tuple[float, float]) -> tuple[float, float]:
    x = LEFT_MM + flow / most[0] * (RIGHT_MM - LEFT_MM)
    return x, BOTTOM_MM - drop / most[1] * (BOTTOM_MM - TOP_MM)


def _axes(most: tuple[float, float], figures: Figures) -> list[str]:
    parts = []
    for flow in ticks(most[0]):
        x, _ = _place(flow, 0.0, most)
        parts.append(f'<path d="M{x:.2f} {TOP_MM}V{BOTTOM_MM}" stroke="#ddd" stroke-width="0.2"/>')
        parts.append(_text(x, BOTTOM_MM + 4.0, f"{flow:g}", 2.9, "middle"))
    for drop in ticks(most[1]):
        _, y = _place(0.0, drop, most)
        parts.append(f'<path d="M{LEFT_MM} {y:.2f}H{RIGHT_MM}" stroke="#ddd" stroke-width="0.2"/>')
        parts.append(_text(LEFT_MM - 1.5, y + 1.0, f"{drop:g}", 2.9, "end"))
    corner = f"M{LEFT_MM} {TOP_MM}V{BOTTOM_MM}H{RIGHT_MM}"
    parts.append(f'<path d="{corner}" fill="none" stroke="black" stroke-width="0.3"/>')
    along = axis_label(figures, "flow", f"flow at {figures.reference}")
    parts.append(_text((LEFT_MM + RIGHT_MM) / 2.0, BOTTOM_MM + 9.0, along, 3.2, "middle"))
    upward = _text(0.0, 0.0, axis_label(figures, "pressure", "pressure lost"), 3.2, "middle")
    parts.append(f'<g transform="translate(5 {(TOP_MM + BOTTOM_MM) / 2.0}) rotate(-90)">{upward}</g>')
    return parts


def ticks(most: float) -> list[float]:
    """Return round figures from 0 up to `most`, eight steps between them at most."""
    least = most / MOST_TICKS
    decade = 10.0 ** math.floor(math.log10(least))
    step = next(step * decade for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * decade >= least)
    return [float(f"{step * k:.12g}") for k in range(math.floor(most / step * (1.0 + 1e-9)) + 1)]


def _curve(
    curve: DropCurve, most: tuple[float, float], figures: Figures, stroke: str, colour: str
) -> list[str]:
    flow, drop = shown_flow(figures, curve.flow_m3_per_s_std), shown_pressure(figures, curve.drop_pa)
    known = np.isfinite(drop)
    flow, drop = flow[known], drop[known]
    if not flow.size:
        return []
    is_inside = bool(flow[-1] <= most[0] and drop[-1] <= most[1])
    if not is_inside:
        flow, drop = _cut_at_edge(flow, drop, most)
    at = [_place(x, y, most) for x, y in zip(flow.tolist(), drop.tolist(), strict=True)]
    parts = [f'<path d="M{"L".join(f"{x:.2f} {y:.2f}" for x, y in at)}" {stroke}/>']
    if is_inside:
        x, y = at[-1]
        end = f'd="M{x:.2f} {y - 1.6:.2f}V{y + 1.6:.2f}"'
        parts.append(f'<path {end} stroke="{colour}" stroke-width="0.5"/>')
    return parts


def _cut_at_edge(flow: Floats, drop: Floats, most: tuple[float, float]) -> tuple[Floats, Floats]:
    """Return a rising curve up to where it leaves the chart."""
    last = int(np.argmax((flow > most[0]) | (drop > most[1])))
    if last == 0:
        return flow[:1], drop[:1]
    before, beyond = np.array([flow[last - 1], drop[last - 1]]), np.array([flow[last], drop[last]])
    rise = beyond - before
    shares = [(top - low) / up for top, low, up in zip(most, before, rise, strict=True) if up > 0.0]
    edge = before + min(1.0, *shares) * rise
    return np.append(flow[:last], edge[0]), np.append(drop[:last], edge[1])


def _text(x: float, y: float, words: str, size: float, anchor: str = "start", *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size}" text-anchor="{anchor}"'
        f"{weight}>{escape(words, quote=True)}</text>"
    )
