"""Writing layers from plain tables to a GeoPackage or a folder, where `read_layers` finds them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.network.contract import layer_specs

__all__ = ["write_layers"]

_DRIVER: Final = {"geojson": "GeoJSON", "shp": "ESRI Shapefile"}
_DIGITS_DEGREES, _DIGITS_LENGTH = 10, 6


def write_layers(layers: Mapping[str, Any], path: str | Path, file_format: str = "parquet") -> Path:
    """Write layers where `read_layers` finds them.

    Parameters
    ----------
    layers : mapping
        GeoDataFrames by the layer names of the input contract.
    path : str or Path
        A name ending in ``.gpkg`` makes one GeoPackage; any other name a folder. It must not exist yet.
    file_format : str
        ``parquet``, ``geojson`` or ``shp``: the files of a folder. A Shapefile shortens column names to
        ten characters; `read_layers` knows them again.

    Returns
    -------
    Path
        What was written.

    Raises
    ------
    BadInputError
        When something stands at the path already, or a layer or format is not known.
    """
    place = Path(path)
    unknown = sorted(set(layers) - set(layer_specs()))
    if unknown:
        raise BadInputError(f"layer {unknown[0]} is not in the input contract; name one that is")
    if file_format not in ("parquet", *_DRIVER):
        raise BadInputError(f"file format {file_format} is not known; use parquet, geojson or shp")
    if place.exists():
        raise BadInputError(f"{place}: exists already; give another name")
    if place.suffix.lower() == ".gpkg":
        for name, frame in layers.items():
            frame.to_file(place, layer=name, driver="GPKG", engine="pyogrio")
        return place
    place.mkdir(parents=True)
    for name, frame in layers.items():
        file = place / f"{name}.{file_format}"
        if file_format == "parquet":
            frame.to_parquet(file, index=False)
        elif file_format == "geojson":
            digits = _DIGITS_DEGREES if frame.crs and frame.crs.is_geographic else _DIGITS_LENGTH
            frame.to_file(file, driver="GeoJSON", engine="pyogrio", COORDINATE_PRECISION=digits)
        else:
            short = frame.rename(columns={column: str(column)[:10] for column in _attributes(frame)})
            short.to_file(file, driver="ESRI Shapefile", engine="pyogrio")
    return place


def _attributes(frame: Any) -> list[str]:
    return [column for column in frame.columns if column != frame.geometry.name]
