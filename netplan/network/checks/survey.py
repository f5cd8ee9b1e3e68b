"""Everything that is wrong with a set of layers at once, each thing with its place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from netplan.core.errors import BadNetworkError
from netplan.core.findings import Finding, Severity, in_order
from netplan.network.build import build_network
from netplan.network.checks import check_network
from netplan.network.checks.reference_systems import check_area_of_use, check_reference_systems
from netplan.network.concurrency import without_garbage_collection
from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.normalise import column_text, normalise
from netplan.network.probable_values import notice_improbable
from netplan.network.projection import WorkingCrs, working_crs
from netplan.network.raw_layers import RawLayer, as_objects, take_shapes
from netplan.network.recorded_sizes import resolve_sizes

__all__ = ["Survey", "survey", "with_places"]


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """What is known about a set of layers.

    Parameters
    ----------
    findings : tuple of Finding
        Everything noticed, worst first.
    crs : str
        Working CRS of the findings' places; empty when the layers have none that can be used.
    network : Network or None
        The joined network without what cannot be used; None when nothing can be joined.
    """

    findings: tuple[Finding, ...]
    crs: str
    network: Network | None


def survey(
    layers: Mapping[str, RawLayer], source: str = "memory", findings: Iterable[Finding] = ()
) -> Survey:
    """Look for every fault, however bad the data is; nothing is refused.

    Parameters
    ----------
    layers : mapping
        Raw layers by the layer names of the input contract.
    source : str
        What they were read from.
    findings : iterable of Finding
        What reading them noticed.
    """
    notes = FindingLog()
    notes.extend(findings)
    for name, spec in layer_specs().items():
        if spec.required and name not in layers:
            notes.add(
                "missing-layer",
                name,
                "",
                Severity.ERROR,
                "the layer is not there",
                "name it after the input contract, or map its name",
            )
    check_reference_systems(layers, notes)
    check_area_of_use(layers, notes)
    working = _working(layers)
    network: Network | None = None
    try:
        network = build_network(layers, source, strict=False)
        notes.extend(check_network(network))
    except BadNetworkError as error:
        notes.extend(error.findings or _of_single_layers(layers))
        if not any(finding.severity is Severity.ERROR for finding in notes.sorted()):
            what, _, mend = str(error).partition("; ")
            notes.add("unusable", "", "", Severity.ERROR, what, mend or "correct the layers")
    found = with_places(in_order(notes.sorted()), layers, working)
    return Survey(found, "" if working is None else working.name, network)


def _working(layers: Mapping[str, RawLayer]) -> WorkingCrs | None:
    try:
        return working_crs({name: layer for name, layer in layers.items() if len(layer) or layer.crs})
    except BadNetworkError:
        return None


def _of_single_layers(layers: Mapping[str, RawLayer]) -> tuple[Finding, ...]:
    """Return what can be said of each layer by itself, where they cannot be put together."""
    notes = FindingLog()
    with without_garbage_collection():
        for name, spec in layer_specs().items():
            if name in layers and name not in BASE_LAYERS:
                table = normalise(layers[name], spec, notes)
                if name in ("mains", "services"):
                    resolve_sizes(table, notes)
                notice_improbable(table, notes)
    return notes.sorted()


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
    places = {name: _places_by_id(layers[name], ids, working) for name, ids in wanted.items()}
    return tuple(_placed(finding, places) for finding in findings)


def _placed(finding: Finding, places: Mapping[str, Mapping[str, tuple[float, float]]]) -> Finding:
    if finding.x_m is not None:
        return finding
    of_layer = places.get(finding.layer, {})
    place = of_layer.get(finding.feature_id) or of_layer.get(finding.feature_id.rpartition("/")[0])
    return finding if place is None else replace(finding, x_m=place[0], y_m=place[1])


def _places_by_id(layer: RawLayer, ids: set[str], working: WorkingCrs) -> dict[str, tuple[float, float]]:
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
