"""Findings about layers and columns that a source does not hold although the list of customers rests on them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

from netplan.findings import Severity
from netplan.network.notes import Notes

__all__ = ["note_absent"]

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


def note_absent(held: Mapping[str, int], columns: Mapping[str, Collection[str]], notes: Notes) -> None:
    """Notice layers without a feature, and columns that no feature can have.

    A column for the pressure system is missed only where another layer has one: in a town of one system nobody
    records it. Nor is the peak power missed where the yearly use is recorded, or the other way round.

    Parameters
    ----------
    held : mapping
        Number of features of each layer of the contract that has been read.
    columns : mapping
        Columns of the contract that are read, by layer.
    """
    for layer, without in _LAYERS.items():
        if not held.get(layer) and (layer != "customers" or layer in held):
            notes.add(
                "layer-absent",
                layer,
                "",
                Severity.WARNING,
                f"no feature of layer {layer} is recorded: {without}",
                "add the layer where it is recorded; look whether it stands under another name",
            )
    has_system = any("system" in some for some in columns.values())
    for layer, known in _COLUMNS.items():
        if not held.get(layer):
            continue
        some = set(columns.get(layer, ()))
        has_demand = bool(some & {"annual_kwh", "peak_kw"})
        missed = {
            column: without
            for column, without in known.items()
            if column not in some
            and (column != "system" or has_system)
            and (column != "peak_kw" or not has_demand)
            and (column != "service_id" or held.get("services"))
        }
        if missed:
            words = "; ".join(f"{column} ({without})" for column, without in missed.items())
            notes.add("column-absent", layer, "", Severity.WARNING, f"no column {words}", _MEND)
        if layer == "customers" and (left := [column for column in _PARTICULARS if column not in some]):
            words = f"no column {', '.join(left)}: letters and lists do without"
            notes.add("column-absent", layer, "", Severity.NOTE, words, _MEND)
