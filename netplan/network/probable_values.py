"""What values are probable for their kind, and which mistaken unit would explain others.

A column whose median is improbable is most often in another unit than the one it is read in: it becomes a
finding.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from math import log, sqrt
from typing import Any, Final

import numpy as np
import pyarrow.compute as pc

from netplan.core.arrays import Flags, Floats
from netplan.core.findings import Severity
from netplan.core.sources import source
from netplan.core.units import factor
from netplan.network.finding_log import FindingLog
from netplan.network.flat_geometry import Lines
from netplan.network.normalise import NormalisedTable
from netplan.network.vocabulary import Category, Material, Status

__all__ = [
    "ProbableRange",
    "UnitExplanation",
    "notice_improbable",
    "notice_improbable_lengths",
    "probable_ranges",
    "unit_explanations",
]

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
_LOW_PRESSURE: Final = "lp"
_MOST_NAMED: Final = 3
_GAP: Final = 1.6
"""Values part where one is so many times the next smaller one (own) [-]."""
_LEAST_APART: Final = 3
_SHARE_APART: Final = 0.02
"""Of households at least so many, and so large a share, stand apart: single ones may be so (own)."""
_FIRST_PE_YEAR: Final = 1950.0
"""Before this no gas main was laid in polyethylene (from memory) [a]."""
_FIRST_YEAR: Final = 1850.0


@dataclass(frozen=True, slots=True)
class ProbableRange:
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
def probable_ranges() -> tuple[ProbableRange, ...]:
    """Return the range of every quantity of the contract."""
    text = resources.files("netplan.network").joinpath("probable_values.csv").read_text(encoding="utf-8")
    return tuple(
        ProbableRange(
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


def unit_explanations(value: float, probable: ProbableRange) -> tuple[UnitExplanation, ...]:
    """Return the mistaken units that explain a value, the one that brings it nearest the middle first.

    Parameters
    ----------
    value : float
        A median in the unit of the contract, as it was read.
    probable : ProbableRange
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


def notice_improbable(table: NormalisedTable, notes: FindingLog, part: str = "") -> None:
    """Notice each column of a layer whose median is improbable, or where a part stands apart.

    Only what is live counts; of stations, the pressures of those that feed low pressure; of customers, the
    households.

    Parameters
    ----------
    table : NormalisedTable
        Normalised layer, or a part of one.
    part : str
        What the part is called; empty for the whole layer.
    """
    for probable in probable_ranges():
        if probable.layer == table.name and probable.column in table.number:
            values = table.number[probable.column] / _share(table, probable.column)
            _notice(values, _counted(table, probable), probable, notes, part)
    if table.name == "mains" and not part:
        _notice_years(table, notes)


def notice_improbable_lengths(lines: Mapping[str, Lines], customers: int, notes: FindingLog) -> None:
    """Notice lengths that are improbable as metres: of services, and of mains for each customer.

    Parameters
    ----------
    lines : mapping
        Mains and services in the working CRS.
    customers : int
        Customers of the network.
    """
    for probable in probable_ranges():
        if probable.column == "geometry" and probable.layer in lines:
            some = lines[probable.layer]
            length = some.length_m[some.table.code["status"] == Status.LIVE]
            if probable.layer == "mains":
                length = np.full(customers, length.sum() / max(customers, 1))
            _notice(length, np.ones(len(length), dtype=bool), probable, notes)


def _share(table: NormalisedTable, column: str) -> Floats | float:
    """Return by how many meters a customer's figures are shared; 1 elsewhere."""
    is_shared = table.name == "customers" and column != "meters"
    return np.maximum(table.number["meters"], 1.0) if is_shared else 1.0


def _counted(table: NormalisedTable, probable: ProbableRange) -> Flags:
    if table.name == "customers":
        return np.asarray(table.code["category"] == Category.HOUSEHOLD)
    live = np.asarray(table.code["status"] == Status.LIVE)
    if probable.layer != "regulators" or probable.unit != "mbar":
        return live
    low = _is_low_pressure(table)
    return live & (~low if probable.of.startswith("other") else low)


