"""A sketch of each stop's surroundings: the main, the tappings in order, offsets a crew can tape out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.arrays import Floats
from netplan.network.ground_marks import TAPE_REACH_M, marks_near, nearest_junction
from netplan.outputs.documents.plan_drawing import (
    draw_base_map,
    draw_excavations,
    draw_feed_ends,
    draw_pipes,
    name_excavations,
)
from netplan.outputs.documents.svg_drawing import FONT, DrawingSheet, draw_lines, stop_symbol
from netplan.outputs.number_format import Figures
from netplan.planfile import StatePipes
from netplan.planfile.model import Option, Place, Stop, Tapping

__all__ = ["Offset", "assembly_drawing", "clear_side", "draw_offsets", "offsets_of", "stop_sketch"]


HALF_M: Final = 11.0
_ROOM_MM: Final = 13.0
_NEXT_MM: Final = 4.5
_BLACK: Final = 'stroke="black" stroke-width="0.4"'
_ROLE_LETTERS: Final = {
    "zone_vent": "Z",
    "barrier": "",
    "vent": "V",
    "gauge": "G",
    "bypass": "B",
    "purge_in": "P",
}


def stop_sketch(
    stop: Stop,
    option: Option,
    pipes: StatePipes,
    layers: Mapping[str, gpd.GeoDataFrame],
    offsets: Sequence[Offset],
    units: Figures,
    width_mm: float = 86.0,
    height_mm: float = 58.0,
) -> str:
    """Return the surroundings of a stop as SVG, north up, with the offsets and excavations drawn."""
    reach = max([HALF_M, *(min(offset.distance_m, 26.0) for offset in offsets)]) + 2.0
    half_height = reach * height_mm / width_mm
    box = (stop.x - reach, stop.y - half_height, stop.x + reach, stop.y + half_height)
    sheet = DrawingSheet(box, width_mm, height_mm)
    draw_base_map(sheet, layers)
    draw_excavations(sheet, option)
    draw_pipes(sheet, pipes)
    draw_lines(sheet, "work", list(layers["work"].geometry))
    draw_feed_ends(sheet, option)
    name_excavations(sheet, option)
    at = np.array([stop.x, stop.y])
    draw_offsets(sheet, at, offsets, units)
    shift = clear_side(at, offsets)
    sheet.leader(at, shift)
    sheet.mark(at, f'<g transform="scale(0.9)">{stop_symbol(stop.kind, stop.id)}</g>', shift)
    sheet.scale_bar(units)
    sheet.raw(
        f'<rect width="{width_mm}" height="{height_mm}" fill="none" stroke="black" stroke-width="0.5"/>'
    )
    return sheet.svg()


def draw_offsets(
    sheet: DrawingSheet, at: Floats, offsets: Sequence[Offset], units: Figures, *, behind_end: bool = False
) -> None:
    """Draw the lines that are taped, from a stop to what they are taped from, with letters and lengths.

    A figure stands on a long line and behind the end of a short one, or behind the end in any case.
    """
    farthest_mm = 0.0
    for offset in sorted(offsets, key=lambda one: one.distance_m):
        farthest_mm = _offset(sheet, at, offset, units, farthest_mm, behind_end)


def _offset(
    sheet: DrawingSheet, at: Floats, offset: Offset, units: Figures, farthest_mm: float, behind_end: bool
) -> float:
    """Draw one offset; return how far from the stop the farthest figure of a short one stands [mm].

    Parameters
    ----------
    farthest_mm : float
        The same of the shorter ones: the next stands beyond it.
    """
    end = np.array([offset.x_m, offset.y_m])
    if not sheet.window.contains(shapely.Point(end)):
        return farthest_mm
    sheet.path([shapely.LineString([at, end])], stroke="black", stroke_width=0.3, stroke_dasharray="1.4 0.8")
    sheet.mark(end, '<circle r="0.7" fill="white" stroke="black" stroke-width="0.35"/>')
    away = (end - at) / max(float(np.hypot(*(end - at))), 1e-9)
    on_paper = float(np.hypot(*(end - at))) * sheet.scale
    place = at + 0.6 * (end - at)
    if on_paper <= _ROOM_MM or behind_end:
        # On a short line the figure would hide the line: it goes behind its end, the next one farther out.
        farthest_mm = max(on_paper + _ROOM_MM / 4, farthest_mm + _NEXT_MM)
        place = at + away * (farthest_mm / sheet.scale)
    sheet.text(place, f"{offset.label} {units.chainage(offset.distance_m)}", 2.7, dy="0.9")
    return farthest_mm


def clear_side(at: Floats, offsets: Sequence[Offset]) -> tuple[float, float]:
    """Return where the stop's symbol stands off to [mm]: into the widest gap between the offsets."""
    if not offsets:
        return 0.0, -7.0
    turned = np.sort([np.arctan2(o.y_m - at[1], o.x_m - at[0]) for o in offsets])
    gaps = np.diff(np.append(turned, turned[0] + 2 * np.pi))
    widest = int(np.argmax(gaps))
    # A little off the middle of the gap, where the main often runs.
    angle = turned[widest] + 0.42 * gaps[widest]
    return 7.5 * float(np.cos(angle)), -7.5 * float(np.sin(angle))


