"""The areas kept out of by order, as a file of the plan folder: the equal command reads it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

__all__ = ["KEEP_OUT_FILE", "ROUNDED", "keep_out_text"]

KEEP_OUT_FILE: Final = "keep-out.geojson"
ROUNDED: Final = 9
"""Decimals of a degree (own): a tenth of a millimetre."""


def keep_out_text(polygons: Sequence[Any]) -> str:
    """Return polygons as GeoJSON, longitude and latitude rounded to `ROUNDED` decimals.

    Parameters
    ----------
    polygons : sequence of shapely.Polygon
        In longitude and latitude, WGS 84 [°].
    """
    features = [
        {
            "type": "Feature",
            "properties": {},
            "geometry": {
                "type": "Polygon",
                "coordinates": [_ring(ring) for ring in (polygon.exterior, *polygon.interiors)],
            },
        }
        for polygon in polygons
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}) + "\n"


def _ring(ring: Any) -> list[list[float]]:
    corners: list[list[float]] = np.round(np.asarray(ring.coords)[:, :2], ROUNDED).tolist()
    return corners
