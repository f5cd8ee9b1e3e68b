"""What a random town is drawn with: its rows so far, its pressure areas, and the make of its mains."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np

from tests.support.networks import XY, Row, layers, main

__all__ = ["Draw", "Town", "Work", "at", "length"]

Work = tuple[str, float, float]

OUTLETS_MBAR = ((30, 30), (30, 31), (30, 45), (30, 75), (27, 30), (45, 48))
SIZES_MM = ((63, 90, 110, 110, 125, 125, 160, 180), (90, 110, 110, 110, 125))
SURFACES = ("verge", "footway", "carriageway", "unmade", None)
CATEGORIES = ("household", "household", "household", "household", "business", "public", "industry")


@dataclass
class Town:
    """A town and what is asked of it.

    Parameters
    ----------
    seed : int
    rows : dict
        Rows by layer name.
    work : tuple of (main, from, to)
    rules : dict
        Over the shipped ones.
    air_temp_c : float
    own_supply : tuple of str
        Priority customers with a supply of their own.
    kinds : set of str
        What the town holds, to count what the seeds cover.
    """

    seed: int
    rows: dict[str, list[Row]] = field(default_factory=dict)
    work: tuple[Work, ...] = ()
    rules: dict[str, Any] = field(default_factory=dict)
    air_temp_c: float = 0.0
    own_supply: tuple[str, ...] = ()
    kinds: set[str] = field(default_factory=set)

    def layers(self) -> dict[str, gpd.GeoDataFrame]:
        """Return the raw layers that hold something."""
        filled: dict[str, Any] = {name: rows for name, rows in self.rows.items() if rows}
        return layers(**filled)


class Draw:
    """Draws one town; `rng` decides everything."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([16, seed])
        self.town = Town(seed)
        self.rows = self.town.rows
        for name in ("mains", "services", "customers", "regulators", "sensing_points", "valves", "fittings"):
            self.rows[name] = []
        self.rows["injections"], self.rows["keep_out"] = [], []
        self.areas = int(self.rng.choice([1, 2, 2, 2, 3]))
        self.across, self.up = int(self.rng.integers(3, 5)), int(self.rng.integers(2, 4))
        self.x = np.cumsum(self.rng.uniform(45, 95, self.across)).round(2)
        self.y = np.cumsum(self.rng.uniform(40, 90, self.up)).round(2)
        self.shadow = self.chance(0.25)
        """Whether the mains record year, resin and joint badly."""
        self.rated = self.chance(0.4)
        outlets = OUTLETS_MBAR[int(self.rng.integers(len(OUTLETS_MBAR)))]
        self.outlet = [float(outlets[a % 2]) for a in range(self.areas)]
        self.mop = [self.pick((50.0, 60.0, 75.0, 100.0)) for _ in range(self.areas)]
        self.mop = [max(mop, out + 5.0) for mop, out in zip(self.mop, self.outlet, strict=True)]
        self.kind = self.pick(("tree", "tree", "mixed", "mixed", "ring"))
        """Trees strand tails that want a feed; rings are laid narrow and carry much, so that parts go weak."""
        self.missing = {"tree": 0.36, "mixed": 0.17, "ring": 0.04}[self.kind]
        self.line: dict[str, tuple[XY, XY]] = {}
        """Ends of each straight main."""
        self.area_of: dict[str, int] = {}

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def pick(self, some: Any) -> Any:
        return some[int(self.rng.integers(len(some)))]

    def area(self, column: int) -> int:
        """Return the pressure area of a column of crossings: the areas lie side by side."""
        return min(column * self.areas // self.across, self.areas - 1)

    def lay(self, start: XY, end: XY, area: int, **columns: Any) -> str:
        """Lay a main of the drawn make and return its id."""
        ident = f"M{len(self.rows['mains']):03d}"
        self.rows["mains"].append(main(ident, start, end, **(self.make(area) | columns)))
        self.line[ident] = (start, end)
        self.area_of[ident] = area
        return ident

    def make(self, area: int) -> dict[str, Any]:
        """Draw material, size and records of a main."""
        made: dict[str, Any] = {"od_mm": float(self.pick(SIZES_MM[self.kind == "ring"]))}
        # The wall is recorded, so that nobody has to work it out from a ratio.
        made |= {"sdr": None, "wall_mm": round(made["od_mm"] / 11.0, 1)}
        made["material"] = self.pick(("PE100", "PE100", "PE80"))
        made["joint"] = "fusion"
        if self.chance(0.04):
            made |= {"material": "cast_iron", "od_mm": 118.0, "wall_mm": 9.0, "joint": "socket"}
        elif self.shadow:
            made["joint"] = self.pick(("fusion", "fusion", "fusion", "fusion", "unknown", "mechanical"))
        made["year"] = (
            None if self.chance(0.25 if self.shadow else 0.04) else int(self.rng.integers(1983, 2022))
        )
        made["surface"], made["street"] = self.pick(SURFACES), f"Street {int(self.rng.integers(1, 9))}"
        made["mop_mbar"] = self.mop[area] if self.rated else None
        made["host"] = "iron" if self.chance(0.015) else "none"
        return made


def at(line: tuple[XY, XY], share: float) -> XY:
    """Return the place at a share of a line."""
    (x0, y0), (x1, y1) = line
    return (x0 + share * (x1 - x0), y0 + share * (y1 - y0))


def length(line: tuple[XY, XY]) -> float:
    """Return the length of a line [m]."""
    return math.dist(*line)
