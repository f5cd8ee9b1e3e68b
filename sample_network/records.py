"""What the records say of each main: material, year, wall, joint, host, surface, depth."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from sample_network.mains import Main
from sample_network.roads import Road, quarter_of
from sample_network.sizing import Stretch

__all__ = ["write_records"]

_CAST_BORE: Final = {
    90: (122.0, 102.0),
    110: (122.0, 102.0),
    125: (149.0, 127.0),
    160: (177.0, 152.0),
    180: (177.0, 152.0),
}
_STEEL_BORE: Final = {125: (139.7, 131.7), 160: (168.3, 159.3), 180: (168.3, 159.3), 250: (273.0, 260.4)}
_ERAS: Final = {
    "core": (("cast_iron", 0.10), ("early", 0.07), ("pe80", 0.25), ("inserted", 0.10), ("pe100", 0.48)),
    "hillside": (("early", 0.12), ("pe80", 0.60), ("pe100", 0.28)),
    "northeast": (("pe80", 0.45), ("pe100", 0.55)),
    "west": (("cast_iron", 0.08), ("early", 0.10), ("pe80", 0.45), ("pe100", 0.37)),
    "southbank": (("pe80", 0.70), ("pe100", 0.30)),
    "trading estate": (("steel", 0.20), ("pe80", 0.25), ("pe100", 0.55)),
}
_RESINS: Final = {
    "early": "PE-A 1",
    "pe80": "PE80 yellow MD",
    "inserted": "PE80 yellow MD",
    "pe100": "PE100 orange HD",
}


def _pick(rng: np.random.Generator, shares: tuple[tuple[str, float], ...]) -> str:
    return str(rng.choice([n for n, _ in shares], p=[s for _, s in shares]))


def _pipe(era: str, od: int, rng: np.random.Generator) -> dict[str, Any]:
    """Return material and size columns for a main that needs a PE outside diameter of `od` [mm]."""
    if era == "cast_iron" and od in _CAST_BORE:
        outer, bore = _CAST_BORE[od]
        return {
            "material": "cast_iron",
            "od_mm": outer,
            "bore_mm": bore,
            "joint": "socket",
            "year": int(rng.integers(1926, 1962)),
        }
    if era == "steel" and od in _STEEL_BORE:
        outer, bore = _STEEL_BORE[od]
        return {
            "material": "steel",
            "od_mm": outer,
            "bore_mm": bore,
            "joint": "fusion",
            "year": int(rng.integers(1963, 1979)),
        }
    if era == "early":
        return {
            "material": "PE80",
            "od_mm": od,
            "sdr": 11.0 if od < 75 else 17.6,
            "joint": "fusion",
            "year": int(rng.integers(1976, 1985)),
        }
    if era in ("pe80", "inserted"):
        return {
            "material": "PE80",
            "od_mm": od,
            "sdr": 11.0 if od < 90 else 17.6,
            "joint": "fusion",
            "year": int(rng.integers(1987, 2002)),
        }
    sdr = 11.0 if od <= 75 else 21.0 if od >= 180 and rng.random() < 0.35 else 17.0
    return {
        "material": "PE100",
        "od_mm": od,
        "sdr": sdr,
        "joint": "fusion",
        "year": int(rng.integers(2002, 2024)),
    }


def write_records(mains: list[Main], roads: list[Road], rng: np.random.Generator) -> None:
    """Give every main its facts; a street is mostly of one age, with renewals here and there."""
    street_era: dict[int, str] = {}
    for main in mains:
        road = roads[main.road]
        quarter = quarter_of(road.nodes[len(road.nodes) // 2])
        if main.road not in street_era or rng.random() < 0.2:
            street_era[main.road] = _pick(rng, _ERAS[quarter])
        era = street_era[main.road]
        if main.od_mm >= 250 or _far_down(main):
            era = "pe100"
        facts = _pipe(era, int(main.od_mm), rng)
        inserted = era == "inserted" and facts["material"] == "PE80"
        facts["host"] = "iron" if inserted else "none"
        facts["resin"] = _RESINS.get(era, "")
        facts["street"] = road.name
        kind = road.kind
        shares = {
            "main": (0.25, 0.45, 0.3),
            "local": (0.1, 0.6, 0.3),
            "close": (0.15, 0.35, 0.5),
            "estate": (0.6, 0.2, 0.2),
        }[kind]
        facts["surface"] = str(rng.choice(["verge", "footway", "carriageway"], p=shares))
        facts["depth_m"] = round(
            float(rng.uniform(0.62, 0.95) + (0.15 if facts["surface"] == "carriageway" else 0)), 2
        )
        facts["mop_mbar"] = 75.0
        year = int(rng.integers(max(1998, facts["year"]), 2026))
        facts["record_date"] = f"{year}-{int(rng.integers(1, 13)):02d}-{int(rng.integers(1, 29)):02d}"
        if facts["joint"] == "fusion" and facts["material"] == "PE80" and rng.random() < 0.07:
            facts["joint"] = "mechanical"
        main.facts = facts


def _far_down(main: Main) -> bool:
    """Mains that carry much load were renewed in PE first."""
    load = max((s.load_m3h for s in main.stretches if isinstance(s, Stretch)), default=0.0)
    return load > 150.0
