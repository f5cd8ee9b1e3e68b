"""Layers in GeoParquet files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas
import pyarrow as pa
import pyarrow.parquet as pq
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.errors import BadInputError
from netplan.network.contract import layer_specs
from netplan.network.raw import RawLayer, as_raw
from netplan.readers.wkb import shapes_of_wkb

__all__ = ["read_geoparquet"]


def read_geoparquet(path: Path, name: str) -> RawLayer:
    """Read one layer, only the columns that the contract knows.

    Raises
    ------
    BadInputError
        When the file is no GeoParquet, or is broken.
    """
    try:
        with pq.ParquetFile(path) as file:
            geo = _geo(file.schema_arrow.metadata, path)
            column = str(geo["primary_column"])
            described = dict(geo["columns"][column])
            if described.get("encoding") != "WKB":
                return as_raw(name, geopandas.read_parquet(path))
            held = file.schema_arrow.names
            wanted = [spec.name for spec in layer_specs()[name].columns if spec.name in held]
            table = file.read(columns=[*wanted, column])
    except (pa.ArrowException, KeyError, TypeError, ValueError) as error:
        reason = " ".join(str(error).split())[:160]
        raise BadInputError(
            f"{path} cannot be read as GeoParquet ({reason}); check that the file is whole"
        ) from error
    return RawLayer(name, table.select(wanted), shapes_of_wkb(table[column]), _crs(described, path))


def _geo(metadata: Any, path: Path) -> dict[str, Any]:
    if not metadata or b"geo" not in metadata:
        raise BadInputError(f"{path}: is Parquet without geometry; write it as GeoParquet")
    geo = json.loads(metadata[b"geo"])
    if not isinstance(geo, dict):
        raise BadInputError(f"{path}: its geometry metadata is broken; write it as GeoParquet again")
    return geo


def _crs(described: dict[str, Any], path: Path) -> CRS | None:
    if "crs" not in described:
        return CRS.from_user_input("OGC:CRS84")  # what the format means by leaving it out
    if described["crs"] is None:
        return None
    try:
        return CRS.from_json_dict(described["crs"])
    except (CRSError, AttributeError, TypeError) as error:
        raise BadInputError(
            f"{path}: its coordinate reference system is not known; store a standard one"
        ) from error
