"""Layers that GDAL reads: GeoPackage, GeoJSON and Shapefile, through Arrow."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, Literal

import pyarrow as pa
import pyogrio
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.errors import BadInputError
from netplan.network.raw import RawLayer
from netplan.readers.source import Field, Window, window_bounds
from netplan.readers.wkb import shapes_of_wkb

__all__ = ["fields_of_ogr", "layer_names", "read_ogr"]

_KINDS: Final[dict[str, Literal["text", "number", "flag", "date"]]] = {
    "OFTString": "text",
    "OFTInteger": "number",
    "OFTInteger64": "number",
    "OFTReal": "number",
    "OFTDate": "date",
    "OFTTime": "date",
    "OFTDateTime": "date",
}


def layer_names(path: Path) -> tuple[str, ...]:
    """Return the names of the layers in a file, sorted."""
    with _readable(path):
        return tuple(sorted(str(name) for name, _ in pyogrio.list_layers(path)))


def fields_of_ogr(path: Path, layer: str | None = None) -> tuple[Field, ...]:
    """Return the columns of a layer; a key column with a name of its own comes first."""
    with _readable(path, layer):
        info = pyogrio.read_info(path, layer=layer)
    cut = path.suffix.lower() == ".shp"
    key = [Field(str(info["fid_column"]), "number")] if info.get("fid_column") else []
    names, types, inner = info["fields"], info["ogr_types"], info["ogr_subtypes"]
    fields = [
        Field(str(name), "flag" if sub == "OFSTBoolean" else _KINDS.get(str(kind), "other"), cut)
        for name, kind, sub in zip(names, types, inner, strict=True)
    ]
    return (*(field for field in key if field.name not in {other.name for other in fields}), *fields)


def read_ogr(
    path: Path,
    name: str,
    columns: Sequence[str],
    *,
    layer: str | None = None,
    within: Window | None = None,
) -> RawLayer:
    """Read some columns of a layer and its geometry.

    Parameters
    ----------
    path : Path
        File.
    name : str
        What the layer is called.
    columns : sequence of str
        Columns, as `fields_of_ogr` names them.
    layer : str, optional
        Layer inside the file; the only one by default.
    within : Window, optional
        Features whose bounding box touches the bounds of this area.

    Raises
    ------
    BadInputError
        When GDAL cannot read it.
    """
    with _readable(path, layer):
        info = pyogrio.read_info(path, layer=layer)
        crs = _crs(info.get("crs"), path, name)
        bounds = (
            None if within is None or crs is None else window_bounds(within, crs, f"{path}: layer {name}")
        )
        stored = {str(field) for field in info["fields"]}
        key = info.get("fid_column") or None
        meta, table = pyogrio.read_arrow(
            path,
            layer=layer,
            columns=[column for column in columns if column in stored],
            return_fids=key is not None and key in columns and key not in stored,
            bbox=bounds,
        )
    shape = _geometry_column(meta, table)
    if shape is None:
        raise BadInputError(f"{path}: layer {name} has no geometry; store one with each feature")
    held = [column for column in columns if column in table.column_names]
    return RawLayer(name, table.select(held), shapes_of_wkb(table[shape]), crs)


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


@contextmanager
def _readable(path: Path, layer: str | None = None) -> Iterator[None]:
    try:
        # What GDAL warns about (odd rings, odd fields) is judged by the checks on what was read.
        with warnings.catch_warnings(action="ignore"):
            yield
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
        reason = " ".join(str(error).split())[:160] or type(error).__name__
        where = f"{path}: layer {layer}" if layer else str(path)
        raise BadInputError(f"{where} cannot be read ({reason}); check that the file is whole") from error
