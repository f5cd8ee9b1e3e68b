"""Which changes leave no trace in the data, decided from the changed export alone, before it is planned on.

Shares no code with the reader of the program. Each rule says why nobody could tell from the data.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pandas as pd

from tests.list_safety.mutant import Mutant

__all__ = ["RULES", "traceless"]

_REACH_M: Final = 5.0
"""Meter points lie up to so far from the end of their service: nearer than this, any of two ends is likely [m]."""
_CORNER_M: Final = 60.0
"""So near to its own street a house may well stand among those of another one (own) [m]."""
_NEIGHBOURS: Final = 6
_PROBABLE: Final = {
    "annual_kwh": (3000.0, 40000.0),
    "peak_kw": (3.0, 60.0),
    "outlet_mbar": (15.0, 110.0),
    "max_outlet_mbar": (20.0, 500.0),
    "mop_mbar": (20.0, 16000.0),
    "od_mm": (20.0, 1200.0),
    "bore_mm": (12.0, 1200.0),
    "wall_mm": (1.5, 60.0),
    "depth_m": (0.3, 2.5),
    "capacity_m3h": (5.0, 100000.0),
}
"""What a figure of each kind may well be (common practice); households by the year, low pressure."""
_ON_MAINS: Final = ("valves", "fittings", "regulators", "sensing_points")
_ROUGH_M: Final = 0.5
"""How far a thing may be drawn beside its main and still be meant to lie on it [m]."""


def traceless(mutant: Mutant) -> str:
    """Return by which rule a change leaves no trace; empty where it leaves one."""
    for name, rule in RULES.items():
        if rule(mutant):
            return name
    return ""


def _frame(mutant: Mutant, layer: str) -> Any:
    return mutant.after.frame(layer)


def _like_neighbours(mutant: Mutant) -> bool:
    """Two customers swapped whose services end so near to both that either may be theirs."""
    if mutant.change.kind not in ("swap two service ids", "swap two places"):
        return False
    return all(_gap_m(mutant, row) <= _REACH_M for row in mutant.change.rows)


def _gap_m(mutant: Mutant, row: int) -> float:
    """Return how far a customer lies from the nearest of the services it names, or from any it lies by."""
    export = mutant.after
    place = _frame(mutant, "customers").geometry.iloc[row]
    services = _frame(mutant, "services")
    named = [s for s in str(export.values("customers", "service_id").iloc[row] or "").split(";") if s]
    mine = services[export.values("services", "id").astype(str).isin(named)] if named else services
    return float(mine.distance(place).min()) if len(mine) else np.inf


def _by_own_street(mutant: Mutant, row: int) -> bool:
    """Return whether a customer stands as near to others of its street as a house at a corner does."""
    export = mutant.after
    places = _frame(mutant, "customers").geometry
    gap = places.distance(places.iloc[row]).to_numpy()
    streets = export.values("customers", "street").astype(str).to_numpy()
    own = np.flatnonzero((streets == streets[row]) & (np.arange(len(streets)) != row))
    return not len(own) or float(gap[own].min()) <= max(_CORNER_M, 3.0 * float(np.sort(gap)[_NEIGHBOURS]))


def _by_street(mutant: Mutant) -> bool:
    """Each of two whole addresses that were swapped stands by its own street: numbers need no order."""
    if mutant.change.kind not in ("swap two addresses", "swap two places"):
        return False
    export, rows = mutant.after, list(mutant.change.rows)
    if mutant.change.kind == "swap two places":
        named = [str(v or "") for v in export.values("customers", "service_id").iloc[rows]]
        if any(named):
            return False
    elif not mutant.change.words.endswith("postcode") and export.has("customers", "street"):
        return False
    if not export.has("customers", "street"):
        return True
    return all(_by_own_street(mutant, row) for row in rows)


def _dropped_pair(mutant: Mutant) -> bool:
    """Nothing else in the data knows of a customer that is left out with its service."""
    return mutant.change.kind == "drop a pair"


def _nothing_points_at(mutant: Mutant) -> bool:
    """No other feature names or touches a feature that is left out."""
    if mutant.change.kind != "drop a feature":
        return False
    layer, row = mutant.change.rows
    before = mutant.before
    shape = before.frame(layer).geometry.iloc[row]
    if layer in ("valves", "fittings", "keep_out"):
        return True
    if layer == "regulators":
        names = (
            before.values("sensing_points", "station_id")
            if before.has("sensing_points", "station_id")
            else []
        )
        return str(before.values("regulators", "id").iloc[row]) not in {str(v) for v in names}
    if layer == "services":
        name = str(before.values("services", "id").iloc[row])
        named = before.values("customers", "service_id").fillna("").astype(str)
        return not any(name in text.split(";") for text in named) and not _touched(before, "customers", shape)
    if layer == "mains":
        return not any(_touched(before, other, shape) for other in ("services", "valves", "regulators"))
    return False


def _touched(export: Any, layer: str, shape: Any) -> bool:
    return layer in export.layer_of and bool((export.frame(layer).distance(shape) <= _ROUGH_M).any())


def _still_on_its_main(mutant: Mutant) -> bool:
    """Points moved along their main lie on it as well as before."""
    if mutant.change.kind != "shift a feature" or mutant.change.rows[0] not in _ON_MAINS:
        return False
    layer, row, _ = mutant.change.rows
    mains = mutant.after.frame("mains")
    before, after = (export.frame(layer).geometry.iloc[row] for export in (mutant.before, mutant.after))
    nearest = mains.distance(before).to_numpy().argmin()
    return float(mains.distance(after).to_numpy()[nearest]) <= _ROUGH_M


def _whole_value(mutant: Mutant) -> bool:
    """All features of a value left out, and none of them is named or touched by what is left."""
    if mutant.change.kind != "drop all of a value":
        return False
    layer, rows = mutant.change.rows
    if layer == "valves":
        return True
    if layer == "mains":
        shapes = mutant.before.frame(layer).geometry.iloc[list(rows)]
        return not any(
            _touched(mutant.after, other, shapes.union_all())
            for other in ("services", "valves", "regulators")
        )
    return False


def _like_values(mutant: Mutant) -> bool:
    """Two figures, words or ids of one column swapped, of which either feature may well have either."""
    if mutant.change.kind != "swap two values":
        return False
    layer, column, one, other = mutant.change.rows
    export = mutant.after
    if (layer, column) in (("customers", "priority"), ("customers", "category")) and export.has(
        layer, "priority_note"
    ):
        notes = export.values(layer, "priority_note").iloc[[one, other]].fillna("").astype(str)
        return column != "priority" or not any(notes)
    if (layer, column) == ("services", "id"):
        return False
    if (layer, column) in (("mains", "status"), ("mains", "system")):
        shapes = export.frame("mains").geometry
        return not any(_touched(export, "services", shapes.iloc[row]) for row in (one, other))
    return True


def _probable(mutant: Mutant) -> bool:
    """Figures in another unit that are as probable as the right ones."""
    if mutant.change.kind not in ("a column in another unit", "part of a column in another unit"):
        return False
    layer, column, rows, _ = mutant.change.rows
    values = pd.to_numeric(mutant.after.values(layer, column), errors="coerce").to_numpy(float)[list(rows)]
    unit = (
        1000.0
        if mutant.after.mapping and column in ("annual_kwh", "mop_mbar", "outlet_mbar", "max_outlet_mbar")
        else 1.0
    )
    if column in ("annual_kwh", "peak_kw") and mutant.after.has(layer, "category"):
        kinds = mutant.after.values(layer, "category").iloc[list(rows)].astype(str)
        values = values[(kinds == "household").to_numpy()]
    low, high = _PROBABLE[column]
    values = values[np.isfinite(values)] * unit
    return not len(values) or low <= float(np.median(values)) <= high


RULES: Final[dict[str, Callable[[Mutant], bool]]] = {
    "like neighbours": _like_neighbours,
    "by its own street": _by_street,
    "a dropped pair": _dropped_pair,
    "nothing points at it": _nothing_points_at,
    "still on its main": _still_on_its_main,
    "all of a value": _whole_value,
    "like values": _like_values,
    "a probable figure": _probable,
}
