"""Findings about layers and columns that a source does not hold although a list rests on them."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from netplan.core.findings import Severity, in_order
from netplan.network.notes import Notes
from netplan.network.raw import RawLayers

__all__ = ["with_absent"]

_LAYERS: Final = {
    "customers": "it holds nobody, so that nobody is on any list",
    "services": "every customer is taken to hang on the nearest main",
    "valves": "gas is taken to pass everywhere, closed valves too, and none is a stop",
    "fittings": "stops keep clear of none",
}
"""Layers that a plan rests on, and what it takes to be so where nothing is recorded."""
_SYSTEM: Final = "all are taken as low pressure"
_COLUMNS: Final[dict[str, dict[str, str]]] = {
    "mains": {
        "status": "dead ones count as live",
        "system": _SYSTEM,
        "mop_mbar": "their limit is not known",
        "year": "their age is not known",
        "resin": "their resin is not known",
        "joint": "their joints are not known",
        "host": "none counts as inserted",
        "surface": "what lies over them is not known",
    },
    "services": {"status": "dead ones count as live", "system": _SYSTEM},
    "customers": {
        "priority": "nobody counts as a priority customer",
        "category": "each counts as a household",
        "meters": "each counts as one meter",
        "annual_kwh": "no yearly use is known",
        "peak_kw": "no peak power is known",
        "service_id": "each is taken to hang on the nearest service end",
    },
    "regulators": {
        "max_outlet_mbar": "stops are rated by the limit of the mains",
        "capacity_m3h": "none has a limit of flow",
        "status": "dead ones count as live",
        "system": _SYSTEM,
    },
    "valves": {"operable": "none is ever a stop", "system": _SYSTEM},
    "fittings": {"system": _SYSTEM},
    "injections": {"system": _SYSTEM},
}
"""Columns that the list, the stops or the feeds rest on, and what is taken to be so without them."""
_PARTICULARS: Final = ("street", "number", "postcode", "language")
"""Columns of customers that only letters and the order of lists use."""
_MEND: Final = "add them where they are recorded; look whether they stand under another name"


def with_absent(raw: RawLayers, *, whole: bool = True) -> RawLayers:
    """Return layers with findings about those without a feature, and about columns that none has.

    A column for the pressure system is missed only where another layer has one: a town of one system needs
    none. Nor is the peak power missed where the yearly use is recorded.

    Parameters
    ----------
    whole : bool
        Whether all of the source has been read: of a part nothing is said of layers without a feature.
    """
    notes = Notes()
    held = {name: set(layer.columns.column_names) for name, layer in raw.layers.items() if len(layer)}
    for layer, without in _LAYERS.items() if whole else ():
        if layer not in held and (layer != "customers" or layer in raw.layers):
            notes.add(
                "layer-absent",
                layer,
                "",
                Severity.WARNING,
                f"no feature of layer {layer} is recorded: {without}",
                "add the layer where it is recorded; look whether it stands under another name",
            )
    has_system = any("system" in columns for columns in held.values())
    for layer, columns in held.items():
        missed = [
            f"{column} ({without})"
            for column, without in _COLUMNS.get(layer, {}).items()
            if column not in columns
            and (column != "system" or has_system)
            and (column != "peak_kw" or "annual_kwh" not in columns)
            and (column != "service_id" or "services" in held)
        ]
        if missed:
            notes.add("column-absent", layer, "", Severity.WARNING, f"no column {'; '.join(missed)}", _MEND)
        if layer == "customers" and (left := [name for name in _PARTICULARS if name not in columns]):
            words = f"no column {', '.join(left)}: letters and lists do without"
            notes.add("column-absent", layer, "", Severity.NOTE, words, _MEND)
    return replace(raw, findings=in_order((*raw.findings, *notes.sorted())))
