"""The town behind the exports: what is true, in the words of the contract, and what is asked of it.

Two rows of streets joined by four cross streets, a close with the work, a second close, a main of higher
pressure, an abandoned and a proposed one, closed valves; about ninety customers. The seed moves the houses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

import geopandas as gpd
import numpy as np
from shapely.affinity import translate
from shapely.geometry import box

from tests.support.networks import (
    EAST_M,
    NORTH_M,
    XY,
    Row,
    customer,
    fitting,
    keep_out,
    layers,
    line,
    main,
    sensing_point,
    service,
    station,
    valve,
)

__all__ = ["WORK", "Frames", "Town", "true_town"]

Frames = dict[str, gpd.GeoDataFrame]

WORK: Final = ("M11", 28.0, 46.0)
"""Main and section that the plans are asked for: in the close; the care home is beyond it."""

_STREETS: Final[dict[str, tuple[XY, XY, int]]] = {
    "M01": ((0, 0), (100, 0), 0),
    "M02": ((100, 0), (200, 0), 0),
    "M03": ((200, 0), (300, 0), 0),
    "M04": ((0, 120), (100, 120), 1),
    "M05": ((100, 120), (200, 120), 1),
    "M06": ((200, 120), (300, 120), 1),
    "M07": ((0, 0), (0, 120), 2),
    "M08": ((100, 0), (100, 120), 3),
    "M09": ((200, 0), (200, 120), 4),
    "M10": ((300, 0), (300, 120), 5),
    "M11": ((200, 120), (200, 210), 6),
    "M12": ((100, 120), (100, 190), 7),
}
"""Ends of each live low-pressure main, and the number of its street."""

_PRIORITY: Final = {
    ("M11", 3): ("care_home", "night desk at the side door"),
    ("M12", 2): ("medical", "oxygen at home"),
    ("M05", 2): ("school", "caretaker has the key"),
    ("M03", 1): ("hospital", "ask for the duty engineer"),
}
"""Priority and note by main and number of the house on it."""

_CATEGORIES: Final = ("household",) * 7 + ("business", "public", "industry")


@dataclass
class Town:
    """Rows by layer of the contract."""

    rows: dict[str, list[Row]] = field(default_factory=dict)

    def layers(self) -> Frames:
        """Return the raw layers of the contract."""
        given: dict[str, Any] = self.rows
        return layers(**given) | _base_map()


def true_town(seed: int, streets: tuple[str, ...]) -> Town:
    """Return the town of a seed.

    Parameters
    ----------
    streets : tuple of str
        Names of its eight streets.
    """
    rng = np.random.default_rng([17, seed])
    town = Town({name: [] for name in ("mains", "services", "customers")})
    for ident, (start, end, street) in _STREETS.items():
        wide = ident in ("M01", "M02", "M03")
        town.rows["mains"].append(
            main(
                ident,
                start,
                end,
                od_mm=160.0 if wide else 110.0,
                wall_mm=14.6 if wide else 10.0,
                street=streets[street],
                status="live",
                surface=("footway", "carriageway", "verge")[int(rng.integers(3))],
                year=float(rng.integers(1984, 2020)),
                joint="fusion",
                system="LP",
            )
        )
        _houses(town, ident, streets[street], rng)
    town.rows["mains"] += _other_mains(streets)
    town.rows |= _points()
    return town


def _houses(town: Town, ident: str, street: str, rng: np.random.Generator) -> None:
    """Put houses along a main, on both sides in turn."""
    (x0, y0), (x1, y1), _ = _STREETS[ident]
    span = math.hypot(x1 - x0, y1 - y0)
    east, north = (x1 - x0) / span, (y1 - y0) / span
    along, number = 30.0 + float(rng.uniform(0, 2)) if ident == "M11" else 14.0, 0
    while along < span - 12.0:
        number += 1
        side = 1.0 if number % 2 else -1.0
        name = f"S{len(town.rows['services']) + 1:03d}"
        tap = (x0 + along * east, y0 + along * north)
        end = (tap[0] - side * 8.0 * north, tap[1] + side * 8.0 * east)
        town.rows["services"].append(
            service(name, tap, end, wall_mm=3.0, status="live", system="LP", excess_flow_valve="yes")
        )
        for flat in range(3 if (ident, number) == ("M11", 4) else 1):
            priority, note = _PRIORITY.get((ident, number), (None, None))
            town.rows["customers"].append(
                customer(
                    f"C{len(town.rows['customers']) + 1:03d}",
                    (end[0] + 0.3 * flat, end[1]),
                    address=f"{number}{' abc'[flat].strip()} {street}",
                    street=street,
                    number=f"{number}{' abc'[flat].strip()}",
                    category=_CATEGORIES[int(rng.integers(len(_CATEGORIES)))],
                    annual_kwh=float(rng.integers(9_000, 26_000)),
                    meters=1.0,
                    service_id=name,
                    priority=priority,
                    priority_note=note,
                )
            )
        along += float(rng.uniform(9.5, 13.5))


def _other_mains(streets: tuple[str, ...]) -> list[Row]:
    more = {"wall_mm": 10.0, "surface": "verge", "year": 2004.0, "joint": "fusion"}
    iron = {"od_mm": 118.0, "sdr": None, "wall_mm": 9.0, "joint": "socket", "year": 1931.0}
    return [
        main("M13", (0, -6), (310, -6), system="MP", status="live", street=streets[0], **more),
        main("M14", (5, 2.5), (195, 2.5), material="cast_iron", system="LP", status="abandoned")
        | {"street": streets[0], "surface": "carriageway", **iron},
        main("M15", (300, 120), (300, 200), system="LP", status="proposed", street=streets[5], **more),
    ]


def _points() -> dict[str, list[Row]]:
    return {
        "regulators": [
            station("R1", (0, 0), capacity_m3h=500.0, system="LP", status="live"),
            station("R2", (300, 120), capacity_m3h=400.0, system="LP", status="live"),
            station("R3", (310, -6), outlet_mbar=1000.0, max_outlet_mbar=1400.0, capacity_m3h=2000.0)
            | {"system": "MP", "status": "live"},
        ],
        "sensing_points": [sensing_point("R1", (6, 0)), sensing_point("R2", (294, 120))],
        "valves": [
            valve("V1", (150, 0), system="LP"),
            valve("V2", (300, 60), "closed", system="LP"),
            valve("V3", (50, 120), "unknown", operable="unknown", system="LP"),
            valve("V4", (5, 0), system="LP"),
            valve("V5", (200, 126), operable="no", system="LP"),
            valve("V6", (100, 60), "closed", system="LP"),
        ],
        "fittings": [
            fitting("F1", (100, 0), "tee", system="LP"),
            fitting("F2", (250, 0), "coupler", system="LP"),
            fitting("F3", (200, 210), "cap", system="LP"),
            fitting("F4", (100, 190), "cap", system="LP"),
            fitting("F5", (0, 120), "elbow", system="LP"),
            fitting("F6", (200, 160), "squeeze_mark", system="LP"),
        ],
        "keep_out": [keep_out("oak roots", (196, 206), (204, 206), (204, 214), (196, 214))],
    }


def _base_map() -> Frames:
    """Return streets and buildings, drawn and nothing else."""
    ways = [line(start, end) for start, end, _ in _STREETS.values()]
    houses = [box(x, 14, x + 8, 22) for x in range(20, 280, 40)]
    moved = [translate(shape, EAST_M, NORTH_M) for shape in houses]
    crs = "EPSG:31467"
    return {
        "streets": gpd.GeoDataFrame({"name": [f"way {k}" for k in range(len(ways))]}, geometry=ways, crs=crs),
        "buildings": gpd.GeoDataFrame(
            {"name": [f"house {k}" for k in range(len(moved))]}, geometry=moved, crs=crs
        ),
    }