def assembly_drawing(stop: Stop, units: Figures, width_mm: float = 178.0) -> str | None:
    """Return the tappings of a stop in their order along the main as SVG; None when nothing is tapped.

    The work lies on the right; distances are along the main from the barrier nearest the work.
    """
    if not stop.tappings:
        return None
    along = sorted(((-t.away_from(stop), t) for t in _drawn(stop)), key=lambda row: row[0])
    low, high = along[0][0], along[-1][0]
    span = max(high - low, 0.5)
    left, right, y = 24.0, width_mm - 30.0, 13.0
    parts = [
        f'<rect x="4" y="{y - 2.4}" width="{width_mm - 8}" height="4.8" fill="#eee" {_BLACK}/>',
        _words(5, y - 4.2, "live side", "start"),
        _words(width_mm - 5, y - 4.2, "work", "end"),
        f'<path d="M{width_mm - 14} {y}h7m-2.2 -1.5l2.2 1.5l-2.2 1.5" fill="none" {_BLACK}/>',
    ]
    for k, (offset, tapping) in enumerate(along):
        x = left + (right - left) * (offset - low) / span
        if tapping.role == "barrier":
            parts.append(f'<rect x="{x - 1.2:.2f}" y="{y - 3.2}" width="2.4" height="6.4"/>')
        else:
            parts.append(f'<path d="M{x:.2f} {y - 2.4}v-4" stroke="black" stroke-width="0.7"/>')
            parts.append(
                f'<circle cx="{x:.2f}" cy="{y - 8}" r="1.9" fill="white" stroke="black" stroke-width="0.4"/>'
            )
            parts.append(_words(x, y - 7.1, _ROLE_LETTERS[tapping.role], "middle", 2.6))
        drop = 6.2 + 3.4 * (k % 2)
        parts.append(f'<path d="M{x:.2f} {y + 2.4}V{y + drop - 2.4:.2f}" stroke="black" stroke-width="0.2"/>')
        parts.append(
            _words(
                x,
                y + drop,
                units.chainage(round(offset, 3) + 0.0),
                "middle",
                2.5,
            )
        )
    size = f'width="{width_mm}mm" height="24mm" viewBox="0 0 {width_mm} 24"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{"".join(parts)}</svg>'


def _drawn(stop: Stop) -> tuple[Tapping, ...]:
    """Return the tappings of a stop; with a valve's own barrier, which is not tapped."""
    if stop.kind != "valve":
        return stop.tappings
    itself = Tapping(role="barrier", chainage_m=stop.chainage_m, size_mm=0.0, offset_m=0.0)
    return (*stop.tappings, itself)


def _words(x: float, y: float, text: str, anchor: str, size: float = 2.8) -> str:
    # Only our own words and numbers come here.
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size}" text-anchor="{anchor}">'
        f"{text.replace('-', '−')}</text>"
    )


Layers = Mapping[str, gpd.GeoDataFrame]


@dataclass(frozen=True, slots=True)
class Offset:
    """A straight distance from the barrier nearest the work to something a crew can see or find.

    Parameters
    ----------
    label : str
        Letter on the sketch.
    what : str
        What is measured from.
    distance_m : float
        Horizontal distance on the ground [m].
    x_m, y_m : float
        Where it is [m].
    """

    label: str
    what: str
    distance_m: float
    x_m: float
    y_m: float


def offsets_of(
    stop: Stop | Place, layers: Layers, pipes: StatePipes, length_scale: float
) -> tuple[Offset, ...]:
    """Return the offsets of a stop or tee: two building corners apart, the next junction, the street's line.

    Parameters
    ----------
    stop : Stop or Place
    layers : mapping of str to GeoDataFrame
    pipes : StatePipes
        Pipes of the option.
    length_scale : float
        Planar over true length [-]: distances are those on the ground.
    """
    at = np.array([stop.x, stop.y])
    buildings, streets = (_near(at, layers, name) for name in ("buildings", "streets"))
    offsets = []
    for k, mark in enumerate(marks_near(at, buildings, streets, _junction(at, pipes))):
        distance = float(np.hypot(mark.x_m - at[0], mark.y_m - at[1])) / length_scale
        offsets.append(Offset(chr(ord("A") + k), mark.what, distance, mark.x_m, mark.y_m))
    return tuple(offsets)


def _near(at: Floats, layers: Layers, name: str) -> Any:
    if name not in layers:
        return np.zeros(0, dtype=object)
    shapes = layers[name].geometry.array
    return shapes[shapely.dwithin(shapes, shapely.Point(at), TAPE_REACH_M)]


def _junction(at: Floats, pipes: StatePipes) -> Floats | None:
    rows = np.flatnonzero(pipes.is_main & (pipes.length_m > 0))
    lines = pipes.lines(rows)
    near = shapely.dwithin(lines, shapely.Point(at), 2 * TAPE_REACH_M)
    rows, lines = rows[near], lines[near]
    ends = np.concatenate([pipes.from_node[rows], pipes.to_node[rows]])
    places: Any = np.concatenate([shapely.get_point(lines, 0), shapely.get_point(lines, -1)])
    return nearest_junction(at, ends, shapely.get_coordinates(places))
