"""Which features hang on another one: they may tell that it is gone or stands wrong."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from tests.list_safety.exports import Export

__all__ = ["hanging_on", "rows_on"]

_TOUCH_M: Final = 0.6


def hanging_on(export: Export, layer: str, row: int) -> list[str]:
    """Return the ids of features that touch a feature, that name it, or that it names; and of those behind."""
    found: list[str] = []
    if layer == "mains":
        for other in ("mains", "services", "valves", "regulators"):
            found += [
                _id(export, other, k) for k in rows_on(export, other, export.frame(layer).geometry.iloc[row])
            ]
        services = rows_on(export, "services", export.frame(layer).geometry.iloc[row])
        names = {_id(export, "services", k) for k in services}
        found += _customers_of(export, names)
    elif layer == "services":
        found += _customers_of(export, {_id(export, layer, row)})
        found += [
            _id(export, "mains", k) for k in rows_on(export, "mains", export.frame(layer).geometry.iloc[row])
        ]
        found += [
            _id(export, "customers", k)
            for k in rows_on(export, "customers", export.frame(layer).geometry.iloc[row])
        ]
    elif layer == "customers":
        if export.has(layer, "service_id"):
            found += [s for s in str(export.values(layer, "service_id").iloc[row]).split(";") if s]
        found += [
            _id(export, "services", k)
            for k in rows_on(export, "services", export.frame(layer).geometry.iloc[row])
        ]
    elif layer in ("valves", "regulators"):
        found += [
            _id(export, "mains", k) for k in rows_on(export, "mains", export.frame(layer).geometry.iloc[row])
        ]
    return found


def rows_on(export: Export, layer: str, shape: Any) -> list[int]:
    """Return the rows of a layer that touch a shape."""
    if layer not in export.layer_of:
        return []
    return [int(k) for k in np.flatnonzero(export.frame(layer).distance(shape) <= _TOUCH_M)]


def _id(export: Export, layer: str, row: int) -> str:
    return str(export.values(layer, "id").iloc[row])


def _customers_of(export: Export, services: set[str]) -> list[str]:
    if not export.has("customers", "service_id"):
        return []
    named = export.values("customers", "service_id").fillna("").astype(str)
    return [_id(export, "customers", k) for k, text in enumerate(named) if services & set(text.split(";"))]
