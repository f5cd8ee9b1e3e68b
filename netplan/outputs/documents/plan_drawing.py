"""The plan map on paper: where it is stopped, what is isolated, who is off, how the bypass runs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely

from netplan.core.arrays import Ints
from netplan.outputs.documents.marks_with_leaders import MarksWithLeaders
from netplan.outputs.documents.svg_drawing import (
    DrawingSheet,
    customer_symbol,
    draw_lines,
    label_symbol,
    letter_symbol,
    stop_symbol,
)
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile import PieceState, SolvedState, StateCustomers, StatePipes
from netplan.planfile.model import Bypass, Option

__all__ = [
    "bowed_line",
    "draw_base_map",
    "draw_excavations",
    "draw_feed_ends",
    "draw_pipes",
    "name_excavations",
    "plan_drawing",
    "work_drawing",
]

Layers = Mapping[str, gpd.GeoDataFrame]
_ID_MM: Final = 3.5
_BOW_MM: Final = 2.5
_ENLARGED: Final = 1.6
"""How much larger the scale of the detail must be for it to be drawn (own) [-]."""


def plan_drawing(
    option: Option,
    layers: Layers,
    state: SolvedState,
    units: Figures = METRIC,
    width_mm: float = 178.0,
    height_mm: float = 150.0,
) -> str:
    """Return the plan map of an option as SVG: the work, and every customer that it affects."""
    sheet = DrawingSheet(_box(option, layers, state.customers), width_mm, height_mm)
    return _drawn(sheet, option, layers, state, units)


def work_drawing(
    option: Option,
    layers: Layers,
    state: SolvedState,
    units: Figures = METRIC,
    width_mm: float = 178.0,
    height_mm: float = 190.0,
) -> str | None:
    """Return the work alone as SVG: stops, excavations and feeds; None where the plan map is large enough."""
    sheet = DrawingSheet(_box(option, layers, None), width_mm, height_mm)
    whole = DrawingSheet(_box(option, layers, state.customers), width_mm, height_mm)
    return _drawn(sheet, option, layers, state, units) if sheet.scale >= _ENLARGED * whole.scale else None


def _drawn(sheet: DrawingSheet, option: Option, layers: Layers, state: SolvedState, units: Figures) -> str:
    draw_base_map(sheet, layers)
    draw_excavations(sheet, option)
    draw_pipes(sheet, state.pipes)
    draw_lines(sheet, "work", list(layers["work"].geometry))
    labels: list[tuple[Any, str]] = []
    for bypass in option.bypasses:
        line = route_line(bypass, _BOW_MM / sheet.scale)
        draw_lines(sheet, "bypass", [line])
        labels.append((line.interpolate(0.35, normalized=True).coords[0], bypass.id))
    _customers(sheet, state.customers)
    name_excavations(sheet, option)
    middle = np.array(layers["work"].geometry.union_all().centroid.coords[0])
    marks = MarksWithLeaders(sheet, middle)
    marks.keep_clear(middle)
    # Stops first: they take the nearest free places.
    for stop in option.stops:
        marks.keep_clear((stop.x, stop.y))
    for stop in option.stops:
        marks.put((stop.x, stop.y), 0.95, stop_symbol(stop.kind, stop.id))
    for place, words in labels:
        marks.put(place, 0.0, label_symbol(words))
    for name, ident in (("gauges", "gauge_id"), ("purge_points", "point_id")):
        rows = _of(layers, name, option.rank)
        for row, point in zip(rows[ident], rows.geometry, strict=True):
            marks.put(point.coords[0], -2.0, letter_symbol(row) if name == "gauges" else label_symbol(row))
    sheet.scale_bar(units)
    return sheet.svg()


def draw_excavations(sheet: DrawingSheet, option: Option) -> None:
    """Draw the outlines of excavations."""
    outlines = [shapely.Polygon(one.outline) for one in option.excavations]
    sheet.path(outlines, fill="#ececec", stroke="black", stroke_width=0.25, stroke_dasharray="1 0.6")


def name_excavations(sheet: DrawingSheet, option: Option) -> None:
    """Write the ids of excavations below them: after the pipes, which would hide them."""
    for one in option.excavations:
        shown = shapely.intersection(shapely.Polygon(one.outline), sheet.window)
        if not shown.is_empty:
            sheet.text((shown.centroid.x, shown.bounds[1]), one.id, 2.4, dy=_id_drop(shown, sheet))


def _id_drop(outline: Any, sheet: DrawingSheet) -> str:
    """Return how far below an outline its id stands [mm]: above its lower edge where that is the sheet's."""
    room = (outline.bounds[1] - sheet.window.bounds[1]) * sheet.scale
    return "2.6" if room > _ID_MM else "-1"


def draw_feed_ends(sheet: DrawingSheet, option: Option) -> None:
    """Draw the tees of bypasses and hoses with the id of each."""
    for bypass in option.bypasses:
        for end in (bypass.from_, bypass.to):
            if sheet.window.contains(shapely.Point(end.x, end.y)):
                sheet.mark((end.x, end.y), '<circle r="0.9" fill="white" stroke="black" stroke-width="0.5"/>')
                sheet.text((end.x, end.y), bypass.id, 2.6, dx="3.2", dy="2.6", font_weight="bold")


def _of(layers: Layers, name: str, option: int) -> gpd.GeoDataFrame:
    rows = layers[name]
    return rows[rows["option"] == option]


