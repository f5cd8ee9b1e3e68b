"""What was read through a mapping against the true town, feature by feature and column by column."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from netplan.readers import read_layers, read_mapping
from tests.first_hour.export import Export

__all__ = ["misread"]

_WORDS = {
    "mains": ("material", "system", "status", "surface", "joint", "street"),
    "services": ("material", "system", "status"),
    "customers": ("priority", "category", "priority_note", "street", "number"),
    "regulators": ("system", "status"),
    "valves": ("state", "operable", "system"),
    "fittings": ("kind",),
}
_NUMBERS = {
    "mains": ("year",),
    "services": ("od_mm",),
    "customers": ("annual_kwh", "meters"),
    "regulators": ("outlet_mbar", "max_outlet_mbar", "capacity_m3h"),
}
_DEFAULTS = {"system": "LP", "status": "live", "state": "unknown"}
_TOLERANCE = 2e-3
"""Exports round: inches to three decimals, psi and inches of water to four digits."""


def misread(export: Export, mapping: str) -> list[str]:
    """Return every value that was read otherwise than it is true."""
    raw = read_layers(export.place, mapping=read_mapping(mapping))
    faults: list[str] = []
    for layer, ids in export.ids.items():
        true = export.layers[layer].set_index("id")
        read = raw.layers[layer].columns.to_pandas().set_index("id")
        faults += [f"{layer}: {ident} is missing" for ident in true.index if ids[ident] not in read.index]
        for name in (*_WORDS.get(layer, ()), *_NUMBERS.get(layer, ())):
            pairs = [
                (ident, true.at[ident, name], read.at[ids[ident], name] if name in read else None)
                for ident in true.index
                if name in true and ids[ident] in read.index
            ]
            faults += _differences(layer, name, pairs)
    return faults


def _differences(layer: str, name: str, pairs: list[tuple[str, Any, Any]]) -> Iterator[str]:
    for ident, true, read in pairs:
        if name in _NUMBERS.get(layer, ()):
            wrong = not np.isclose(float(read), float(true), rtol=_TOLERANCE, atol=0.0)
            if name == "year" and read != read:  # 1900 and 9999 say that it is not known
                continue
        else:
            known, said = (_text(value) or _DEFAULTS.get(name, "") for value in (true, read))
            # A higher tier has a name of its own in each export.
            same = (known == "LP") == (said == "LP") if name == "system" else known == said
            wrong = not same
        if wrong:
            yield f"{layer}: {ident}: {name} is read as {read!r}: it is {true!r}"


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value)
