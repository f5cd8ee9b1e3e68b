"""Point layers in the working CRS."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.findings import Severity
from netplan.network.flat import POINT, FlatShapes, as_objects
from netplan.network.normalise import NormalisedTable
from netplan.network.notes import Notes

__all__ = ["read_points"]

_MULTIPOINT = 4


def read_points(
    table: NormalisedTable,
    project: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    notes: Notes,
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
