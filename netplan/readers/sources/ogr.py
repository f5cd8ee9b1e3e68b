"""Layers that GDAL reads: GeoPackage, FileGDB, GeoJSON and Shapefile, through Arrow."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import pyarrow as pa
import pyogrio
from pyproj import CRS
from pyproj.exceptions import CRSError

from netplan.core.errors import BadInputError
from netplan.network.raw_layers import RawLayer
from netplan.readers.sources.layer_source import Area, Field, area_bounds
from netplan.readers.sources.wkb_geometry import kind_name, shapes_of_wkb

__all__ = ["OgrLayer", "UnreadLayerError", "layer_names", "look_at_ogr", "read_ogr"]

_GDB_LAYER: Final = "{70737809-852C-4A03-9E22-2CECEA5B9BFA}"
"""Type of a layer with geometries in a file geodatabase's table of items (from memory)."""

_KINDS: Final[dict[str, Literal["text", "number", "flag", "date"]]] = {
    "OFTString": "text",
    "OFTInteger": "number",
    "OFTInteger64": "number",
    "OFTReal": "number",
    "OFTDate": "date",
    "OFTTime": "date",
    "OFTDateTime": "date",
}


class UnreadLayerError(BadInputError):
    """A layer is of a geometry type that is not read; the layers beside it are."""


def layer_names(path: Path) -> tuple[str, ...]:
    """Return the names of the layers in a GeoPackage or file geodatabase, sorted."""
    with _readable(path):
        try:
            return tuple(sorted(str(name) for name, _ in pyogrio.list_layers(path)))
        except pyogrio.errors.GeometryError:  # one layer of a type that is not read hides all of them
            return _names_in_catalogue(path)


def _names_in_catalogue(path: Path) -> tuple[str, ...]:
    """Return the names of the layers from the file's own table of layers, whatever their types."""
    if path.is_dir():
        items = pyogrio.read_dataframe(path, layer="GDB_Items", columns=["Name", "Type"], read_geometry=False)
        return tuple(sorted(items.loc[items["Type"] == _GDB_LAYER, "Name"].astype(str)))
    table = pyogrio.read_dataframe(
        path, sql="SELECT table_name FROM gpkg_contents WHERE data_type = 'features'", read_geometry=False
    )
    return tuple(sorted(table["table_name"].astype(str)))


@dataclass(frozen=True, slots=True)
class OgrLayer:
    """A layer of a file, looked at but not read.

    Parameters
    ----------
    path : Path
        File.
    layer : str or None
        Layer inside the file; None for the only one.
    name : str
        What the layer is called.
    fields : tuple of Field
        Columns; a key column with a name of its own comes first.
    key : str
        Name of that key column; empty for none.
    crs : pyproj.CRS or None
        Coordinate reference system, where the file names one.
    rows : int
        How many features; 0 where the file does not say.
    """

    path: Path
    layer: str | None
    name: str
    fields: tuple[Field, ...]
    key: str
    crs: CRS | None
    rows: int = 0


def look_at_ogr(path: Path, name: str, layer: str | None = None) -> OgrLayer:
    """Return what a layer of a file holds; `layer` names it where there are several."""
    with _readable(path, layer):
        try:
            info = pyogrio.read_info(path, layer=layer)
        except pyogrio.errors.GeometryError as error:
            kind = kind_name(int(str(error).rpartition(":")[2])) if str(error)[-1:].isdigit() else None
            raise UnreadLayerError(
                f"{path}: layer {name} is {kind or 'of an unknown geometry type'}, which is not read; "
                "export it with points, lines or polygons"
            ) from error
    cut = path.suffix.lower() == ".shp"
    names = [str(field) for field in info["fields"]]
    fields = [
        Field(field, "flag" if inner == "OFSTBoolean" else _KINDS.get(str(kind), "other"), cut)
        for field, kind, inner in zip(names, info["ogr_types"], info["ogr_subtypes"], strict=True)
    ]
    key, crs, rows = str(info.get("fid_column") or ""), _crs(info, path, name), int(info["features"])
    if key and key not in names:
        return OgrLayer(path, layer, name, (Field(key, "number"), *fields), key, crs, rows)
    return OgrLayer(path, layer, name, tuple(fields), "", crs, rows)


def read_ogr(held: OgrLayer, columns: Sequence[str], within: Area | None = None) -> RawLayer:
    """Read some columns of a layer and its geometry.

    Parameters
    ----------
    held : OgrLayer
        The layer.
    columns : sequence of str
        Columns, as its fields name them.
    within : Area, optional
        Features whose bounding box touches the bounds of this area.

    Raises
    ------
    BadInputError
        When GDAL cannot read it.
    """
    where = f"{held.path}: layer {held.name}"
    bounds = None if within is None or held.crs is None else area_bounds(within, held.crs, where)
    with _readable(held.path, held.layer):
        meta, table = pyogrio.read_arrow(
            held.path,
            layer=held.layer,
            columns=[column for column in columns if column != held.key],
            return_fids=bool(held.key) and held.key in columns,
            bbox=bounds,
        )
    shape = _geometry_column(meta, table)
    if shape is None:
        raise BadInputError(f"{where} has no geometry; store one with each feature")
    shapes, odd = shapes_of_wkb(table[shape], held.crs)
    return RawLayer(held.name, table.select(list(columns)), shapes, held.crs, odd)


def _geometry_column(meta: Any, table: Any) -> str | None:
    for candidate in (meta.get("geometry_name"), "wkb_geometry", "geometry"):
        if candidate and candidate in table.column_names:
            return str(candidate)
    return None


def _crs(info: dict[str, Any], path: Path, name: str) -> CRS | None:
    text = info.get("crs")
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
        UnboundLocalError,  # what pyogrio raises over a reference system that is not text
        ValueError,
    ) as error:
        reason = " ".join(str(error).split())[:160] or type(error).__name__
        where = f"{path}: layer {layer}" if layer else str(path)
        raise BadInputError(f"{where} cannot be read ({reason}); check that the file is whole") from error
