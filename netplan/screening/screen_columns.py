"""The columns of a screen: one row a main."""

from __future__ import annotations

from typing import Any, Final

import pyarrow as pa

__all__ = ["EMPTY_ROW", "SCHEMA", "SEARCH_COLUMNS", "STOP_COLUMNS"]

SCHEMA: Final = pa.schema(
    [
        ("main_id", pa.string()),
        ("street", pa.string()),
        ("system", pa.string()),
        ("material", pa.string()),
        ("od_mm", pa.float64()),
        ("length_m", pa.float64()),
        ("work_from_m", pa.float64()),
        ("work_to_m", pa.float64()),
        ("outcome", pa.string()),
        ("reason", pa.string()),
        ("ends_customers", pa.int64()),
        ("ends_meters", pa.int64()),
        ("ends_priority", pa.int64()),
        ("customers", pa.int64()),
        ("meters", pa.int64()),
        ("priority", pa.int64()),
        ("isolated", pa.int64()),
        ("stranded", pa.int64()),
        ("weak", pa.int64()),
        ("stops", pa.int64()),
        ("stop_methods", pa.string()),
        ("zone_length_m", pa.float64()),
        ("gas_m3", pa.float64()),
        ("burden_least", pa.float64()),
        ("burden_without_feeds", pa.float64()),
        ("least_pressure_mbar", pa.float64()),
        ("least_pressure_at", pa.string()),
        ("bypass", pa.string()),
        # Not for people: what the search for better places needs.
        ("row", pa.int64()),
        ("stop_chains", pa.list_(pa.int32())),
        ("looked_at", pa.list_(pa.int32())),
    ]
)
"""Lengths in m, pressures in mbar gauge, gas in m³ at 15 °C and 101.325 kPa, burdens in the rules' currency.

``ends_*``: lost when the main is cut at its two ends. ``customers``, ``meters``, ``priority``: without gas
with the best stops and no feed; ``isolated`` in the zone, ``stranded`` beyond it, ``weak`` below the least
pressure. ``bypass``: "no", "yes" (somebody would go off without a feed), "must" (a priority customer would),
"not solved", or "" where pressures were not asked for.
"""

SEARCH_COLUMNS: Final = ("row", "stop_chains", "looked_at")

STOP_COLUMNS: Final = (
    "work_from_m",
    "work_to_m",
    "outcome",
    "reason",
    "customers",
    "meters",
    "priority",
    "isolated",
    "stranded",
    "weak",
    "stops",
    "stop_methods",
    "zone_length_m",
    "gas_m3",
    "burden_least",
    "burden_without_feeds",
    "least_pressure_mbar",
    "least_pressure_at",
    "bypass",
)
"""Left out of a screen without the stops of planned work."""


EMPTY_ROW: Final[dict[str, Any]] = dict.fromkeys(SCHEMA.names) | {
    **dict.fromkeys(("outcome", "reason", "stop_methods", "least_pressure_at", "bypass"), ""),
    "stop_chains": (),
    "looked_at": (),
}
"""A row without any figure."""
