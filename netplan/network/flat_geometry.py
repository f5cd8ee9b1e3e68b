"""Lines and points of layers as flat coordinate arrays in the working CRS, and arithmetic along lines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import NormalisedTable
from netplan.network.raw_layers import LINE, POINT, FlatShapes, as_objects
from netplan.network.text_column import TextColumn

__all__ = ["Lines", "interpolated_at", "lengths_of", "measures", "read_lines", "read_points", "shapes_of"]

_MULTILINE = 5
_FARTHEST_M = 1e8
_Project = Callable[[NDArray[np.float64]], NDArray[np.float64]]
_MULTIPOINT = 4


@dataclass(slots=True, eq=False)
class Lines:
    """Line features of one layer in the working CRS, sorted by id.

    Parameters
    ----------
    table : NormalisedTable
        Attributes, one row a line; split parts repeat those of their feature.
    feature_id : TextColumn
        Id of the feature a line comes from; differs from its own id for split parts.
    coords_m : float array, shape (k, 2)
        Vertices one after another [m].
    height_m : float array, shape (k,)
        Height at each vertex [m]; NaN where not recorded.
    start : int64 array, shape (n + 1,)
        Line i has the vertices ``coords_m[start[i]:start[i + 1]]``.
    length_m : float array, shape (n,)
        Planar length [m].
    """

    table: NormalisedTable
    feature_id: TextColumn
    coords_m: NDArray[np.float64]
    height_m: NDArray[np.float64]
    start: NDArray[np.int64]
    length_m: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.start) - 1

    def keep(self, good: NDArray[np.bool_]) -> Lines:
        """Return the lines that are marked."""
        if good.all():
            return self
        count = np.diff(self.start)
        vertex, rows = np.repeat(good, count), np.flatnonzero(good)
        return Lines(
            self.table.take(rows),
            self.feature_id.take(rows),
            self.coords_m[vertex],
            self.height_m[vertex],
            np.concatenate([[0], np.cumsum(count[good])]).astype(np.int64),
            self.length_m[good],
        )


def read_lines(table: NormalisedTable, project: _Project, notes: FindingLog) -> Lines:
    """Return the lines of a table in the working CRS.

    Parameters
    ----------
    table : NormalisedTable
        A layer sorted by id.
    project : callable
        Source coordinates (n, 2) to working coordinates [m].
    notes : FindingLog
        Told about geometries that are missing, of another kind, not finite or without length.
    """
    if isinstance(table.geometry, FlatShapes) and table.geometry.kind == LINE:
        feature_id, flat, start = table.text["id"], table.geometry.coords, table.geometry.start
    else:
        table, feature_id, flat, start = _from_objects(table, notes)
    coords = project(flat[:, :2])
    height = np.round(flat[:, 2], 3) if flat.shape[1] > 2 else np.full(len(flat), np.nan)
    return _without_odd(Lines(table, feature_id, coords, height, start, lengths_of(coords, start)), notes)


def lengths_of(coords_m: NDArray[np.float64], start: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return planar lengths [m] of lines given as flat coordinates."""
    if len(start) < 2:
        return np.zeros(0)
    step = np.zeros(len(coords_m))
    step[:-1] = np.hypot(*(coords_m[1:] - coords_m[:-1]).T)
    step[start[1:] - 1] = 0.0
    return np.asarray(np.add.reduceat(step, start[:-1]))


def shapes_of(coords_m: NDArray[np.float64], start: NDArray[np.int64]) -> NDArray[np.object_]:
    """Return shapely lines for flat coordinates."""
    if len(start) < 2:
        return np.zeros(0, dtype=object)
    shapes = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, coords_m, (start,))
    return np.asarray(shapes, dtype=object)


