"""The safe mends, one after another."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pyarrow.compute as pc

from netplan.core.errors import BadNetworkError
from netplan.network.build import build_network
from netplan.network.contract import BASE_LAYERS
from netplan.network.normalise import column_text
from netplan.network.raw_layers import RawLayer
from netplan.network.repair.changes import Change, Mended
from netplan.network.repair.duplicates import without_doubles, without_repeated_rows
from netplan.network.repair.snapping import snap_ends

__all__ = ["SNAP_M", "mend"]

SNAP_M: Final = 0.5
"""Ends are drawn up to a main within this distance unless told otherwise (own) [m]."""

_ROUNDS: Final = 4
"""Drawing an end up may turn its last length a little away from another end that was drawn up to it."""

_DOUBLES: Final = ("mains", "services", "valves", "fittings")


def mend(layers: Mapping[str, RawLayer], snap_m: float = SNAP_M) -> Mended:
    """Return layers with everything mended that is safe.

    Rows that repeat another one, and features that equal another one in all but the id, are left out; loose
    ends within `snap_m` [m] of exactly one main of their system are drawn up to it.

    Raises
    ------
    BadNetworkError
        When the layers cannot be joined at all, so that no end can be judged.
    """
    result = dict(layers)
    changes: list[Change] = []
    left: list[Change] = []
    for name, layer in layers.items():
        if name not in BASE_LAYERS:
            result[name], some = without_repeated_rows(layer)
            changes += some
    referred = _referred(result)
    for name in _DOUBLES:
        if name in result:
            ids = referred if name == "services" else frozenset()
            result[name], some, stay = without_doubles(result[name], ids)
            changes += some
            left += stay
    for _ in range(_ROUNDS):
        try:
            network = build_network(result, strict=False)
        except BadNetworkError as error:
            raise BadNetworkError(f"nothing can be mended before this: {error}", error.findings) from None
        result, drawn, alone = snap_ends(result, network, snap_m)
        changes += drawn
        if not drawn:
            break
    left += alone
    return Mended(result, tuple(sorted(changes, key=_key)), tuple(sorted(left, key=_key)))


def _key(change: Change) -> tuple[str, str, str, str]:
    return change.layer, change.feature_id, change.code, change.what


def _referred(layers: Mapping[str, RawLayer]) -> frozenset[str]:
    customers = layers.get("customers")
    if customers is None or "service_id" not in customers.columns.column_names:
        return frozenset()
    names = pc.list_flatten(pc.split_pattern(column_text(customers.columns["service_id"]).arrow, ";"))
    return frozenset(np.asarray(pc.utf8_trim_whitespace(names).unique().to_numpy(zero_copy_only=False)))
