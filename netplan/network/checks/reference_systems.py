"""Coordinate reference systems that are missing, disagree, or do not fit where the data lies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog
from netplan.network.projection import horizontal
from netplan.network.raw_layers import RawLayer, bounds_of

__all__ = ["check_area_of_use", "check_reference_systems"]

_SLACK_DEGREES: Final = 1.0


def check_reference_systems(layers: Mapping[str, RawLayer], notes: FindingLog) -> None:
    """Notice each layer without a CRS, with another one than the mains, or with one that cannot be used."""
    given = {name: layer for name, layer in layers.items() if len(layer) or layer.crs}
    common: tuple[str, CRS] | None = None
    for name, layer in sorted(given.items(), key=lambda item: (item[0] != "mains", item[0])):
        if layer.crs is None:
            notes.add(
                "crs-missing",
                name,
                "",
                Severity.ERROR,
                "has no coordinate reference system",
                "store one with the layer",
            )
            continue
        crs = horizontal(layer.crs)
        if not (crs.is_geographic or crs.is_projected):
            notes.add(
                "crs-unusable",
                name,
                "",
                Severity.ERROR,
                f"{crs.name} is neither projected nor geographic",
                "reproject the layer",
            )
        elif common is None:
            common = name, crs
        elif crs != common[1] and not crs.equals(common[1], ignore_axis_order=True):
            _notice_disagreement(name, crs, common, notes)


def _notice_disagreement(name: str, crs: CRS, common: tuple[str, CRS], notes: FindingLog) -> None:
    if crs.to_authority(min_confidence=70) == common[1].to_authority(min_confidence=70) is not None:
        return
    notes.add(
        "crs-disagree",
        name,
        "",
        Severity.ERROR,
        f"is in {crs.name}, layer {common[0]} in {common[1].name}",
        "reproject one of them",
    )


def check_area_of_use(layers: Mapping[str, RawLayer], notes: FindingLog) -> None:
    """Notice a CRS that is not meant for the place where its coordinates lead."""
    layer = layers.get("mains")
    if layer is None or layer.crs is None or not len(layer):
        return
    crs = horizontal(layer.crs)
    area = crs.area_of_use
    if area is None or not crs.is_projected or crs.geodetic_crs is None:
        return
    with np.errstate(invalid="ignore", over="ignore"):
        west, south, east, north = bounds_of(layer.geometry)
    if not np.isfinite([west, south, east, north]).all():
        return
    try:
        to_degrees = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
        lon, lat = to_degrees.transform((west + east) / 2, (south + north) / 2)
    except ProjError:
        return
    if not np.isfinite([lon, lat]).all():
        return
    across = (area.west - _SLACK_DEGREES) <= lon <= (area.east + _SLACK_DEGREES) or area.west > area.east
    if across and area.south - _SLACK_DEGREES <= lat <= area.north + _SLACK_DEGREES:
        return
    notes.add(
        "crs-off-area",
        "mains",
        "",
        Severity.WARNING,
        f"the coordinates lead to {abs(lat):.2f}° {'N' if lat >= 0 else 'S'}, {abs(lon):.2f}° "
        f"{'E' if lon >= 0 else 'W'}, outside the area of use of {crs.name}",
        "check that the stored coordinate reference system matches the coordinates",
    )
