"""Small parts of the sample town and of the open town: quick to plan, and with everything in them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

import sample_network
from netplan.network.contract import layer_specs
from netplan.network.work_section import WorkPart
from tests.support import schutterwald

__all__ = ["NAMES", "district"]

Layers = dict[str, gpd.GeoDataFrame]
NAMES = (*("close", "schutterwald") * 7, "lane", "schutterwald")
"""Districts in turn: two of the sample town, of which the lane with its bypass takes longest; the open town."""
_REACH_M = {"lane": 170.0, "close": 120.0, "schutterwald": 200.0}
_WORK = {
    "lane": WorkPart("M0142", 158.0, 162.0),
    "close": WorkPart("M0048", 50.0, 54.0),
    "schutterwald": WorkPart("M1083", 60.0, 66.0),
}


@lru_cache(maxsize=4)
def district(name: str) -> tuple[Layers, WorkPart]:
    """Return layers and a work section in them; each layer is to be copied before it is changed.

    Everything within reach of the work is kept. Stations are put at the ends of the longest mains that leave
    it, as far apart as two can be, so that gas comes from two sides.
    """
    layers = _town(name)
    work = _WORK[name]
    mains = layers["mains"]
    middle = mains.geometry[mains["id"] == work.main_id].iloc[0].interpolate(work.from_m)
    place = middle.buffer(_REACH_M[name])
    cut = {layer: frame[frame.intersects(place)].reset_index(drop=True) for layer, frame in layers.items()}
    cut["mains"] = cut["mains"].copy()
    if "service_id" in cut["customers"]:
        known = set(cut["services"]["id"])
        cut["customers"] = cut["customers"][
            [all(s in known for s in str(v).split(";")) for v in cut["customers"]["service_id"]]
        ].reset_index(drop=True)
    cut["regulators"] = _stations(cut["mains"], layers["regulators"])
    cut.pop("sensing_points", None)
    return cut, work


def _town(name: str) -> Layers:
    if name == "schutterwald":
        return schutterwald.layers()
    path = Path(sample_network.__file__).parent / "town.gpkg"
    held = {str(layer) for layer, _ in pyogrio.list_layers(path)}
    return {layer: gpd.read_file(path, layer=layer) for layer in layer_specs() if layer in held}


def _stations(mains: gpd.GeoDataFrame, like: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if "status" in mains:
        mains = mains[mains["status"].fillna("live") == "live"]
    if "system" in mains:
        mains = mains[mains["system"].fillna("LP") == "LP"]
    lines = shapely.force_2d(mains.geometry.to_numpy())
    ends = np.concatenate([shapely.get_coordinates(shapely.get_point(lines, at)) for at in (0, -1)])
    gap = np.hypot(*(ends[:, None] - ends[None]).transpose(2, 0, 1))
    one, other = np.unravel_index(int(gap.argmax()), gap.shape)
    return gpd.GeoDataFrame(
        {"id": ["RA", "RB"], "outlet_mbar": [45.0, 45.0], "max_outlet_mbar": [50.0, 50.0]},
        geometry=shapely.points(ends[[one, other]]),
        crs=like.crs,
    )
