"""The network on the map: the district of the work in detail, the rest lightly."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.outputs.map.lat_lon import LON_LAT, Flat, lines_of, rings_of
from netplan.outputs.map.popups import pipe_popup
from netplan.outputs.number_format import Figures
from netplan.planfile import PieceState, SolvedState, StatePipes

__all__ = ["Box", "base_of", "district_of", "network_of", "pieces_of", "rows_shown"]

Box = tuple[float, float, float, float]
"""Least and greatest x and y [m]: x low, y low, x high, y high."""

DISTRICT_M = 250.0
_MAIN_CLASSES_MM = (80.0, 150.0)
# Between labels of one name [° of longitude, latitude]: about 300 m far off, 100 m near by.
_FAR_GAP = (0.004, 0.003)
_NEAR_GAP = (0.0013, 0.0009)
_BASE = ("water", "streets", "buildings", "rail")


def base_of(layers: Mapping[str, gpd.GeoDataFrame]) -> dict[str, Any]:
    """Return the base map: areas and lines of each layer, and where street names go."""
    base: dict[str, Any] = {}
    for name in _BASE:
        if name in layers and len(layers[name]):
            areas, lines = rings_of(layers[name])
            base[name] = {"areas": areas, "lines": lines}
    base["names"] = [*_street_names(layers.get("streets")), *_names(layers, "water"), *_names(layers, "rail")]
    return base


def _street_names(streets: gpd.GeoDataFrame | None) -> list[dict[str, Any]]:
    if streets is None or "name" not in streets or not len(streets):
        return []
    named = streets[streets["name"].fillna("").astype(str).str.strip() != ""]
    return _labels(named, "street")


def _names(layers: Mapping[str, gpd.GeoDataFrame], layer: str) -> list[dict[str, Any]]:
    table = layers.get(layer)
    if table is None or "name" not in table or not len(table):
        return []
    return _labels(table[table["name"].fillna("").astype(str).str.strip() != ""], layer)


def _labels(named: gpd.GeoDataFrame, kind: str) -> list[dict[str, Any]]:
    """Return labels: text, place, bearing on the map [°], and whether it waits until the reader is near."""
    labels: list[dict[str, Any]] = []
    for name, rows in named.to_crs(LON_LAT).groupby("name", sort=True):
        seen: list[tuple[float, float, bool]] = []
        parts = shapely.get_parts(rows.geometry.array)
        order = np.argsort(-shapely.length(parts), kind="stable")
        for middle, turn in _positions(parts[order]):
            if _close(middle, seen, _NEAR_GAP):
                continue
            later = _close(middle, [one for one in seen if not one[2]], _FAR_GAP)
            seen.append((middle.x, middle.y, later))
            place = [round(middle.y, 7), round(middle.x, 7)]
            labels.append({"text": str(name), "at": place, "kind": kind, "turn": turn, "later": later})
    return labels


def _positions(parts: NDArray[np.object_]) -> Iterator[tuple[shapely.Point, float]]:
    """Return where names may stand and their bearing: middles first, then along the long parts."""
    axes = [_axis(part) for part in parts]
    for axis in axes:
        yield shapely.line_interpolate_point(axis, 0.5, normalized=True), _bearing(axis, 0.5)
    for axis in axes:
        count = int(axis.length / _NEAR_GAP[1])
        for share in (np.arange(count) + 0.5) / max(count, 1):
            yield shapely.line_interpolate_point(axis, share, normalized=True), _bearing(axis, float(share))


def _close(at: shapely.Point, seen: list[tuple[float, float, bool]], gap: tuple[float, float]) -> bool:
    return any(abs(at.x - x) < gap[0] and abs(at.y - y) < gap[1] for x, y, _ in seen)


def _axis(part: Any) -> shapely.LineString:
    if part.geom_type == "LineString":
        return shapely.LineString(part)
    if part.geom_type == "Point":
        return shapely.LineString([part, part])
    # An area is named along the long side of the box around it.
    box = shapely.oriented_envelope(part)
    corners = shapely.get_coordinates(box)
    if len(corners) < 4:
        return shapely.LineString([part.centroid, part.centroid])
    sides = [(corners[k] + corners[k + 1]) / 2 for k in range(4)]
    pairs = sorted(
        ((sides[0], sides[2]), (sides[1], sides[3])), key=lambda ab: -float(np.hypot(*(ab[1] - ab[0])))
    )
    return shapely.LineString(pairs[0])


def _bearing(line: shapely.LineString, share: float) -> float:
    before, after = (
        shapely.line_interpolate_point(line, min(max(place, 0.0), 1.0), normalized=True)
        for place in (share - 0.05, share + 0.05)
    )
    dx = (after.x - before.x) * np.cos(np.radians(before.y))
    turn = float(np.degrees(np.arctan2(-(after.y - before.y), dx)))
    return round((turn + 90.0) % 180.0 - 90.0, 1)


def district_of(layers: Mapping[str, gpd.GeoDataFrame], states: Sequence[SolvedState]) -> Box:
    """Return the district of the work."""
    bounds = [layers[name].total_bounds for name in ("work", "stops") if len(layers[name])]
    bounds += [shapely.total_bounds(state.feeds.lines()) for state in states if len(state.feeds)]
    low, high = np.nanmin(bounds, axis=0)[:2] - DISTRICT_M, np.nanmax(bounds, axis=0)[2:] + DISTRICT_M
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def network_of(state: SolvedState, crs: Any, district: Box) -> dict[str, Any]:
    """Return the whole network lightly: mains in three widths, and services near the work."""
    pipes = state.pipes
    shown = (pipes.length_m > 0) & (pipes.state != PieceState.OTHER_SYSTEM)
    mains, services = np.flatnonzero(shown & pipes.is_main), np.flatnonzero(shown & ~pipes.is_main)
    size = np.searchsorted(_MAIN_CLASSES_MM, pipes.od_mm[mains])
    near = _inside(pipes, services, district)
    return {
        "mains": [_lines(pipes, mains[size == k], crs, 6) for k in range(len(_MAIN_CLASSES_MM) + 1)],
        "services": _lines(pipes, near, crs, 6),
    }


def _inside(pipes: StatePipes, rows: Ints, district: Box) -> Ints:
    return rows[shapely.intersects(pipes.lines(rows), shapely.box(*district))]


def _lines(pipes: StatePipes, rows: Ints, crs: Any, digits: int | None = None) -> list[Flat]:
    series = gpd.GeoSeries(pipes.lines(rows), crs=crs)
    return lines_of(series) if digits is None else lines_of(series, digits)


def rows_shown(pipes: StatePipes, code: PieceState, district: Box) -> Ints:
    """Return the rows of a state that are drawn: of the live ones only the mains of the district."""
    rows = np.flatnonzero(pipes.state == code)
    if code in (PieceState.LIVE, PieceState.OTHER_SYSTEM):
        rows = _inside(pipes, rows[pipes.is_main[rows] & (pipes.length_m[rows] > 0)], district)
    return rows


def pieces_of(state: SolvedState, crs: Any, district: Box, units: Figures) -> dict[str, list[dict[str, Any]]]:
    """Return the pieces of one option by state; of the live ones only the mains of the district."""
    pipes = state.pipes
    found: dict[str, list[dict[str, Any]]] = {}
    for code in PieceState:
        rows = rows_shown(pipes, code, district)
        found[code.word] = [
            {"line": line, "main": bool(pipes.is_main[row]), **pipe_popup(state, row, units)}
            for line, row in zip(_lines(pipes, rows, crs), rows.tolist(), strict=True)
        ]
    return found