def _from_objects(
    table: NormalisedTable, notes: FindingLog
) -> tuple[NormalisedTable, TextColumn, NDArray[np.float64], NDArray[np.int64]]:
    """Return single lines as a table, the feature of each, flat coordinates and offsets."""
    table = _usable(table, notes)
    feature_id = table.text["id"]
    table = _single_parts(table, feature_id, notes)
    feature_id = table.text.pop("_feature", feature_id)
    shapes = as_objects(table.geometry)
    with_z = bool(shapely.has_z(shapes).any())
    flat, index = shapely.get_coordinates(shapes, include_z=with_z, return_index=True)
    start = np.zeros(len(shapes) + 1, dtype=np.int64)
    np.cumsum(np.bincount(index, minlength=len(shapes)), out=start[1:])
    return table, feature_id, flat, start


def _usable(table: NormalisedTable, notes: FindingLog) -> NormalisedTable:
    shapes = as_objects(table.geometry)
    table.geometry = shapes
    kind = shapely.get_type_id(shapes)
    empty = shapely.is_empty(shapes) | (kind < 0)
    wrong = ~empty & (kind != LINE) & (kind != _MULTILINE)
    ids = table.id
    notes.add_each(
        "no-geometry",
        table.name,
        ids,
        empty,
        Severity.ERROR,
        "has no geometry that can be read",
        "draw it as a line",
    )
    notes.add_each(
        "wrong-geometry", table.name, ids, wrong, Severity.ERROR, "is no line", "draw it as a line"
    )
    keep = ~(empty | wrong)
    return table if keep.all() else table.take(keep)


def _single_parts(table: NormalisedTable, feature_id: TextColumn, notes: FindingLog) -> NormalisedTable:
    shapes = as_objects(table.geometry).copy()
    many = np.flatnonzero(shapely.get_type_id(shapes) == _MULTILINE)
    if not len(many):
        return table
    single = many[shapely.get_num_geometries(shapes[many]) == 1]
    shapes[single] = shapely.get_geometry(shapes[single], 0)
    several = np.setdiff1d(many, single, assume_unique=True)
    merged = shapely.line_merge(shapes[several])
    chained = shapely.get_type_id(merged) == LINE
    shapes[several[chained]] = _as_drawn(merged[chained], shapes[several[chained]])
    table.geometry = shapes
    split = several[~chained]
    if not len(split):
        return table
    notes.add_each(
        "split-line",
        table.name,
        table.id,
        split,
        Severity.NOTE,
        "its parts do not join into one line; they get its id with /1, /2 and so on",
        "draw one feature for each pipe",
    )
    return _split(table, feature_id, split)


def _as_drawn(merged: NDArray[np.object_], parts: NDArray[np.object_]) -> NDArray[np.object_]:
    """Turn chained lines so that the first part runs forward, as chainage starts at the first vertex."""
    first = shapely.get_geometry(parts, 0)
    start = shapely.line_locate_point(merged, shapely.get_point(first, 0))
    second = shapely.line_locate_point(merged, shapely.get_point(first, 1))
    return np.where(start > second, shapely.reverse(merged), merged)


def _split(table: NormalisedTable, feature_id: TextColumn, split: NDArray[np.int64]) -> NormalisedTable:
    count = np.ones(len(table), dtype=np.int64)
    count[split] = shapely.get_num_geometries(as_objects(table.geometry)[split])
    row = np.repeat(np.arange(len(table)), count)
    part = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    longer = table.take(row)
    from_split = np.isin(row, split)
    shapes = as_objects(longer.geometry)
    shapes[from_split] = shapely.get_geometry(shapes[from_split], part[from_split])
    longer.geometry = shapes
    whole = feature_id.take(row)
    number = pc.cast(pa.array(part + 1), pa.string())
    named = pc.binary_join_element_wise(whole.arrow, number, "/")
    longer.text["id"] = TextColumn(pc.if_else(pa.array(from_split), named, whole.arrow))
    longer.text["_feature"] = whole
    return longer.take(pc.sort_indices(longer.text["id"].arrow).to_numpy())


