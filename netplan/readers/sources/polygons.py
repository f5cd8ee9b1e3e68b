"""Polygons that a planner draws: an area of work, places to keep out of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import shapely
from pyproj.exceptions import ProjError

from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_polygon_file

__all__ = ["read_polygons"]

MOST_BYTES = 50_000_000


def read_polygons(path: Path, crs: str) -> tuple[Any, ...]:
    """Read the polygons of a file in the working CRS.

    Parameters
    ----------
    path : Path
        Any vector file that GDAL reads, of one layer.
    crs : str
        Working CRS to bring them to.

    Raises
    ------
    BadInputError
        When it cannot be read, has no CRS, or holds no valid polygon.
    """
    check_polygon_file(path)
    if path.stat().st_size > MOST_BYTES:
        raise BadInputError(
            f"{path.name}: larger than {MOST_BYTES} bytes; give a file with the polygons alone"
        )
    try:
        frame = gpd.read_file(path)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError, ValueError):
        raise BadInputError(
            f"{path.name}: cannot be read as polygons; give a GeoJSON or GeoPackage"
        ) from None
    if "geometry" not in frame or frame.crs is None:
        raise BadInputError(f"{path.name}: has no geometry or no CRS; save it with its CRS")
    try:
        shapes = shapely.force_2d(frame.to_crs(crs).geometry.to_numpy())
    except ProjError:
        raise BadInputError(
            f"{path.name}: does not convert to the CRS of the network; check its CRS"
        ) from None
    parts = [part for part in shapely.get_parts(shapes) if part is not None and part.geom_type == "Polygon"]
    if not parts or not all(part.is_valid and not part.is_empty for part in parts):
        raise BadInputError(f"{path.name}: holds no polygon, or one that crosses itself; draw it again")
    return tuple(parts)
