"""Layers in GeoParquet files."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import geopandas
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.core.errors import BadInputError
from netplan.network.raw_layers import RawLayer, as_objects, as_raw
from netplan.readers.sources.file_limits import LIMITS, FileLimits, guard_rows
from netplan.readers.sources.layer_source import Area, Field, area_bounds
from netplan.readers.sources.wkb_geometry import shapes_of_wkb

__all__ = ["fields_of_geoparquet", "read_geoparquet", "rows_of_parquet"]


def fields_of_geoparquet(path: Path) -> tuple[Field, ...]:
    """Return the columns of a file without its geometries."""
    with _readable(path), pq.ParquetFile(path) as file:
        schema = file.schema_arrow
        shapes = dict(_geo(schema.metadata, path)["columns"])
        return tuple(Field(item.name, _kind(item.type)) for item in schema if item.name not in shapes)


def rows_of_parquet(path: Path) -> int:
    """Return how many rows a file has."""
    with _readable(path), pq.ParquetFile(path) as file:
        return int(file.metadata.num_rows)


def read_geoparquet(
    path: Path, layer: str, columns: Sequence[str], within: Area | None = None, limits: FileLimits = LIMITS
) -> RawLayer:
    """Read some columns of a file and its main geometry.

    Raises
    ------
    BadInputError
        When the file is no GeoParquet, or is broken.
    """
    with _readable(path), pq.ParquetFile(path) as file:
        guard_rows(str(path), file.metadata.num_rows, limits)
        geo = _geo(file.schema_arrow.metadata, path)
        shape = str(geo["primary_column"])
        described = dict(geo["columns"][shape])
        if described.get("encoding") != "WKB":
            raw = as_raw(layer, geopandas.read_parquet(path, columns=[*columns, shape]))
        else:
            table = file.read(columns=[*columns, shape])
            crs = _crs(described, path)
            shapes, odd = shapes_of_wkb(table[shape], crs)
            raw = RawLayer(layer, table.select(list(columns)), shapes, crs, odd)
    return raw if within is None or raw.crs is None else _inside(raw, within, raw.crs)


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    try:
        yield
    except (pa.ArrowException, OSError, KeyError, TypeError, ValueError) as error:
        reason = " ".join(str(error).split())[:160]
        raise BadInputError(
            f"{path} cannot be read as GeoParquet ({reason}); check that the file is whole"
        ) from error


def _inside(raw: RawLayer, within: Area, crs: CRS) -> RawLayer:
    west, south, east, north = area_bounds(within, crs, f"layer {raw.name}")
    low_x, low_y, high_x, high_y = shapely.bounds(as_objects(raw.geometry)).T
    rows = ((low_x <= east) & (high_x >= west) & (low_y <= north) & (high_y >= south)).nonzero()[0]
    return raw.take(rows)


def _kind(kind: Any) -> Literal["text", "number", "flag", "date", "other"]:
    inner = kind.value_type if pa.types.is_dictionary(kind) else kind
    if pa.types.is_string(inner) or pa.types.is_large_string(inner):
        return "text"
    if pa.types.is_integer(inner) or pa.types.is_floating(inner) or pa.types.is_decimal(inner):
        return "number"
    if pa.types.is_boolean(inner):
        return "flag"
    return "date" if pa.types.is_temporal(inner) else "other"


def _geo(metadata: Any, path: Path) -> dict[str, Any]:
    if not metadata or b"geo" not in metadata:
        raise BadInputError(f"{path}: is Parquet without geometry; write it as GeoParquet")
    geo = json.loads(metadata[b"geo"])
    if not isinstance(geo, dict):
        raise BadInputError(f"{path}: its geometry metadata is broken; write it as GeoParquet again")
    return geo


@lru_cache(maxsize=16)
def _crs_of(text: str) -> CRS:
    # Made anew for every file it would take longer than the file.
    return CRS.from_json_dict(json.loads(text))


def _crs(described: dict[str, Any], path: Path) -> CRS | None:
    if "crs" not in described:
        return CRS.from_user_input("OGC:CRS84")  # what the format means by leaving it out
    if described["crs"] is None:
        return None
    try:
        return _crs_of(json.dumps(described["crs"], sort_keys=True))
    except (CRSError, AttributeError, TypeError) as error:
        raise BadInputError(
            f"{path}: its coordinate reference system is not known; store a standard one"
        ) from error