def _is_low_pressure(table: NormalisedTable) -> Flags:
    same = pc.equal(pc.utf8_lower(table.text["system"].arrow), _LOW_PRESSURE)
    return np.asarray(pc.fill_null(same, False).to_numpy(zero_copy_only=False), dtype=bool)


def _notice(
    values: Floats, counted: Flags, probable: ProbableRange, notes: FindingLog, part: str = ""
) -> None:
    given = values[counted & (values > 0) & np.isfinite(values)]
    if len(given) < probable.least:
        return
    median = float(np.median(given))
    if not probable.holds(median):
        _add(f"the median of {len(given):,} {probable.of} is", median, probable, notes, part)
    elif probable.column != "geometry":
        for some, where in _stand_apart(given, probable):
            count = f"{len(some):,} of {len(given):,} {probable.of} stand apart {where}, their median is"
            _add(count, float(np.median(some)), probable, notes, part)


def _add(said: str, median: float, probable: ProbableRange, notes: FindingLog, part: str) -> None:
    named = "length" if probable.column == "geometry" else probable.column
    unit = f" {probable.unit.removesuffix('/a')}".rstrip()
    notes.add(
        probable.code,
        probable.layer,
        "",
        Severity.WARNING,
        f"{f'{part}: ' if part else ''}{named}: {said} "
        f"{_figure(median)}{unit}; probable is {_figure(probable.low)} to {_figure(probable.high)}{unit} "
        f"({source(probable.source).how}){_why(median, probable)}",
        _mend(probable),
    )


def _stand_apart(given: Floats, probable: ProbableRange) -> list[tuple[Floats, str]]:
    """Return values below and above the probable ones that a gap parts from them and a unit explains.

    So a column is that is kept in another unit for a part of the features.
    """
    least = max(1 if probable.least == 1 else _LEAST_APART, int(np.ceil(_SHARE_APART * len(given))))
    values, found = np.sort(given), []
    step = values[1:] / values[:-1]
    for is_apart, where in ((values[:-1] < probable.low, "below"), (values[1:] > probable.high, "above")):
        at = int(np.argmax(np.where(is_apart, step, 0.0))) if is_apart.any() else -1
        if at < 0 or step[at] < _GAP:
            continue
        some = values[: at + 1] if where == "below" else values[at + 1 :]
        if len(some) >= least and unit_explanations(float(np.median(some)), probable):
            found.append((some, where))
    return found


def _why(median: float, probable: ProbableRange) -> str:
    found = unit_explanations(median, probable)[:_MOST_NAMED]
    if not found:
        return "; no usual unit explains it" if probable.unit else ""
    each = [f"{_figure(one.factor)}: {one.unit} read as {one.read_as}" for one in found]
    return f"; the factor would be {', or '.join(each)}"


def _mend(probable: ProbableRange) -> str:
    if probable.column == "geometry":
        return "check the unit of the coordinates and the coordinate reference system"
    if not probable.unit:
        return f"check that {probable.column} is in the right column"
    return f"check the unit of {probable.column}; a mapping says it under columns.{probable.column}.unit"


def _figure(value: float) -> str:
    """Return three significant digits, or all of a whole number."""
    return f"{value:,.0f}" if value >= 1000 else f"{value:.3g}"


def _notice_years(table: NormalisedTable, notes: FindingLog) -> None:
    """Notice PE laid before there was any: mostly a year that stands for an unknown one."""
    year = table.number["year"]
    plastic = np.isin(table.code["material"], [kind for kind in Material if kind.is_pe])
    early = plastic & (table.code["status"] == Status.LIVE) & (year >= _FIRST_YEAR) & (year < _FIRST_PE_YEAR)
    if not early.any():
        return
    kinds, counts = np.unique(year[early], return_counts=True)
    most: Any = kinds[np.argmax(counts)]
    notes.add(
        "improbable-year",
        "mains",
        "",
        Severity.WARNING,
        f"year: {int(early.sum()):,} mains of PE are dated before {_FIRST_PE_YEAR:.0f}, mostly {most:.0f}; "
        "such a year often stands for an unknown one",
        "correct the year, or leave it empty; a mapping lists such codes under columns.year.empty",
    )
