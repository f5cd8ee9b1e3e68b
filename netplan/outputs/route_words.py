"""The route of a bypass or hose in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import geopandas as gpd
import shapely

from netplan.outputs.number_format import Figures
from netplan.planfile.model import Bypass

__all__ = ["route_words", "street_words"]

_BESIDE_M: Final = 6.0
"""How far from the middle of a street that is mapped as a line a hose still lies along it (own) [m]."""
_LEAST_M: Final = 1.0
"""Least length along a street that is told of (own) [m]."""


def route_words(bypass: Bypass, units: Figures) -> str:
    """Return how long the hose is, what it crosses, and what is to be said of its route."""
    crossed = {0: "crosses no carriageway", 1: "crosses a carriageway: 1 ramp"}.get(
        bypass.crossings, f"crosses carriageways {bypass.crossings} times: {bypass.crossings} ramps"
    )
    words = f"{units.length(bypass.length_m)}, {crossed}"
    return f"{words}; {bypass.route_note}" if bypass.route_note else words


def street_words(
    bypass: Bypass, layers: Mapping[str, gpd.GeoDataFrame], scale: float, units: Figures
) -> list[str]:
    """Return along which streets of the base map a hose lies, and how far; empty without a base map.

    Parameters
    ----------
    bypass : Bypass
    layers : mapping of str to GeoDataFrame
    scale : float
        Planar over true length [-]: lengths are those on the ground.
    units : Figures
    """
    if "streets" not in layers or len(bypass.route) < 2:
        return []
    route, streets = shapely.LineString(bypass.route), layers["streets"]
    names = streets["name"].fillna("").astype(str).str.strip() if "name" in streets else [""] * len(streets)
    by_name: dict[str, list[shapely.Geometry]] = {}
    for name, shape in zip(names, streets.geometry, strict=True):
        if shapely.dwithin(shape, route, _BESIDE_M):
            area = shape if shapely.get_dimensions(shape) == 2 else shape.buffer(_BESIDE_M)
            by_name.setdefault(name, []).append(area)
    found = []
    for name, areas in by_name.items():
        length_m = shapely.intersection(route, shapely.union_all(areas)).length / scale
        if length_m >= _LEAST_M:
            found.append((length_m, name or "a street without a name"))
    ordered = sorted(found, key=lambda one: (-one[0], one[1]))
    return [f"{units.length(length_m)} along or across {name}" for length_m, name in ordered]
