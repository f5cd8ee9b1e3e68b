"""Layers that GDAL reads: GeoPackage, GeoJSON and Shapefile, through Arrow."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyogrio
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.errors import BadInputError
from netplan.network.contract import LayerSpec, layer_specs
from netplan.network.raw import RawLayer
from netplan.readers.wkb import shapes_of_wkb

__all__ = ["layer_names", "read_ogr"]

_DBF_NAME: Final = 10
"""Longest column name that a Shapefile keeps."""


def layer_names(path: Path) -> set[str]:
    """Return the names of the layers in a file."""
    try:
        with _quietly():
            return {str(name) for name, _ in pyogrio.list_layers(path)}
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, RuntimeError) as error:
        raise _unreadable(path, error) from error


def read_ogr(path: Path, name: str, layer: str | None = None) -> RawLayer:
    """Read one layer, only the columns that the contract knows.

    Parameters
    ----------
    path : Path
        File.
    name : str
        Layer name of the contract.
    layer : str, optional
        Layer inside the file; the only one by default.

    Raises
    ------
    BadInputError
        When GDAL cannot read it.
    """
    spec = layer_specs()[name]
    try:
        with _quietly():
            info = pyogrio.read_info(path, layer=layer)
            names = _wanted(spec, [str(field) for field in info["fields"]], path.suffix.lower() == ".shp")
            meta, table = pyogrio.read_arrow(path, layer=layer, columns=list(names))
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FieldError,
        pyogrio.errors.GeometryError,
        pyogrio.errors.FeatureError,
        pa.ArrowException,
        UnicodeDecodeError,
        RuntimeError,
        ValueError,
    ) as error:
        raise _unreadable(path, error, layer) from error
    column = _geometry_column(meta, table)
    if column is None:
        raise BadInputError(f"{path}: layer {name} has no geometry; store one with each feature")
    columns = {names[field]: table[field] for field in names if field in table.column_names}
    return RawLayer(name, pa.table(columns), shapes_of_wkb(table[column]), _crs(meta.get("crs"), path, name))


def _wanted(spec: LayerSpec, fields: list[str], is_shapefile: bool) -> dict[str, str]:
    """Return the source fields that the contract knows, with the contract's names."""
    known = [column.name for column in spec.columns]
    if not is_shapefile:
        return {field: field for field in fields if field in known}
    # A Shapefile keeps ten characters of a name, in any case; no two columns of a layer begin alike.
    short = {name[:_DBF_NAME]: name for name in known}
    wanted = {field: short[field.lower()] for field in fields if field.lower() in short}
    return {field: name for field, name in wanted.items() if list(wanted.values()).count(name) == 1}


def _geometry_column(meta: Any, table: Any) -> str | None:
    for candidate in (meta.get("geometry_name"), "wkb_geometry", "geometry"):
        if candidate and candidate in table.column_names:
            return str(candidate)
    return None


def _crs(text: str | None, path: Path, name: str) -> CRS | None:
    if not text:
        return None
    try:
        return CRS.from_user_input(text)
    except CRSError as error:
        raise BadInputError(
            f"{path}: the coordinate reference system of layer {name} is not known; store a standard one"
        ) from error


def _quietly() -> warnings.catch_warnings[None]:
    # What GDAL warns about (odd rings, odd fields) is judged by the checks on what was read.
    return warnings.catch_warnings(action="ignore")


def _unreadable(path: Path, error: Exception, layer: str | None = None) -> BadInputError:
    reason = " ".join(str(error).split())[:160] or type(error).__name__
    where = f"{path}: layer {layer}" if layer else str(path)
    return BadInputError(f"{where} cannot be read ({reason}); check that the file is whole")