def _box(
    option: Option, layers: Layers, customers: StateCustomers | None
) -> tuple[float, float, float, float]:
    places = [np.array(layers["work"].total_bounds).reshape(2, 2)]
    places += [np.array([(s.x, s.y) for s in option.stops]).reshape(-1, 2)]
    places += [np.array(bypass.course) for bypass in option.bypasses]
    if customers is not None:
        affected = _affected(customers)
        places.append(np.stack([customers.x_m[affected], customers.y_m[affected]], axis=1))
    places += [np.array(one.outline) for one in option.excavations]
    points = np.vstack(places)
    room = max(15.0 if customers is not None else 5.0, 0.08 * float(np.ptp(points, axis=0).max()))
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def draw_base_map(sheet: DrawingSheet, layers: Layers) -> None:
    """Draw the base map: water, streets, buildings, railway, and the names of streets."""
    metre = sheet.scale
    if "water" in layers:
        sheet.path(layers["water"].geometry, fill="#dfe9ef", stroke="#9fb4c0", stroke_width=0.2)
    if "streets" in layers:
        shapes = layers["streets"].geometry
        areas = shapes[shapes.geom_type.str.contains("Polygon")]
        lines = shapes[~shapes.geom_type.str.contains("Polygon")]
        sheet.path(areas, fill="#f3f3f3", stroke="#c9c9c9", stroke_width=0.2)
        width = max(8.0 * metre, 0.8)
        sheet.path(lines, stroke="#c9c9c9", stroke_width=f"{width + 0.4:.2f}", stroke_linecap="round")
        sheet.path(lines, stroke="#f6f6f6", stroke_width=f"{width:.2f}", stroke_linecap="round")
    if "buildings" in layers:
        sheet.path(layers["buildings"].geometry, fill="#e6e6e6", stroke="#a8a8a8", stroke_width=0.15)
    if "rail" in layers:
        sheet.path(layers["rail"].geometry, stroke="#777", stroke_width=0.9)
        sheet.path(layers["rail"].geometry, stroke="white", stroke_width=0.5, stroke_dasharray="2 2")
    if "streets" in layers and "name" in layers["streets"]:
        _street_names(sheet, layers["streets"])


def _street_names(sheet: DrawingSheet, streets: gpd.GeoDataFrame) -> None:
    named = streets[streets["name"].fillna("").astype(str).str.strip() != ""]
    for name, rows in named.groupby("name", sort=True):
        shown = shapely.get_parts(shapely.intersection(rows.geometry.array, sheet.window))
        lines = [part for part in shown if part.geom_type == "LineString" and part.length * sheet.scale > 18]
        if not lines:
            continue
        line = max(lines, key=lambda part: (part.length, part.wkt))
        before, middle, after = (line.interpolate(s, normalized=True) for s in (0.45, 0.5, 0.55))
        turn = np.degrees(np.arctan2(-(after.y - before.y), after.x - before.x))
        turn = (turn + 90) % 180 - 90
        sheet.text(middle.coords[0], str(name), 2.7, turn=f"{turn:.1f}", fill="#555", dy="0.9")


_DRAWN_OVER: Final = (
    PieceState.OTHER_SYSTEM,
    PieceState.FED,
    PieceState.STRANDED,
    PieceState.ISOLATED,
    PieceState.CLOSED,
)
"""States that are drawn over the live pipes, the last on top."""


def draw_pipes(sheet: DrawingSheet, pipes: StatePipes) -> None:
    """Draw the pipes of an option by state."""
    for thin in (True, False):
        kind = (pipes.is_main != thin) & (pipes.length_m > 0)
        live = np.flatnonzero(kind & (pipes.state == PieceState.LIVE))
        draw_lines(sheet, "service" if thin else "live", list(pipes.lines(live)))
        for state in _DRAWN_OVER:
            rows = np.flatnonzero(kind & (pipes.state == state))
            draw_lines(sheet, state.word, list(pipes.lines(rows)), thin=thin)


def _affected(customers: StateCustomers) -> Ints:
    return np.flatnonzero(np.array(customers.effect.numpy() != "", dtype=bool))


def _customers(sheet: DrawingSheet, customers: StateCustomers) -> None:
    numbered = sheet.scale > 0.8
    for row in _affected(customers).tolist():
        place, priority = (
            (float(customers.x_m[row]), float(customers.y_m[row])),
            bool(customers.priority[row]),
        )
        sheet.mark(place, customer_symbol(customers.effect[row], priority=priority))
        if numbered and customers.number[row]:
            dx = str(4.2 if priority else 2.8)
            sheet.text(place, customers.number[row], 2.4, dx=dx, dy="0.8")


def route_line(bypass: Bypass, most_m: float) -> shapely.LineString:
    """Return the route of a bypass as it is drawn: a straight one bowed a little, not to lie on the main."""
    start, *bends, end = bypass.course
    if bends:
        return shapely.LineString([start, *bends, end])
    away_m = max(float(np.hypot(end[0] - start[0], end[1] - start[1])), 1e-9)
    return bowed_line(start, end, min(0.16, most_m / away_m))


def bowed_line(
    start: tuple[float, float], end: tuple[float, float], lift: float = 0.16
) -> shapely.LineString:
    """Return a line between two places that stands off the straight one, as bypasses are drawn."""
    a, b = np.array(start), np.array(end)
    along, share = b - a, np.linspace(0.0, 1.0, 25)
    across = np.array([-along[1], along[0]])
    return shapely.LineString(a + np.outer(share, along) + np.outer(lift * np.sin(np.pi * share), across))
