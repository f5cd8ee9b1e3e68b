"""The columns of a screen: one row a main."""

from __future__ import annotations

from typing import Any, Final

import pyarrow as pa

__all__ = ["EMPTY_ROW", "PLAN_COLUMNS", "SCHEMA", "SEARCH_COLUMNS", "STOP_COLUMNS"]

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
        ("plan_outcome", pa.string()),
        ("plan_reason", pa.string()),
        ("plan_burden", pa.float64()),
        ("plan_burden_bound", pa.float64()),
        ("plan_proven", pa.string()),
        ("plan_customers", pa.int64()),
        ("plan_meters", pa.int64()),
        ("plan_stops", pa.int64()),
        ("plan_stop_methods", pa.string()),
        ("plan_bypasses", pa.int64()),
        ("plan_hoses", pa.int64()),
        ("plan_feeds_m", pa.float64()),
        ("plan_feed_bores", pa.string()),
        ("plan_opened", pa.int64()),
        ("plan_opened_valves", pa.string()),
        ("plan_least_pressure_mbar", pa.float64()),
        ("plan_least_pressure_at", pa.string()),
        ("plan_gas_back_h", pa.float64()),
        ("plan_relit_h", pa.float64()),
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

``plan_*``: of the best option of a plan of the same work, where it was asked for. ``plan_outcome``: "plan
stands", "no plan possible" (proven), "not settled" (``plan_reason`` says why for both).
``plan_burden_bound``: no other option is below it. ``plan_feeds_m``: bypasses and hoses together.
``plan_gas_back_h``: hours from the start of the window until the last stop is out; ``plan_relit_h``: until
the last meter that was off is relit.
"""

PLAN_COLUMNS: Final = tuple(name for name in SCHEMA.names if name.startswith("plan_"))
"""Left out of a screen that prices no best option."""

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


_TEXTS: Final = (
    *("outcome", "reason", "stop_methods", "least_pressure_at", "bypass"),
    *("plan_outcome", "plan_reason", "plan_proven", "plan_stop_methods", "plan_feed_bores"),
    *("plan_opened_valves", "plan_least_pressure_at"),
)
EMPTY_ROW: Final[dict[str, Any]] = dict.fromkeys(SCHEMA.names) | {
    **dict.fromkeys(_TEXTS, ""),
    "stop_chains": (),
    "looked_at": (),
}
"""A row without any figure."""
