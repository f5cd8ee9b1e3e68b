"""Layers of a plan as folders of open formats, beside plan.gpkg.

GeoParquet 1.1 in the working CRS, a bounding box with each row, and GeoJSON of RFC 7946 in degrees of WGS 84.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd
import pyarrow as pa
import pyogrio

from netplan.core.errors import BadInputError
from netplan.outputs.layers.geopackage import FILE_ERRORS

__all__ = ["LAYER_FORMATS", "write_layer_folders"]


def write_layer_folders(
    layers: Mapping[str, gpd.GeoDataFrame], folder: Path, formats: tuple[str, ...]
) -> None:
    """Write layers into a folder of each format, a file a layer.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        As `plan_layers` or `read_plan_layers` returned them; ``conditions`` has no geometry.
    folder : Path
        Where the folders ``layers_geoparquet`` and ``layers_geojson`` are made.
    formats : tuple of str
        Keys of `LAYER_FORMATS`.

    Raises
    ------
    BadInputError
        When a file cannot be written.
    """
    for name in dict.fromkeys(formats):
        ending, write = LAYER_FORMATS[name]
        into = folder / f"layers_{name}"
        into.mkdir()
        for layer, rows in layers.items():
            path = into / f"{layer}{ending}"
            try:
                write(rows, path, layer)
            except (*FILE_ERRORS, pa.ArrowException, OSError) as error:
                reason = " ".join(str(error).split())[:160]
                raise BadInputError(f"{path}: cannot be written ({reason}); check space and rights") from None


def _geoparquet(rows: pd.DataFrame, path: Path, _layer: str) -> None:
    if isinstance(rows, gpd.GeoDataFrame):
        rows.to_parquet(path, index=False, schema_version="1.1.0", write_covering_bbox=True)
    else:
        rows.to_parquet(path, index=False)


# Seven digits of a degree are a centimetre.
_GEOJSON: Final = {"RFC7946": "YES", "COORDINATE_PRECISION": "7", "WRITE_NAME": "YES"}


def _geojson(rows: pd.DataFrame, path: Path, layer: str) -> None:
    if isinstance(rows, gpd.GeoDataFrame):
        degrees = rows.to_crs("EPSG:4326")
    else:
        degrees = gpd.GeoDataFrame(rows, geometry=[None] * len(rows), crs="EPSG:4326")
    pyogrio.write_dataframe(degrees, path, layer=layer, driver="GeoJSON", layer_options=_GEOJSON)


LAYER_FORMATS: Final[Mapping[str, tuple[str, Callable[[pd.DataFrame, Path, str], None]]]] = {
    "geoparquet": (".parquet", _geoparquet),
    "geojson": (".geojson", _geojson),
}
"""Names of formats, with the ending of their files and what writes one."""
