"""Which coordinates to work in: always projected, always metres, the same for every layer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Proj, Transformer
from pyproj.exceptions import ProjError

from netplan.core.errors import BadNetworkError
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog
from netplan.network.raw_layers import RawLayer, bounds_of

__all__ = ["GRID_M", "WholeFrame", "WorkingCrs", "horizontal", "likely_scale", "scale_at", "working_crs"]

GRID_DIGITS: Final = 4
GRID_M: Final = 10.0**-GRID_DIGITS
"""Coordinates are rounded to this [m], so that every source of the same data gives the same network."""

_DISTORTION: Final = 5e-4
"""Lengths are promised to this fraction."""
_ONE_TOWN_M: Final = 100_000.0
"""What lies farther from the middle is no guide to where a network lies (own) [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class WorkingCrs:
    """How to get from the coordinates of the source to the working ones.

    Parameters
    ----------
    crs : pyproj.CRS
        Working CRS: projected, metres.
    name : str
        The CRS as an authority code where there is one, else WKT.
    note : str
        How it was reached, when it isn't the CRS of the source.
    factor : float
        Metres per unit of a projected source [m/unit].
    transformer : pyproj.Transformer or None
        For geographic sources.
    """

    crs: CRS
    name: str
    note: str
    factor: float
    transformer: Transformer | None

    def coordinates(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return source coordinates (n, 2) in the working CRS [m], rounded to the grid."""
        if self.transformer is not None and len(xy):
            x, y = self.transformer.transform(xy[:, 0], xy[:, 1])
            xy = np.column_stack([x, y])
        elif self.factor != 1.0:
            xy = xy * self.factor
        return np.round(xy, GRID_DIGITS)

    def source_coordinates(self, xy_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return working coordinates (n, 2) [m] in the CRS of the source."""
        if self.transformer is not None and len(xy_m):
            x, y = self.transformer.transform(xy_m[:, 0], xy_m[:, 1], direction="INVERSE")
            return np.column_stack([x, y])
        return xy_m / self.factor

    def geometry(self, shapes: NDArray[np.object_]) -> NDArray[np.object_]:
        """Return shapes in the working CRS, in plan."""
        moved: Any = shapely.transform(shapes, self.coordinates)
        return np.asarray(moved, dtype=object)


@dataclass(frozen=True, slots=True, eq=False)
class WholeFrame:
    """How a whole network is placed, for joining a part of it alike.

    Parameters
    ----------
    working : WorkingCrs
    scale : float
        Planar length over true length at the middle of the whole network [-].
    corner_m : mapping of str to tuple of float
        Least x and y of the ends of its pipes, by pressure system, working CRS [m]: the millimetres in which
        ends are taken for one count from there. A system that is not named counts from its own.
    """

    working: WorkingCrs
    scale: float
    corner_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def corners(self, systems: Sequence[str]) -> dict[int, tuple[float, float]]:
        """Return the corners by the place of each system in a list."""
        return {row: self.corner_m[name] for row, name in enumerate(systems) if name in self.corner_m}


def working_crs(layers: Mapping[str, RawLayer]) -> WorkingCrs:
    """Choose the working CRS of a set of layers.

    Raises
    ------
    BadNetworkError
        When a layer has no CRS, layers disagree, or the CRS is neither projected nor geographic.
    """
    first = ""
    common: CRS | None = None
    for name, layer in layers.items():
        if layer.crs is None:
            raise BadNetworkError(
                f"layer {name} has no coordinate reference system; store one with the layer"
            )
        crs = horizontal(layer.crs)
        if common is None:
            first, common = name, crs
        elif crs != common and not crs.equals(common, ignore_axis_order=True) and _name(crs) != _name(common):
            raise BadNetworkError(
                f"layers {first} and {name} disagree in their coordinate reference system "
                f"({common.name} and {crs.name}); reproject one of them"
            )
    if common is None:
        raise BadNetworkError("the network holds no layers; name them after the input contract")
    if common.is_geographic:
        return _local_utm(common, layers)
    if not common.is_projected:
        raise BadNetworkError(
            f"the coordinate reference system {common.name} is neither projected nor geographic; reproject"
        )
    factor = float(common.axis_info[0].unit_conversion_factor)
    if factor == 1.0:
        return WorkingCrs(common, _name(common), "", 1.0, None)
    metric = _in_metres(common)
    unit = common.axis_info[0].unit_name
    note = f"coordinates of {common.name} converted from {unit} to metres"
    return WorkingCrs(metric, _name(metric), note, factor, None)


def scale_at(crs: CRS, xy_m: NDArray[np.float64], notes: FindingLog) -> float:
    """Return planar length over true length at the middle of the points [-].

    A finding is noticed when the scale differs by more than 0.05 % over the area or by direction.
    """
    low, high = xy_m.min(axis=0), xy_m.max(axis=0)
    middle = (low + high) / 2
    corners = np.array([middle, low, high, [low[0], high[1]], [high[0], low[1]]])
    try:
        to_geographic = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
        lon, lat = to_geographic.transform(corners[:, 0], corners[:, 1])
        factors = Proj(crs).get_factors(lon, lat, errcheck=True)
    except ProjError as error:
        raise BadNetworkError(
            "coordinates lie outside the area of their coordinate reference system; correct the CRS"
        ) from error
    along, across = np.asarray(factors.meridional_scale), np.asarray(factors.parallel_scale)
    scale = np.sqrt(along * across)
    if not np.isfinite(scale).all() or (scale <= 0).any():
        raise BadNetworkError(
            "coordinates lie outside the area of their coordinate reference system; correct the CRS"
        )
    uneven = max(float(np.abs(along / across - 1).max()), float(np.abs(scale / scale[0] - 1).max()))
    if uneven > _DISTORTION:
        notes.add(
            "crs-distorts",
            "",
            "",
            Severity.WARNING,
            f"lengths in {crs.name} differ by up to {uneven:.2%} over the area or by direction",
            "use the national or local grid",
        )
    return round(float(scale[0]), 7)


def likely_scale(crs: CRS, xy_m: NDArray[np.float64], notes: FindingLog) -> float:
    """Return `scale_at` of where most points lie; 1, with a finding, where it cannot be had."""
    middle = np.median(xy_m, axis=0)
    near = xy_m[(np.abs(xy_m - middle) <= _ONE_TOWN_M).all(axis=1)]
    try:
        return scale_at(crs, near if len(near) else xy_m, notes)
    except BadNetworkError as error:
        what = f"{error}; lengths are taken as they stand".partition("; correct")[0]
        notes.add("crs-off-area", "mains", "", Severity.ERROR, what, "correct the CRS")
        return 1.0


@lru_cache(maxsize=16)
def horizontal(crs: CRS) -> CRS:
    """Return the part of a CRS that places things in plan."""
    return horizontal(crs.sub_crs_list[0]) if crs.is_compound else crs.to_2d()


def _name(crs: CRS) -> str:
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else crs.to_wkt()


def _in_metres(crs: CRS) -> CRS:
    # Only the axes change unit: the projection's parameters carry units of their own.
    description = crs.to_json_dict()
    description = description.get("source_crs", description)
    for axis in description["coordinate_system"]["axis"]:
        axis["unit"] = "metre"
    description.pop("id", None)
    description["name"] = f"{crs.name} in metres"
    return CRS.from_json_dict(description)


def _local_utm(crs: CRS, layers: Mapping[str, RawLayer]) -> WorkingCrs:
    layer = layers["mains"] if len(layers.get("mains", ())) else max(layers.values(), key=len)
    if not len(layer):
        raise BadNetworkError("no layer holds anything; give at least mains and regulators")
    west, south, east, north = bounds_of(layer.geometry)
    lon, lat = (west + east) / 2, (south + north) / 2
    if not (np.isfinite([lon, lat]).all() and abs(lon) <= 180 and abs(lat) <= 84):
        raise BadNetworkError(
            f"coordinates in {crs.name} are no longitudes and latitudes; correct the CRS of the layers"
        )
    zone = min(int((lon + 180) // 6) + 1, 60)
    target = CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)
    note = f"geographic coordinates of {crs.name} projected to {target.name}"
    return WorkingCrs(target, _name(target), note, 1.0, Transformer.from_crs(crs, target, always_xy=True))
