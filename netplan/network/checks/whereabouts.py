"""The place of each finding, looked up by its feature where the check had none at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from netplan.core.findings import Finding
from netplan.network.contract import layer_specs
from netplan.network.normalise import column_text
from netplan.network.projection import WorkingCrs
from netplan.network.raw_layers import RawLayer, as_objects, take_shapes

__all__ = ["with_places"]


def with_places(
    findings: Sequence[Finding], layers: Mapping[str, RawLayer], working: WorkingCrs | None
) -> tuple[Finding, ...]:
    """Return the findings, those about a feature with the place of its middle vertex [m]."""
    wanted: dict[str, set[str]] = {}
    for finding in findings:
        if finding.x_m is None and finding.feature_id and finding.layer in layers:
            wanted.setdefault(finding.layer, set()).add(finding.feature_id)
    if working is None or not wanted:
        return tuple(findings)
    places = {name: _places(layers[name], ids, working) for name, ids in wanted.items()}
    return tuple(_placed(finding, places) for finding in findings)


def _placed(finding: Finding, places: Mapping[str, Mapping[str, tuple[float, float]]]) -> Finding:
    if finding.x_m is not None:
        return finding
    of_layer = places.get(finding.layer, {})
    place = of_layer.get(finding.feature_id) or of_layer.get(finding.feature_id.rpartition("/")[0])
    return finding if place is None else replace(finding, x_m=place[0], y_m=place[1])


def _places(layer: RawLayer, ids: set[str], working: WorkingCrs) -> dict[str, tuple[float, float]]:
    key = "id" if layer_specs()[layer.name].has_id else "station_id"
    if key not in layer.columns.column_names:
        return {}
    text = column_text(layer.columns[key])
    asked = sorted(ids | {whole for whole in (name.rpartition("/")[0] for name in ids) if whole})
    hit = pc.is_in(text.arrow, value_set=pa.array(asked, pa.string()))
    rows = np.flatnonzero(hit.to_numpy(zero_copy_only=False))
    found: dict[str, tuple[float, float]] = {}
    for row, shape in zip(rows.tolist(), as_objects(take_shapes(layer.geometry, rows)), strict=True):
        corners = shapely.get_coordinates(shape) if shape is not None else np.zeros((0, 2))
        if not len(corners) or text[row] in found:
            continue
        with np.errstate(invalid="ignore", over="ignore"):
            x, y = working.coordinates(corners[len(corners) // 2][None])[0]
        if np.isfinite([x, y]).all():
            found[text[row]] = (round(float(x), 3), round(float(y), 3))
    return found
