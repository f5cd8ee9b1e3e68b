"""Geometries as plain coordinate arrays, where every feature is a point or every one a line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["FlatShapes", "Shapes", "as_objects", "bounds_of", "take_shapes", "without_single_collections"]

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
