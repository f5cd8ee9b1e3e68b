"""Layers as they come from a source, untouched: Arrow columns beside an array of geometries.

Where every feature is a point, or every one a line, the geometries are coordinate arrays (`FlatShapes`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from netplan.core.findings import Finding

__all__ = [
    "FlatShapes",
    "OddShapes",
    "RawLayer",
    "RawLayers",
    "Shapes",
    "as_objects",
    "as_raw",
    "bounds_of",
    "take_shapes",
    "without_single_collections",
]

POINT, LINE = 0, 1


@dataclass(frozen=True, slots=True, eq=False)
class FlatShapes:
    """Points or lines, none missing, none empty.

    Parameters
    ----------
    kind : int
        0 for points, 1 for lines, as in shapely's type ids.
    coords : float array, shape (k, 2) or (k, 3)
        Vertices one after another, in the CRS of the source.
    start : int64 array, shape (n + 1,)
        Feature i has the vertices ``coords[start[i]:start[i + 1]]``.
    """

    kind: int
    coords: NDArray[np.float64]
    start: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.start) - 1

    def take(self, rows: NDArray[Any]) -> FlatShapes:
        """Return the features at some rows, in that order."""
        count = np.diff(self.start)[rows]
        start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        vertex = np.arange(start[-1]) - np.repeat(start[:-1] - self.start[:-1][rows], count)
        return FlatShapes(self.kind, self.coords[vertex], start)

    def objects(self) -> NDArray[np.object_]:
        """Return the features as shapely geometries."""
        if self.kind == POINT:
            return np.asarray(shapely.points(self.coords), dtype=object)
        line = shapely.GeometryType.LINESTRING
        return np.asarray(shapely.from_ragged_array(line, self.coords, (self.start,)), dtype=object)


Shapes = NDArray[np.object_] | FlatShapes


def as_objects(shapes: Shapes) -> NDArray[np.object_]:
    """Return shapely geometries, whatever the form."""
    return shapes.objects() if isinstance(shapes, FlatShapes) else shapes


def take_shapes(shapes: Shapes, rows: NDArray[Any]) -> Shapes:
    """Return the shapes at some rows, in the form they have."""
    return shapes.take(rows) if isinstance(shapes, FlatShapes) else shapes[rows]


def bounds_of(shapes: Shapes) -> NDArray[np.float64]:
    """Return west, south, east and north of all shapes together; NaN where there are none."""
    if not isinstance(shapes, FlatShapes):
        return np.asarray(shapely.total_bounds(shapes)) if len(shapes) else np.full(4, np.nan)
    if not len(shapes.coords):
        return np.full(4, np.nan)
    xy = shapes.coords[:, :2]
    return np.concatenate([xy.min(axis=0), xy.max(axis=0)])


def without_single_collections(shapes: Shapes) -> Shapes:
    """Return shapes with the one part of a multi-part line or polygon in place of it where it has but one."""
    if isinstance(shapes, FlatShapes):
        return shapes
    kind = shapely.get_type_id(shapes)
    multi = np.isin(kind, (shapely.GeometryType.MULTILINESTRING, shapely.GeometryType.MULTIPOLYGON))
    single = multi & (shapely.get_num_geometries(shapes) == 1)
    result = shapes.copy()
    result[single] = shapely.get_geometry(shapes[single], 0)
    return result


@dataclass(frozen=True, slots=True, eq=False)
class OddShapes:
    """What reading the geometries of a layer noticed.

    Parameters
    ----------
    straightened : bool array, shape (n,)
        Features whose arcs became straight lines.
    unread : object array of str, shape (n,)
        What a feature is that is of a kind that is not read, as in ``a TIN``; empty for all others.
    """

    straightened: NDArray[np.bool_]
    unread: NDArray[np.object_]

    def take(self, rows: NDArray[Any]) -> OddShapes:
        """Return the same for some rows: indices, or a mask."""
        return OddShapes(self.straightened[rows], self.unread[rows])


@dataclass(frozen=True, slots=True, eq=False)
class RawLayer:
    """One layer of a source.

    Parameters
    ----------
    name : str
        Layer name of the contract.
    columns : pyarrow.Table
        Attributes as they stand in the source.
    geometry : object array or FlatShapes
        Shapely geometries, None where the source has none or one that cannot be read; or plain coordinates.
    crs : pyproj.CRS or None
        Coordinate reference system, where the source names one.
    odd : OddShapes, optional
        What reading the geometries noticed.
    """

    name: str
    columns: Any
    geometry: Shapes
    crs: CRS | None
    odd: OddShapes | None = None

    def __len__(self) -> int:
        return len(self.geometry)

    def take(self, rows: NDArray[np.integer[Any]]) -> RawLayer:
        """Return the features at some rows, in that order."""
        odd = None if self.odd is None else self.odd.take(rows)
        shapes = take_shapes(self.geometry, rows)
        return RawLayer(self.name, self.columns.take(pa.array(rows)), shapes, self.crs, odd)


@dataclass(frozen=True, slots=True, eq=False)
class RawLayers:
    """All layers of a source by their names, what they were read from, and what was noticed meanwhile."""

    source: str
    layers: Mapping[str, RawLayer] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __getitem__(self, name: str) -> RawLayer:
        return self.layers[name]

    def __contains__(self, name: str) -> bool:
        return name in self.layers


def as_raw(name: str, layer: Any) -> RawLayer:
    """Return a GeoDataFrame (or a raw layer, unchanged) as a raw layer."""
    if isinstance(layer, RawLayer):
        return layer
    frame = pd.DataFrame(layer.drop(columns=layer.geometry.name))
    arrays = {str(column): _arrow(frame.iloc[:, place]) for place, column in enumerate(frame.columns)}
    geometry = np.asarray(layer.geometry.to_numpy(), dtype=object)
    return RawLayer(name, pa.table(arrays), geometry, layer.crs)


def _arrow(series: Any) -> Any:
    try:
        return pa.Array.from_pandas(series)
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        # A column of mixed Python types: its texts are what a file would hold.
        missing = [value is None or (np.isscalar(value) and value != value) for value in series]
        words = [None if gone else str(value) for gone, value in zip(missing, series, strict=True)]
        return pa.array(words, type=pa.string())
