"""Findings about geometries that were straightened, or that are of a kind that is not read."""

from __future__ import annotations

import numpy as np

from netplan.core.errors import BadInputError
from netplan.core.findings import Finding, Severity
from netplan.network.contract import BASE_LAYERS
from netplan.network.normalise import column_text
from netplan.network.notes import Notes
from netplan.network.raw import RawLayer, RawLayers
from netplan.readers.sources.curves import TOLERANCE_M

__all__ = ["unread_layer", "with_odd_shapes"]

_LINES = ("mains", "services")


def with_odd_shapes(read: RawLayers) -> RawLayers:
    """Return layers with a finding for what reading their geometries noticed."""
    if all(layer.odd is None for layer in read.layers.values()):
        return read
    notes = Notes()
    notes.extend(read.findings)
    for name, layer in read.layers.items():
        _notice(name, layer, notes)
    return RawLayers(read.source, read.layers, notes.sorted())


def unread_layer(name: str, error: BadInputError) -> Finding:
    """Return the finding for a base map layer of a kind that is not read: the map is drawn without it."""
    what, _, mend = str(error).partition("; ")
    return Finding("unknown-geometry", name, "", Severity.NOTE, f"{what}; it is left out", mend)


def _notice(name: str, layer: RawLayer, notes: Notes) -> None:
    odd = layer.odd
    if odd is None:
        return
    curved = int(odd.straightened.sum())
    if curved:
        features = "1 curve was" if curved == 1 else f"{curved} curves were"
        notes.add(
            "curve-straightened",
            name,
            "",
            Severity.NOTE,
            f"{features} straightened within {TOLERANCE_M * 1000:g} mm",
            "nothing to do",
        )
    severity = Severity.ERROR if name in _LINES else Severity.WARNING
    ids = column_text(layer.columns["id"]) if "id" in layer.columns.column_names else None
    notes.add_each(
        "unknown-geometry",
        name,
        ids,
        np.asarray(odd.unread != "", dtype=bool),
        Severity.NOTE if name in BASE_LAYERS else severity,
        lambda row: f"is {odd.unread[row]}, which is not read; it is left out",
        "draw it with points, lines or polygons",
    )
