"""Areas that a planner draws: polygons of a file, moved to another CRS, and a network cut to an area."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from shapely import unary_union

from netplan.core.errors import BadInputError
from netplan.core.findings import Severity
from netplan.core.input_paths import check_polygon_file
from netplan.network.finding_log import FindingLog
from netplan.network.normalise import column_text
from netplan.network.raw_layers import RawLayer, RawLayers, as_objects
from netplan.readers.sources.layer_source import Area

__all__ = ["area_in_crs", "cut_to_area", "read_area", "read_polygons"]

MOST_BYTES = 50_000_000
_WGS84: Final = "OGC:CRS84"
_MOST_LON: Final = 360.0
_MOST_LAT: Final = 90.0
"""Longitudes and latitudes go no farther; longitudes count beyond 180 where an area crosses that line [°]."""
_STEPS: Final = 64
"""Parts that the longer side of an area is cut into before it is moved to another CRS."""
_CUT_LAYERS: Final = ("mains", "services")
_MOST_NAMED: Final = 5
"""Mains at the rim that are named in one line."""


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
    _require_degrees(frame, path.name)
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


def _require_degrees(frame: gpd.GeoDataFrame, name: str) -> None:
    """Check that what is to be longitude and latitude can be: a GeoJSON without a CRS is read as WGS 84.

    Raises
    ------
    BadInputError
        When coordinates lie beyond the earth's degrees.
    """
    if frame.crs is None or not frame.crs.is_geographic:
        return
    west, south, east, north = frame.total_bounds
    if west < -_MOST_LON or east > _MOST_LON or south < -_MOST_LAT or north > _MOST_LAT:
        raise BadInputError(
            f"{name}: coordinates such as {west:.0f},{south:.0f} are not degrees; a GeoJSON holds longitude "
            "and latitude in degrees (RFC 7946): save it so, or name its CRS in a member crs"
        )


def read_area(path: Path) -> Area:
    """Read an area from a file of polygons, in longitude and latitude (WGS 84).

    Raises
    ------
    BadInputError
        When it cannot be read, has no CRS, or holds no valid polygon.
    """
    return unary_union(read_polygons(path, _WGS84))


def area_in_crs(within: Area, crs: CRS, where: str) -> Any:
    """Return an area in another CRS.

    Raises
    ------
    BadInputError
        When it cannot be placed there; `where` names the layer.
    """
    west, south, east, north = within.bounds

    def moved(lon_lat: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(transformer.transform(lon_lat[:, 0], lon_lat[:, 1]))

    try:
        transformer = Transformer.from_crs(_WGS84, crs, always_xy=True)
        fine = shapely.segmentize(within, max(east - west, north - south) / _STEPS)
        area: Any = shapely.transform(fine, moved)
    except ProjError:
        area = shapely.Polygon()
    if area.is_empty or not np.isfinite(area.bounds).all() or not shapely.is_valid(area):
        raise BadInputError(f"{where}: the area to read lies outside its CRS; check area and CRS")
    return area


def cut_to_area(raw: RawLayers, within: Area) -> RawLayers:
    """Return the features that touch an area, and a finding for each pipe that goes on beyond it.

    What feeds the area from outside is not in it: the answer on a part holds for that part alone, and it says
    so.
    """
    notes = FindingLog()
    notes.extend(raw.findings)
    layers, crossing = {}, []
    for name, layer in raw.layers.items():
        layers[name], names = _cut(layer, within, notes)
        if name == "mains":
            crossing = names
    told = ", ".join(crossing[:_MOST_NAMED]) + (" and others" if len(crossing) > _MOST_NAMED else "")
    notes.add(
        "part-of-network",
        "",
        "",
        Severity.WARNING,
        "only what touches the given area was read; stations, pipes and customers beyond it are not known"
        + (f"; {len(crossing)} mains cross its edge ({told})" if crossing else ""),
        "plan on the whole connected network if the rest can matter",
    )
    return RawLayers(raw.source, layers, notes.sorted())


def _cut(layer: RawLayer, within: Area, notes: FindingLog) -> tuple[RawLayer, list[str]]:
    """Return what of a layer touches the area, and the names of the pipes that cross its rim."""
    if layer.crs is None or not len(layer):
        return layer, []
    area = area_in_crs(within, layer.crs, f"layer {layer.name}")
    shapely.prepare(area)
    shapes = shapely.force_2d(as_objects(layer.geometry))
    # What has no geometry that can be read is for the checks to notice.
    keep = np.flatnonzero(shapely.is_missing(shapes) | shapely.intersects(shapes, area))
    cut = layer.take(keep)
    if layer.name not in _CUT_LAYERS or "id" not in cut.columns.column_names:
        return cut, []
    ids = column_text(cut.columns["id"])
    beyond = np.flatnonzero(~(shapely.is_missing(shapes[keep]) | shapely.covers(area, shapes[keep])))
    notes.add_each(
        "cut-by-area",
        layer.name,
        ids,
        beyond,
        Severity.WARNING,
        "crosses the edge of the area that was read; the network continues beyond it",
        "read a larger area, or the whole network",
    )
    return cut, sorted(ids.take(beyond))