def _without_odd(lines: Lines, notes: FindingLog) -> Lines:
    ids, name, length = lines.table.id, lines.table.name, lines.length_m
    infinite = ~(length < _FARTHEST_M)
    if len(lines) and not (np.abs(lines.coords_m) < _FARTHEST_M).all():
        outside = ~(np.abs(lines.coords_m) < _FARTHEST_M).all(axis=1)
        infinite |= np.logical_or.reduceat(outside, lines.start[:-1])
    notes.add_each(
        "odd-coordinates",
        name,
        ids,
        infinite,
        Severity.ERROR,
        "has coordinates that are not finite or that lie outside the CRS",
        "correct the geometry",
    )
    place = lines.coords_m[lines.start[:-1]] if len(lines) else np.zeros((0, 2))
    short = ~infinite & (length < 1e-3)
    notes.add_each(
        "zero-length",
        name,
        ids,
        short,
        Severity.WARNING,
        "has no length; it is left out",
        "delete it or draw it",
        place,
    )
    return lines.keep(~(infinite | short))


def read_points(
    table: NormalisedTable,
    project: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    notes: FindingLog,
) -> NDArray[np.float64]:
    """Return the places (n, 2) of a point layer in the working CRS [m], NaN where there is none."""
    if isinstance(table.geometry, FlatShapes) and table.geometry.kind == POINT:
        good = np.ones(len(table), dtype=bool)
        flat = table.geometry.coords[:, :2]
    else:
        good, flat = _points_from_objects(as_objects(table.geometry))
    xy = np.full((len(table), 2), np.nan)
    xy[good] = project(flat) if len(flat) else flat
    xy[~np.isfinite(xy).all(axis=1)] = np.nan
    notes.add_each(
        "no-place",
        table.name,
        table.id,
        np.isnan(xy[:, 0]),
        Severity.WARNING,
        "has no point that can be read",
        "draw it as one point",
    )
    return xy


def _points_from_objects(
    given: NDArray[np.object_],
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return which geometries are one point, and the coordinates of those."""
    shapes = given.copy()
    kind = shapely.get_type_id(shapes)
    lone = (kind == _MULTIPOINT) & (shapely.get_num_geometries(shapes) == 1)
    shapes[lone] = shapely.get_geometry(shapes[lone], 0)
    good = (shapely.get_type_id(shapes) == POINT) & ~shapely.is_empty(shapes)
    return good, np.column_stack([shapely.get_x(shapes[good]), shapely.get_y(shapes[good])])


def measures(coords_m: Floats, start: Ints) -> Floats:
    """Return the running planar length [m] at each vertex, counted through all lines one after another."""
    step = np.zeros(len(coords_m))
    if len(coords_m) > 1:
        step[1:] = np.hypot(*np.diff(coords_m, axis=0).T)
        step[start[1:-1]] = 0.0
    return np.cumsum(step)


def interpolated_at(values: Floats, start: Ints, running_m: Floats, line: Ints, measure_m: Floats) -> Floats:
    """Return vertex values interpolated at planar measures on lines.

    Parameters
    ----------
    values : float array, shape (k,) or (k, d)
        What to interpolate, one row a vertex.
    start : int64 array, shape (n + 1,)
        Offsets of the lines.
    running_m : float array, shape (k,)
        Result of `measures`.
    line, measure_m : arrays, shape (m,)
        Rows of lines, and measures on them [m]; measures beyond an end are taken at the end.

    Returns
    -------
    float array, shape (m,) or (m, d)
    """
    first, last = start[line], start[line + 1] - 1
    goal = np.clip(running_m[first] + measure_m, running_m[first], running_m[last])
    left = np.clip(np.searchsorted(running_m, goal, side="right") - 1, first, np.maximum(last - 1, first))
    right = np.minimum(left + 1, last)
    span = running_m[right] - running_m[left]
    share = np.divide(goal - running_m[left], span, out=np.zeros_like(goal), where=span > 0)
    share = share if values.ndim == 1 else share[:, None]
    return np.asarray(values[left] * (1.0 - share) + values[right] * share)
