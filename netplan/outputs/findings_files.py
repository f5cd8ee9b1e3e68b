"""Findings as JSON, and as a GeoPackage layer with the place of each."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from netplan.core.findings import Finding
from netplan.network.checks.finding_groups import group_of
from netplan.outputs.atomic_writes import write_file
from netplan.outputs.layers import write_layers

__all__ = ["LAYER", "findings_json", "findings_layer", "write_findings_json", "write_findings_layer"]

LAYER: Final = "findings"
_DEGREE_DIGITS: Final = 7


def findings_json(findings: Sequence[Finding], crs: str) -> str:
    """Return the findings as a JSON list, one object each, in their order.

    Keys: ``code, layer, feature_id, severity, group, what, mend``, the place ``x_m, y_m`` in the working CRS
    and ``lon, lat`` [degrees]; null where there is none.
    """
    lon, lat = _degrees(findings, crs)
    rows: list[dict[str, Any]] = [
        {
            "code": f.code,
            "layer": f.layer,
            "feature_id": f.feature_id,
            "severity": f.severity.value,
            "group": group_of(f).value,
            "what": f.what,
            "mend": f.mend,
            "x_m": f.x_m,
            "y_m": f.y_m,
            "crs": crs if f.x_m is not None else None,
            "lon": _number(lon[row]),
            "lat": _number(lat[row]),
        }
        for row, f in enumerate(findings)
    ]
    return json.dumps(rows, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def findings_layer(findings: Sequence[Finding], crs: str) -> gpd.GeoDataFrame:
    """Return the findings as points in the working CRS; those without a place have no geometry.

    Columns: ``severity, group, code, layer, feature_id, what, mend``.
    """
    columns = {
        "severity": [f.severity.value for f in findings],
        "group": [group_of(f).value for f in findings],
        "code": [f.code for f in findings],
        "layer": [f.layer for f in findings],
        "feature_id": [f.feature_id for f in findings],
        "what": [f.what for f in findings],
        "mend": [f.mend for f in findings],
    }
    points = [None if f.x_m is None or f.y_m is None else shapely.Point(f.x_m, f.y_m) for f in findings]
    frame = pd.DataFrame({name: pd.Series(values, dtype=object) for name, values in columns.items()})
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(points, crs=crs or None), crs=crs or None)


def write_findings_json(findings: Sequence[Finding], crs: str, path: Path) -> None:
    """Write the findings as JSON, whole or not at all.

    Raises
    ------
    BadInputError
        When the file cannot be written.
    """
    text = findings_json(findings, crs)
    write_file(path, lambda part: part.write_text(text, encoding="utf-8", newline="\n"))


def write_findings_layer(findings: Sequence[Finding], crs: str, path: Path) -> None:
    """Write the findings as layer ``findings`` of a new GeoPackage, whole or not at all.

    Raises
    ------
    BadInputError
        When the name is no ``.gpkg``, or the file cannot be written.
    """
    layer = findings_layer(findings, crs)
    write_file(path, lambda part: write_layers({LAYER: layer}, part), suffix=".gpkg")


def _degrees(findings: Sequence[Finding], crs: str) -> tuple[Any, Any]:
    xy = np.array([[np.nan if v is None else v for v in (f.x_m, f.y_m)] for f in findings], dtype=float)
    nothing = np.full(len(findings), np.nan)
    if not crs or not len(findings):
        return nothing, nothing
    try:
        given = CRS.from_user_input(crs)
        lon, lat = Transformer.from_crs(given, "EPSG:4326", always_xy=True).transform(xy[:, 0], xy[:, 1])
    except ProjError:
        return nothing, nothing
    return np.round(lon, _DEGREE_DIGITS), np.round(lat, _DEGREE_DIGITS)


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
