"""Maps of an emergency as SVG: the hit and its keep-away circle, a ring with its inside hatched, one stop."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
import shapely

from netplan.core.arrays import Floats
from netplan.network.linear_reference import lines_between
from netplan.outputs.documents.plan_drawing import draw_base_map
from netplan.outputs.documents.stop_sketch import Offset, clear_side, draw_offset
from netplan.outputs.documents.svg_drawing import FONT, DrawingSheet, customer_symbol, draw_lines, stop_symbol
from netplan.outputs.emergency.answer_words import hit_letter
from netplan.outputs.emergency.network_in_view import NetworkInView
from netplan.outputs.emergency.ring_inside import InsideLengths
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, Ring, RingStop

__all__ = ["draw_hit", "draw_ring", "draw_stop", "map_legend"]

_HATCH_MM: Final = 2.2
"""Half width of the hatched band along mains inside a ring (own) [mm]."""
_CLOSE_M: Final = 20.0
"""What the map of the hit shows beyond the keep-away circle (own) [m]."""
_LEADER_MM: Final = 7.0
_NUMBERS_MM_PER_M: Final = 0.5
"""Scale from which on house numbers are written (own)."""
_SKETCH_M: Final = 12.0
HIT_SYMBOL: Final = (
    '<path d="M0 -4.2L1.1 -1.6L3.6 -2.4L2.2 0L3.6 2.4L1.1 1.6L0 4.2L-1.1 1.6L-3.6 2.4L-2.2 0L-3.6 -2.4'
    'L-1.1 -1.6Z" fill="black" stroke="white" stroke-width="0.5"/><circle r="0.9" fill="white"/>'
)


def draw_ring(
    view: NetworkInView,
    answer: EmergencyAnswer,
    ring: Ring,
    inside: InsideLengths,
    name: str,
    width_mm: float,
    height_mm: float,
) -> str:
    """Return the map of a ring: every stop numbered, the stations to shut, its inside hatched.

    Parameters
    ----------
    view : NetworkInView
    answer : EmergencyAnswer
    ring : Ring
    inside : InsideLengths
    name : str
        Of letters and digits, different for each drawing of a page.
    width_mm, height_mm : float
        [mm]
    """
    shut = [place for _, place, is_shut in _stations(view, ring) if is_shut]
    places = [*_hit_places(answer), *((stop.x, stop.y) for stop in ring.stops), *shut]
    reach = answer.keep_away_m * answer.network.length_scale + _CLOSE_M
    sheet = DrawingSheet(_box(places, reach), width_mm, height_mm)
    _ground(sheet, view, answer, inside, name)
    _marks(sheet, view, answer, ring)
    return _finished(sheet, name)


def draw_hit(
    view: NetworkInView,
    answer: EmergencyAnswer,
    ring: Ring | None,
    inside: InsideLengths | None,
    name: str,
    width_mm: float,
    height_mm: float,
) -> str:
    """Return the map of what may be hit, near enough to read house numbers; see `draw_ring`."""
    reach = answer.keep_away_m * answer.network.length_scale + _CLOSE_M
    places = _hit_places(answer)
    box = _box(places, reach, share=0.0)
    sheet = DrawingSheet(box, width_mm, height_mm)
    _ground(sheet, view, answer, inside, name)
    _main_names(sheet, view)
    _marks(sheet, view, answer, ring)
    return _finished(sheet, name)


def draw_stop(
    view: NetworkInView,
    answer: EmergencyAnswer,
    stop: RingStop,
    figures: Figures,
    name: str,
    width_mm: float,
    height_mm: float,
) -> str:
    """Return a sketch of the surroundings of a stop, with what its distances are taped from, lettered."""
    offsets = [
        Offset(chr(ord("A") + k), one.what, one.distance_m, one.x, one.y)
        for k, one in enumerate(stop.offsets)
    ]
    reach = max([_SKETCH_M, *(min(one.distance_m, 26.0) + 2.0 for one in offsets)])
    half = reach * height_mm / width_mm
    sheet = DrawingSheet((stop.x - reach, stop.y - half, stop.x + reach, stop.y + half), width_mm, height_mm)
    _ground(sheet, view, answer, None, name)
    at = np.array([stop.x, stop.y])
    for offset in offsets:
        draw_offset(sheet, at, offset, figures)
    shift = clear_side(at, offsets)
    sheet.leader(at, shift)
    sheet.mark(at, stop_symbol(stop.kind, stop.n), shift)
    return _finished(sheet, name)


def _finished(sheet: DrawingSheet, name: str) -> str:
    sheet.scale_bar()
    sheet.raw(
        f'<rect width="{sheet.width_mm}" height="{sheet.height_mm}" fill="none" stroke="black" '
        'stroke-width="0.5"/>'
    )
    return sheet.svg(name)


def _hit_places(answer: EmergencyAnswer) -> list[tuple[float, float]]:
    return [(hit.x, hit.y) for hit in answer.hits]


def _box(
    places: Sequence[tuple[float, float]], reach_m: float, share: float = 0.12
) -> tuple[float, float, float, float]:
    """Return a box round places, with room for the keep-away circle and the symbols."""
    points = np.array(places)
    room = max(reach_m, share * float(np.ptp(points, axis=0).max()))
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _ground(
    sheet: DrawingSheet,
    view: NetworkInView,
    answer: EmergencyAnswer,
    inside: InsideLengths | None,
    name: str,
) -> None:
    """Draw the base map, the pipes, and what is inside hatched."""
    network = view.network
    x_low, y_low, x_high, y_high = (float(v) for v in sheet.window.bounds)
    window = (x_low, y_low, x_high, y_high)
    draw_base_map(sheet, view.base(window, sheet.scale))
    rows = view.pipes(window)
    mains = rows[rows < network.pipes.n_mains]
    if inside is not None:
        _hatch(sheet, view, inside, mains, name)
    if view.draws_services(sheet.scale):
        services = rows[rows >= network.pipes.n_mains]
        draw_lines(sheet, "service", list(view.lines(services)))
    systems = {hit.system for hit in answer.hits}
    codes = [row for row, system in enumerate(network.systems) if system in systems]
    hit_system = np.isin(network.pipes.system[mains], codes)
    draw_lines(sheet, "other system", list(view.lines(mains[~hit_system])))
    draw_lines(sheet, "live", list(view.lines(mains[hit_system])))
    if inside is not None:
        draw_lines(sheet, "isolated", _inside_lines(view, inside, mains))


def _inside_lines(view: NetworkInView, inside: InsideLengths, mains: Any) -> list[Any]:
    """Return what lies inside a ring of some mains, as lines."""
    network = view.network
    pieces = network.pieces
    pipe: list[int] = []
    low: list[float] = []
    high: list[float] = []
    shown = set(mains.tolist())
    for row in mains.tolist():
        own = pieces.rows_of(row)
        # Neighbouring pieces are drawn as one line.
        begin = None
        for piece in own:
            if inside.whole[piece]:
                begin = float(pieces.from_m[piece]) if begin is None else begin
                end = float(pieces.to_m[piece])
            elif begin is not None:
                pipe, low, high = [*pipe, row], [*low, begin], [*high, end]
                begin = None
        if begin is not None:
            pipe, low, high = [*pipe, row], [*low, begin], [*high, end]
    for row, from_m, to_m in inside.parts:
        if row in shown:
            pipe, low, high = [*pipe, row], [*low, from_m], [*high, to_m]
    some = np.flatnonzero(np.array(high) > np.array(low))
    if not len(some):
        return []
    return list(lines_between(network, np.array(pipe)[some], np.array(low)[some], np.array(high)[some]))


def _hatch(sheet: DrawingSheet, view: NetworkInView, inside: InsideLengths, mains: Any, name: str) -> None:
    lines = _inside_lines(view, inside, mains)
    if not lines:
        return
    band = shapely.union_all(shapely.buffer(lines, _HATCH_MM / sheet.scale, quad_segs=3))
    sheet.raw(
        f'<defs><pattern id="hatch{name}" width="1.5" height="1.5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="1.5" height="1.5" fill="#fdeee2"/>'
        '<path d="M0 0V1.5" stroke="#8a3c00" stroke-width="0.5"/></pattern></defs>'
    )
    sheet.path([band], fill=f"url(#hatch{name})", stroke="#8a3c00", stroke_width=0.15, fill_rule="evenodd")


def _main_names(sheet: DrawingSheet, view: NetworkInView) -> None:
    """Write the id of each main along its longest length shown."""
    x_low, y_low, x_high, y_high = (float(v) for v in sheet.window.bounds)
    rows = view.pipes((x_low, y_low, x_high, y_high))
    rows = rows[rows < view.network.pipes.n_mains]
    shown = shapely.intersection(view.lines(rows), sheet.window) if len(rows) else []
    for row, line in zip(rows.tolist(), shown, strict=True):
        longest = max(shapely.get_parts(line).tolist(), key=shapely.length, default=None)
        if longest is None or shapely.length(longest) * sheet.scale < 14.0:
            continue
        before, at, after = (longest.interpolate(s, normalized=True) for s in (0.2, 0.25, 0.3))
        turn = np.degrees(np.arctan2(-(after.y - before.y), after.x - before.x))
        turn = (turn + 90.0) % 180.0 - 90.0
        words = view.network.pipes.id[row]
        sheet.text((at.x, at.y), words, 2.4, turn=f"{turn:.1f}", dy="-1.3", fill="#004a75")


def _stations(view: NetworkInView, ring: Ring | None) -> Iterable[tuple[str, tuple[float, float], bool]]:
    """Yield each station and injection on a main: id, place, whether the ring has it shut."""
    network = view.network
    shut = set() if ring is None else set(ring.stations_to_shut)
    for table in (network.stations, network.injections):
        for row, node in enumerate(table.node.tolist()):
            if node >= 0:
                place = float(network.nodes.x_m[node]), float(network.nodes.y_m[node])
                yield table.id[row], place, table.id[row] in shut


def _marks(sheet: DrawingSheet, view: NetworkInView, answer: EmergencyAnswer, ring: Ring | None) -> None:
    window = sheet.window
    x_low, y_low, x_high, y_high = (float(v) for v in window.bounds)
    customers = view.network.customers
    off = set() if ring is None else set(ring.customers_off)
    for row in view.customers((x_low, y_low, x_high, y_high)).tolist():
        at = float(customers.x_m[row]), float(customers.y_m[row])
        if customers.priority[row]:
            effect = "off" if customers.id[row] in off else "kept"
            sheet.mark(at, customer_symbol(effect, priority=True))
        if sheet.scale >= _NUMBERS_MM_PER_M and customers.number[row]:
            sheet.text(at, customers.number[row], 2.4, dy="0.8")
    for name, place, is_shut in _stations(view, ring):
        if window.contains(shapely.Point(place)):
            _station(sheet, name, place, is_shut=is_shut)
    circle = answer.keep_away_m * answer.network.length_scale * sheet.scale
    for place in _hit_places(answer):
        sheet.mark(
            place,
            f'<circle r="{circle:.2f}" fill="none" stroke="white" stroke-width="1.5"/>'
            f'<circle r="{circle:.2f}" fill="none" stroke="#b00000" stroke-width="0.8" '
            'stroke-dasharray="2.4 1.2"/>',
        )
    middle = np.array(_hit_places(answer)).mean(axis=0)
    for stop in () if ring is None else ring.stops:
        if not window.contains(shapely.Point(stop.x, stop.y)):
            continue
        shift = _outward(np.array([stop.x, stop.y]) - middle)
        sheet.leader((stop.x, stop.y), shift)
        sheet.mark((stop.x, stop.y), stop_symbol(stop.kind, stop.n), shift)
        if stop.valve_id:
            _label(sheet, (stop.x, stop.y), stop.valve_id, (shift[0], shift[1] + 6.2))
    for k, place in enumerate(_hit_places(answer)):
        sheet.mark(place, HIT_SYMBOL)
        words = "HIT" if len(answer.hits) == 1 else f"HIT {hit_letter(k)}"
        _label(sheet, place, words, (0.0, -5.2 - 3.6 * (k % 3)), 3.4)


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
    sheet: DrawingSheet, place: Any, words: str, shift: tuple[float, float], size_mm: float = 2.9
) -> None:
    sheet.text(place, words, size_mm, font_weight="bold", dx=f"{shift[0]:.2f}", dy=f"{shift[1]:.2f}")


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
        (stop_symbol("valve", 1), "valve to shut"),
        (stop_symbol("squeeze", 2), "squeeze-off"),
        (stop_symbol("bag", 3), "bag stop"),
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
