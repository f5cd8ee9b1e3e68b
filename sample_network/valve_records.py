"""What the records say of a valve for the hand that turns it: invented, and of some valves nothing."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely

from sample_network.mains import Main

__all__ = ["write_valve_records"]

SEED: Final = 921
_COVERS: Final = ("round surface box", "square surface box", "chamber, two lids")
_REMARKS: Final = {
    "V005": "Box lies under a bench: the bench lifts off.",
    "V011": "Second box is the water company's.",
    "V016": "Key needs an extension of 0.5 m.",
}
_SIZES_MM: Final = (80.0, 100.0, 150.0, 200.0, 250.0, 300.0)
_TURNS_PER_MM: Final = {"wedge": 0.14, "ball": 0.0}
_NOTHING_KNOWN: Final = 0.2
"""Share of the valves whose records say no more than they must."""


def write_valve_records(valves: list[dict[str, Any]], mains: list[Main]) -> None:
    """Write turns, direction, cover, last operation, size and remarks into the rows of valves."""
    rng = np.random.default_rng(SEED)
    live = [main for main in mains if main.status == "live"]
    for row in valves:
        main = min(live, key=lambda one: float(one.line.distance(shapely.Point(row["geometry"]))))
        size = min(_SIZES_MM, key=lambda mm: abs(mm - 0.85 * main.od_mm))
        is_ball, share, year, month, cover = (
            rng.random() < 0.3,
            rng.random(),
            int(rng.integers(2009, 2026)),
            int(rng.integers(1, 13)),
            _COVERS[int(rng.integers(len(_COVERS)))],
        )
        if share < _NOTHING_KNOWN:
            continue
        kind = "ball" if is_ball else "wedge"
        row["turns_to_close"] = max(0.25, round(_TURNS_PER_MM[kind] * size))
        row["closing_direction"] = "anticlockwise" if share > 0.9 else "clockwise"
        row["cover_type"] = cover
        row["size_mm"] = size
        if row["operable"] != "unknown":
            row["last_operated"] = f"{year}-{month:02d}"
        row["remark"] = _REMARKS.get(row["id"], "")
