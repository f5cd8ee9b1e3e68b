"""Marks on the maps of an emergency: hit, keep-away circle, stops, stations, closed valves; the legend."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.network.linear_reference import points_at
from netplan.outputs.documents.svg_drawing import FONT, DrawingSheet, customer_symbol, stop_symbol
from netplan.outputs.emergency.network_in_view import NetworkInView
from netplan.outputs.emergency.ring_inside import InsideLengths
from netplan.outputs.emergency.word_forms import hit_letter
from netplan.planfile.emergency_answer import EmergencyAnswer, Ring, RingStop

__all__ = ["closed_places", "draw_marks", "hit_places", "map_legend", "stations_of"]

_LEADER_MM: Final = 7.0
_NUMBERS_MM_PER_M: Final = 0.5
"""Scale from which on house numbers are written (own)."""
_TOGETHER_MM: Final = 8.0
"""Hits nearer on paper share a label (own) [mm]."""
CLOSED_SYMBOL: Final = (
    '<path d="M0 -3L3 0L0 3L-3 0Z" fill="white" stroke="black" stroke-width="0.5"/>'
    '<path d="M-2.2 0H2.2" stroke="black" stroke-width="1"/>'
)
HIT_SYMBOL: Final = (
    '<path class="hit" fill="black" stroke="white" stroke-width="0.5" d="M0 -4.2L1.1 -1.6L3.6 -2.4L2.2 0'
    'L3.6 2.4L1.1 1.6L0 4.2L-1.1 1.6L-3.6 2.4L-2.2 0L-3.6 -2.4L-1.1 -1.6Z"/><circle r="0.9" fill="white"/>'
)


def hit_places(answer: EmergencyAnswer) -> list[tuple[float, float]]:
    """Return the places that may be hit [m]."""
    return [(hit.x, hit.y) for hit in answer.hits]


def stations_of(view: NetworkInView, ring: Ring | None) -> Iterable[tuple[str, tuple[float, float], bool]]:
    """Yield each station and injection on a main: id, place, whether the ring has it shut."""
    network = view.network
    shut = set() if ring is None else set(ring.stations_to_shut)
    for table in (network.stations, network.injections):
        for row, node in enumerate(table.node.tolist()):
            if node >= 0:
                place = float(network.nodes.x_m[node]), float(network.nodes.y_m[node])
                yield table.id[row], place, table.id[row] in shut


def closed_places(view: NetworkInView, inside: InsideLengths | None) -> dict[str, tuple[float, float]]:
    """Return the places of the closed valves that bound a ring, by their ids."""
    network = view.network
    rows = np.array(() if inside is None else inside.closed_valves, dtype=np.int64)
    if not len(rows):
        return {}
    xy = points_at(network, network.valves.pipe[rows], network.valves.chainage_m[rows])
    return {network.valves.id[row]: (float(x), float(y)) for row, (x, y) in zip(rows, xy, strict=True)}


def draw_marks(
    sheet: DrawingSheet,
    view: NetworkInView,
    answer: EmergencyAnswer,
    ring: Ring | None,
    inside: InsideLengths | None,
) -> None:
    """Draw meter points, stations, closed valves, the keep-away circle, the stops and the hits.

    Parameters
    ----------
    sheet : DrawingSheet
    view : NetworkInView
    answer : EmergencyAnswer
    ring : Ring, optional
    inside : InsideLengths, optional
    """
    x_low, y_low, x_high, y_high = (float(bound) for bound in sheet.window.bounds)

    def is_shown(place: tuple[float, float]) -> bool:
        return x_low < place[0] < x_high and y_low < place[1] < y_high

    _customers(sheet, view, ring)
    for name, place, is_shut in stations_of(view, ring):
        if is_shown(place):
            _station(sheet, name, place, is_shut=is_shut)
    for name, place in closed_places(view, inside).items():
        if is_shown(place):
            sheet.mark(place, CLOSED_SYMBOL)
            _label(sheet, place, name, (0.0, 5.6))
    circle = answer.keep_away_m * answer.network.length_scale * sheet.scale
    for place in hit_places(answer):
        sheet.mark(
            place,
            f'<circle r="{circle:.2f}" fill="none" stroke="white" stroke-width="1.5"/>'
            f'<circle r="{circle:.2f}" fill="none" stroke="#b00000" stroke-width="0.8" '
            'stroke-dasharray="2.4 1.2"/>',
        )
    for stop in () if ring is None else ring.stops:
        if is_shown((stop.x, stop.y)):
            _stop(sheet, stop, np.array(hit_places(answer)).mean(axis=0))
    for place in hit_places(answer):
        sheet.mark(place, HIT_SYMBOL)
    for place, letters in _hits_together(sheet, answer):
        words = "HIT" if len(answer.hits) == 1 else f"HIT {', '.join(letters)}"
        _label(sheet, place, words, (0.0, -5.2), size_mm=3.4)


def _customers(sheet: DrawingSheet, view: NetworkInView, ring: Ring | None) -> None:
    x_low, y_low, x_high, y_high = (float(v) for v in sheet.window.bounds)
    customers = view.network.customers
    off = set() if ring is None else set(ring.customers_off)
    for row in view.customers((x_low, y_low, x_high, y_high)).tolist():
        at = float(customers.x_m[row]), float(customers.y_m[row])
        if customers.priority[row]:
            effect = "off" if customers.id[row] in off else "kept"
            sheet.mark(at, customer_symbol(effect, priority=True))
        if sheet.scale >= _NUMBERS_MM_PER_M and customers.number[row]:
            sheet.text(at, customers.number[row], 2.4, dy="0.8")


def _stop(sheet: DrawingSheet, stop: RingStop, middle: Floats) -> None:
    at = np.array([stop.x, stop.y])
    shift = _outward(at - middle)
    sheet.leader(at, shift)
    sheet.mark(at, stop_symbol(stop.kind, stop.n), shift)
    if stop.valve_id:
        side = 1.0 if shift[0] >= 0.0 else -1.0
        anchor = "start" if side > 0.0 else "end"
        _label(sheet, at, stop.valve_id, (shift[0] + 4.2 * side, shift[1] + 1.0), anchor)


def _hits_together(
    sheet: DrawingSheet, answer: EmergencyAnswer
) -> list[tuple[tuple[float, float], list[str]]]:
    """Return the letters of the hits that lie together on paper, and the highest of their places."""
    groups: list[tuple[list[tuple[float, float]], list[str]]] = []
    for k, place in enumerate(hit_places(answer)):
        for places, letters in groups:
            away = np.hypot(place[0] - places[0][0], place[1] - places[0][1])
            if away * sheet.scale < _TOGETHER_MM:
                places.append(place)
                letters.append(hit_letter(k))
                break
        else:
            groups.append(([place], [hit_letter(k)]))
    return [(max(places, key=lambda one: one[1]), letters) for places, letters in groups]


def _station(sheet: DrawingSheet, name: str, place: tuple[float, float], *, is_shut: bool) -> None:
    fill, ink = ("black", "white") if is_shut else ("white", "black")
    sheet.mark(
        place,
        f'<rect x="-2.3" y="-2.3" width="4.6" height="4.6" fill="{fill}" stroke="black" stroke-width="0.5"/>'
        f'<text y="1.1" font-family="{FONT}" font-weight="bold" font-size="3.2" fill="{ink}" '
        'text-anchor="middle">S</text>',
    )
    _label(sheet, place, f"{name} SHUT" if is_shut else name, (0.0, 5.6))


def _label(
    sheet: DrawingSheet,
    place: Any,
    words: str,
    shift: tuple[float, float],
    anchor: str = "middle",
    size_mm: float = 2.9,
) -> None:
    move = {"dx": f"{shift[0]:.2f}", "dy": f"{shift[1]:.2f}", "text-anchor": anchor}
    sheet.text(place, words, size_mm, **{"font-weight": "bold", **move})


def _outward(step: Floats) -> tuple[float, float]:
    angle = float(np.arctan2(-step[1], step[0])) + 0.7
    return _LEADER_MM * float(np.cos(angle)), _LEADER_MM * float(np.sin(angle))


def map_legend(width_mm: float, columns: int) -> str:
    """Return the legend of the maps as SVG."""
    line = '<path d="M-4 0H4" fill="none" stroke="{}" stroke-width="{}" {}/>'
    marks = (
        (HIT_SYMBOL, "hit"),
        (
            '<circle r="2.6" fill="none" stroke="#b00000" stroke-width="0.8" stroke-dasharray="2.4 1.2"/>',
            "keep away",
        ),
        (stop_symbol("valve", ""), "valve to shut"),
        (CLOSED_SYMBOL, "closed: check it"),
        (stop_symbol("squeeze", ""), "squeeze-off"),
        (stop_symbol("bag", ""), "bag stop"),
        (
            '<rect x="-2.3" y="-2.3" width="4.6" height="4.6" fill="white" stroke="black" '
            'stroke-width="0.5"/>' + _legend_letter("black"),
            "station",
        ),
        ('<rect x="-2.3" y="-2.3" width="4.6" height="4.6"/>' + _legend_letter("white"), "station to shut"),
        (customer_symbol("off", priority=True), "priority, off"),
        (
            line.format("#d55e00", 2.0, "") + line.format("white", 0.6, 'stroke-dasharray="1.8 1.5"'),
            "inside the ring",
        ),
        (line.format("#0072b2", 0.8, ""), "other main"),
        (line.format("#6d6a64", 0.5, 'stroke-dasharray="2 1"'), "other system"),
        (line.format("#b5b5b5", 0.3, ""), "service"),
    )
    rows = -(-len(marks) // columns)
    height = 7.5 * rows + 1.0
    sheet = DrawingSheet((0.0, 0.0, width_mm, height), width_mm, height)
    wide = width_mm / columns
    for k, (symbol, words) in enumerate(marks):
        x, y = (k % columns) * wide + 5.0, 4.0 + 7.5 * (k // columns)
        sheet.raw(f'<g transform="translate({x:.1f} {y:.1f})">{symbol}</g>')
        place = f'x="{x + 5.2:.1f}" y="{y + 1:.1f}"'
        sheet.raw(f'<text {place} font-family="{FONT}" font-size="3">{words}</text>')
    return sheet.svg("legend")


def _legend_letter(ink: str) -> str:
    return (
        f'<text y="1.1" font-family="{FONT}" font-weight="bold" font-size="3.2" fill="{ink}" '
        'text-anchor="middle">S</text>'
    )
