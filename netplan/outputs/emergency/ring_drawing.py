"""Maps of an emergency as SVG: the hit and its keep-away circle, a ring with its inside hatched, one stop."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import shapely

from netplan.network.linear_reference import lines_between
from netplan.outputs.documents.plan_drawing import draw_base_map
from netplan.outputs.documents.stop_sketch import Offset, clear_side, draw_offsets
from netplan.outputs.documents.svg_drawing import DrawingSheet, draw_lines, stop_symbol
from netplan.outputs.emergency.network_in_view import NetworkInView
from netplan.outputs.emergency.ring_inside import InsideLengths
from netplan.outputs.emergency.ring_marks import closed_places, draw_marks, hit_places, stations_of
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, Ring, RingStop

__all__ = ["draw_hit", "draw_ring", "draw_stop"]

_HATCH_MM: Final = 2.2
"""Half width of the hatched band along mains inside a ring (own) [mm]."""
_THIN_MM_PER_M: Final = 0.2
"""Scale below which the inside of a ring is drawn thin (own)."""
_CLOSE_M: Final = 20.0
"""What the map of the hit shows beyond the keep-away circle (own) [m]."""
_SKETCH_M: Final = 12.0
_SCALE_BAR_MM, _LABEL_MM = 9.0, 6.0
"""Room for the scale bar, and round the ends of tapes for their figures (own) [mm]."""
_FARTHEST_M: Final = 26.0
"""How far a sketch reaches out for what a stop is taped from (own) [m]."""


def draw_ring(
    view: NetworkInView,
    answer: EmergencyAnswer,
    ring: Ring,
    inside: InsideLengths,
    figures: Figures,
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
    figures : Figures
        Whose units the scale bar has.
    name : str
        Of letters and digits, different for each drawing of a page.
    width_mm, height_mm : float
        [mm]
    """
    shut = [place for _, place, is_shut in stations_of(view, ring) if is_shut]
    closed = closed_places(view, inside).values()
    places = [*hit_places(answer), *((stop.x, stop.y) for stop in ring.stops), *shut, *closed]
    reach = answer.keep_away_m * answer.network.length_scale + _CLOSE_M
    sheet = DrawingSheet(_box(places, reach), width_mm, height_mm)
    _ground(sheet, view, answer, inside, name)
    draw_marks(sheet, view, answer, ring, inside)
    sheet.scale_bar(figures)
    return _framed(sheet, name)


def draw_hit(
    view: NetworkInView,
    answer: EmergencyAnswer,
    ring: Ring | None,
    inside: InsideLengths | None,
    figures: Figures,
    name: str,
    width_mm: float,
    height_mm: float,
) -> str:
    """Return the map of what may be hit, near enough to read house numbers; see `draw_ring`."""
    reach = answer.keep_away_m * answer.network.length_scale + _CLOSE_M
    places = hit_places(answer)
    box = _box(places, reach, share=0.0)
    sheet = DrawingSheet(box, width_mm, height_mm)
    _ground(sheet, view, answer, inside, name)
    _main_names(sheet, view)
    draw_marks(sheet, view, answer, ring, inside)
    sheet.scale_bar(figures)
    return _framed(sheet, name)


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
    across = 1.0 - 2.0 * _LABEL_MM / width_mm
    wide = [min(abs(one.x_m - stop.x), _FARTHEST_M) / across for one in offsets]
    free = 1.0 - _SCALE_BAR_MM / height_mm  # the scale bar stands below everything
    along = (free - 2.0 * _LABEL_MM / height_mm) * height_mm / width_mm
    high = [min(abs(one.y_m - stop.y), _FARTHEST_M) / along for one in offsets]
    reach = max([_SKETCH_M, *wide, *high])
    half = reach * height_mm / width_mm
    low = stop.y - (2.0 - free) * half
    box = stop.x - reach, low, stop.x + reach, low + 2.0 * half
    sheet = DrawingSheet(box, width_mm, height_mm)
    _ground(sheet, view, answer, None, name)
    sheet.scale_bar(figures)
    at = np.array([stop.x, stop.y])
    draw_offsets(sheet, at, offsets, figures, behind_end=True)
    shift = clear_side(at, offsets)
    sheet.leader(at, shift)
    sheet.mark(at, stop_symbol(stop.kind, stop.n), shift)
    return _framed(sheet, name)


def _framed(sheet: DrawingSheet, name: str) -> str:
    sheet.raw(
        f'<rect width="{sheet.width_mm}" height="{sheet.height_mm}" fill="none" stroke="black" '
        'stroke-width="0.5"/>'
    )
    return sheet.svg(name)


def _box(
    places: Sequence[tuple[float, float]], reach_m: float, share: float = 0.16
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
        draw_lines(sheet, "isolated", _inside_lines(view, inside, mains), thin=sheet.scale < _THIN_MM_PER_M)


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
    half_mm = _HATCH_MM * (0.65 if sheet.scale < _THIN_MM_PER_M else 1.0)
    band = shapely.union_all(shapely.buffer(lines, half_mm / sheet.scale, quad_segs=3))
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
