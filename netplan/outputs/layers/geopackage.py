"""plan.gpkg: writing it to the same bytes each time, and reading it back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyproj.exceptions import ProjError

from netplan.core.errors import BadInputError, shown
from netplan.outputs.layers.stored_styles import write_styles
from netplan.planfile.state_read_write import CUSTOMERS, PIPES, STATIONS, ColumnKind, LayerColumn
from netplan.readers.sources.file_limits import guard_file

__all__ = ["FILE_ERRORS", "PINNED_TIME", "read_plan_layers", "write_layers"]

PINNED_TIME = "2000-01-01T00:00:00.000Z"
"""What plan.gpkg says as its time of change, so that equal plans are equal bytes."""

_FOR_SOLVING = frozenset(
    {
        *("roughness_mm", "loss_coefficient", "node", "sensing_node", "demand_m3h", "annual_kwh", "peak_kw"),
        *("part", "nodes", "pressure_before_mbar"),
    }
)
"""Columns of a solved state that drawing does without."""


def _drawn(columns: Iterable[LayerColumn]) -> str:
    always = (column for column in columns if column.kind is not ColumnKind.TEXT_OR_ABSENT)
    return " ".join((*(column.name for column in always if column.name not in _FOR_SOLVING), "geometry"))


_NEEDED = {
    "work": "main_id from_m to_m geometry",
    "stops": "option stop_id kind geometry",
    "tappings": "option stop_id role main_id chainage_m size_mm geometry",
    "bypasses": "option bypass_id geometry",
    "gauges": "option gauge_id main_id chainage_m normal_mbar warning_mbar abort_mbar geometry",
    "purge_points": "option point_id role main_id chainage_m stack_bore_mm note geometry",
    "fallback": "option stop_id failure method valve_id main_id chainage_m minutes standby geometry",
    "customers": _drawn(CUSTOMERS),
    "pipes": _drawn(PIPES),
    "stations": _drawn(STATIONS),
    "refused": "main_id from_m to_m method code reason geometry",
}
"""What drawing a plan needs of its layers."""

_NUMBERS = ("_m", "_mm", "_mbar", "_m3h", "_coefficient", "_node")
"""Ends of the names of columns that hold numbers."""

FILE_ERRORS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.FieldError,
    pyogrio.errors.GeometryError,
)
_BROKEN = (
    *FILE_ERRORS,
    shapely.errors.ShapelyError,
    ProjError,
    OSError,
    RuntimeError,
    ValueError,
    TypeError,
    UnboundLocalError,  # what pyogrio raises over a reference system that is not text
)
"""What reading a broken GeoPackage raises."""

# The file is new and is moved to its place when whole: waiting for the disk after every layer wins nothing,
# nor does a journal on disk.
_WHILE_WRITING = {
    "OGR_CURRENT_DATE": PINNED_TIME,
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "MEMORY",
}


@contextmanager
def _writing() -> Iterator[None]:
    before = {name: pyogrio.get_gdal_config_option(name) for name in _WHILE_WRITING}
    pyogrio.set_gdal_config_options(_WHILE_WRITING)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def write_layers(layers: Mapping[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write layers into a new GeoPackage; the same layers give the same bytes.

    Raises
    ------
    BadInputError
        When the file cannot be written.
    """
    try:
        with _writing():
            for name, layer in layers.items():
                _write(layer, path, name)
        write_styles(path, layers, PINNED_TIME)
    except (*FILE_ERRORS, sqlite3.Error, OSError) as error:
        reason = " ".join(str(error).split())[:160]
        raise BadInputError(f"{path}: cannot be written ({reason}); check space and rights") from None


def _write(layer: pd.DataFrame, path: Path, name: str) -> None:
    if isinstance(layer, gpd.GeoDataFrame):
        kind = layer.geom_type.dropna().unique()
        promote = len(kind) > 1 and any(str(k).startswith("Multi") for k in kind)
        pyogrio.write_dataframe(
            layer,
            path,
            layer=name,
            driver="GPKG",
            promote_to_multi=promote,
            geometry_type=_geometry(name, kind),
        )
    else:
        pyogrio.write_dataframe(layer, path, layer=name, driver="GPKG")


_LINES = frozenset({"work", "zones", "bypasses", "pipes", "refused"})


def _geometry(name: str, kinds: object) -> str | None:
    # A layer without rows would else become one without geometry.
    if len(list(kinds)):  # type: ignore[call-overload]
        return None
    return "LineString" if name in _LINES else "Polygon" if name == "excavations" else "Point"


def read_plan_layers(folder: Path) -> dict[str, gpd.GeoDataFrame]:
    """Read the layers of a plan folder, as `plan_layers` returned them.

    Raises
    ------
    BadInputError
        When there is no readable plan.gpkg in it.
    """
    path = folder / "plan.gpkg"
    if not path.is_file():
        raise BadInputError(f"{path}: is not there; give a plan folder of gas-netplan")
    guard_file(path)
    try:
        names = [str(name) for name, _ in pyogrio.list_layers(path)]
        layers = {name: pyogrio.read_dataframe(path, layer=name) for name in names if name != "layer_styles"}
    except _BROKEN as error:
        reason = shown(" ".join(str(error).split()) or type(error).__name__, 160)
        raise BadInputError(f"{path}: cannot be read ({reason}); make the plan again") from None
    for name, columns in _NEEDED.items():
        missing = [column for column in columns.split() if name not in layers or column not in layers[name]]
        if missing:
            raise BadInputError(f"{path}: layer {name} lacks {missing[0]!r}; make the plan again")
        _check_values(layers[name], f"{path}: layer {name}")
    return layers


def _check_values(layer: gpd.GeoDataFrame, where: str) -> None:
    if layer.crs is None:
        raise BadInputError(f"{where} has no coordinate reference system; make the plan again")
    for column in layer.columns:
        if str(column).endswith(_NUMBERS) or column == "option":
            kind = layer[column]
            if not (pd.api.types.is_numeric_dtype(kind) or kind.isna().all()):
                raise BadInputError(f"{where}: {column} holds what is no number; make the plan again")
            if column in ("from_node", "to_node") and kind.isna().any():
                raise BadInputError(f"{where}: {column} is empty somewhere; make the plan again")
