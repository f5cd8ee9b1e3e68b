"""What values are probable for their kind, and which mistaken unit would explain others."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from math import log, sqrt
from typing import Final

from netplan.core.units import factor

__all__ = ["Range", "UnitExplanation", "explanations", "probable_ranges"]

_KWH_PER_M3: Final = 10.5
"""Energy of natural gas as a round figure, to tell volumes from energy (example) [kWh/m3]."""

_OTHERS: Final[dict[str, tuple[tuple[str, str, float], ...]]] = {
    "mm": (("in", "inch", 1), ("cm", "cm", 1), ("m", "m", 1), ("ft", "foot", 1)),
    "m": (("ft", "foot", 1), ("in", "inch", 1), ("cm", "cm", 1), ("mm", "mm", 1), ("km", "km", 1)),
    "mbar": (
        ("bar", "bar", 1),
        ("psi", "psi", 1),
        ("inH2O", "inH2O_trade", 1),
        ("kPa", "kPa", 1),
        ("Pa", "Pa", 1),
        ("mmH2O", "mmH2O_trade", 1),
    ),
    "kWh/a": (
        ("therms", "therm", 1),
        ("MWh", "MWh", 1),
        ("MMBtu", "BTU", 1e6),
        ("GJ", "GJ", 1),
        ("MJ", "MJ", 1),
        ("Wh", "Wh", 1),
        ("m3 of gas", "kWh", _KWH_PER_M3),
        ("100 ft3 of gas", "kWh", _KWH_PER_M3 * 2.8316846592),
    ),
    "kW": (("BTU/h", "BTU/hour", 1), ("MBH", "BTU/hour", 1000), ("W", "W", 1), ("MW", "MW", 1)),
    "m3/h": (("ft3/h", "foot**3/hour", 1), ("1000 ft3/h", "foot**3/hour", 1000)),
}
"""Units that records are kept in besides that of the contract: name, unit of pint, how many of it."""


@dataclass(frozen=True, slots=True)
class Range:
    """What the median of a column lies in where its unit is right.

    Parameters
    ----------
    code : str
        Code of the finding where it does not.
    layer, column, unit : str
        Column of the contract with its unit; ``geometry`` for lengths.
    of : str
        Features that count.
    low, high : float
        The range, in the unit.
    least : int
        Fewer features say nothing.
    source : str
        Key of `netplan.core.sources`.
    """

    code: str
    layer: str
    column: str
    unit: str
    of: str
    low: float
    high: float
    least: int
    source: str

    def holds(self, value: float) -> bool:
        """Return whether a value lies in the range."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class UnitExplanation:
    """A mistaken unit: times `factor` the values are probable, because `unit` was read as `read_as`."""

    factor: float
    unit: str
    read_as: str


@lru_cache(maxsize=1)
def probable_ranges() -> tuple[Range, ...]:
    """Return the range of every quantity of the contract."""
    text = resources.files("netplan.network").joinpath("improbable.csv").read_text(encoding="utf-8")
    return tuple(
        Range(
            row["code"],
            row["layer"],
            row["column"],
            row["unit"],
            row["of"],
            float(row["low"]),
            float(row["high"]),
            int(row["least"]),
            row["source"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def explanations(value: float, probable: Range) -> tuple[UnitExplanation, ...]:
    """Return the mistaken units that explain a value, the one that brings it nearest the middle first.

    Parameters
    ----------
    value : float
        A median in the unit of the contract, as it was read.
    probable : Range
        What it should lie in.
    """
    own = probable.unit.removesuffix("/a")
    found = []
    for name, unit, count in _OTHERS.get(probable.unit, ()):
        times = count * factor(unit, {"m3/h": "meter**3/hour"}.get(own, own))
        found.append(UnitExplanation(times, name, own))
        found.append(UnitExplanation(1.0 / times, own, name))
    middle = sqrt(probable.low * probable.high)
    good = [each for each in found if probable.holds(value * each.factor)]
    return tuple(sorted(good, key=lambda each: (abs(log(value * each.factor / middle)), each.unit)))
