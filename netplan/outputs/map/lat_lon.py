"""Geometries as short lists of latitudes and longitudes for the page."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["LON_LAT", "Flat", "lines_of", "points_of", "rings_of"]

LON_LAT: Final = "EPSG:4326"
Flat = list[float]
"""Latitude and longitude of one vertex after another [°]."""

_DIGITS = 7
_BASE_DIGITS = 6


def points_of(layer: gpd.GeoDataFrame | gpd.GeoSeries) -> list[Flat | None]:
    """Return [lat, lon] of each row, None for a row without a place."""
    places = layer.to_crs(LON_LAT).geometry
    x, y = shapely.get_x(places.array), shapely.get_y(places.array)
    return [
        None if not np.isfinite(lat) else [round(float(lat), _DIGITS), round(float(lon), _DIGITS)]
        for lon, lat in zip(x, y, strict=True)
    ]


def lines_of(layer: gpd.GeoDataFrame | gpd.GeoSeries, digits: int = _DIGITS) -> list[Flat]:
    """Return the vertices of each line; a row without one gives an empty list."""
    geometries = np.asarray(layer.to_crs(LON_LAT).geometry.array, dtype=object)
    return _split(geometries, digits)


def rings_of(layer: gpd.GeoDataFrame) -> tuple[list[Flat], list[Flat]]:
    """Return a base layer of any geometry as (outer rings of its areas, its lines)."""
    geometries = np.asarray(layer.to_crs(LON_LAT).geometry.array, dtype=object)
    parts = shapely.get_parts(shapely.get_parts(geometries))
    kinds = shapely.get_type_id(parts)
    areas = shapely.get_exterior_ring(parts[kinds == shapely.GeometryType.POLYGON])
    lines = parts[(kinds == shapely.GeometryType.LINESTRING) | (kinds == shapely.GeometryType.LINEARRING)]
    return _split(areas, _BASE_DIGITS), _split(lines, _BASE_DIGITS)


def _split(geometries: NDArray[np.object_], digits: int) -> list[Flat]:
    coords = np.round(shapely.get_coordinates(geometries)[:, ::-1], digits)
    ends = np.cumsum(shapely.get_num_coordinates(geometries))
    return [part.ravel().tolist() for part in np.split(coords, ends[:-1])] if len(geometries) else []
