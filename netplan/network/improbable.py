"""Columns whose median is improbable for their kind: most often another unit than the one it is read in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.findings import Severity
from netplan.network.lines import Lines
from netplan.network.normalise import Table
from netplan.network.notes import Notes
from netplan.network.probable import Range, explanations, probable_ranges
from netplan.network.words import Category, Material, Status
from netplan.sources import source

__all__ = ["notice_improbable", "notice_improbable_lengths"]

_LOW_PRESSURE: Final = "lp"
_MOST_NAMED: Final = 3
_FIRST_PE_YEAR: Final = 1950.0
"""Before this no gas main was laid in polyethylene (from memory) [a]."""
_FIRST_YEAR: Final = 1850.0

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def notice_improbable(table: Table, notes: Notes, part: str = "") -> None:
    """Notice each column of a layer whose median is improbable, with the factor that would mend it.

    Only what is live counts; of stations, the pressures of those that feed low pressure; of customers, the
    households.

    Parameters
    ----------
    table : Table
        Normalised layer, or a part of one.
    part : str
        What the part is called; empty for the whole layer.
    """
    for probable in probable_ranges():
        if probable.layer == table.name and probable.column in table.number:
            values = table.number[probable.column] / _share(table)
            _notice(values, _counted(table, probable), probable, notes, part)
    if table.name == "mains" and not part:
        _notice_years(table, notes)


def notice_improbable_lengths(lines: Mapping[str, Lines], customers: int, notes: Notes) -> None:
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


def _share(table: Table) -> Floats | float:
    """Return by how many meters a customer's figures are shared; 1 elsewhere."""
    return np.maximum(table.number["meters"], 1.0) if table.name == "customers" else 1.0


def _counted(table: Table, probable: Range) -> Flags:
    if table.name == "customers":
        return np.asarray(table.code["category"] == Category.HOUSEHOLD)
    live = np.asarray(table.code["status"] == Status.LIVE)
    if probable.layer != "regulators" or probable.unit != "mbar":
        return live
    low = _is_low_pressure(table)
    return live & (~low if probable.of.startswith("other") else low)


def _is_low_pressure(table: Table) -> Flags:
    same = pc.equal(pc.utf8_lower(table.text["system"].arrow), _LOW_PRESSURE)
    return np.asarray(pc.fill_null(same, False).to_numpy(zero_copy_only=False), dtype=bool)


def _notice(values: Floats, counted: Flags, probable: Range, notes: Notes, part: str = "") -> None:
    given = values[counted & (values > 0) & np.isfinite(values)]
    if len(given) < probable.least:
        return
    median = float(np.median(given))
    if probable.holds(median):
        return
    named = "length" if probable.column == "geometry" else probable.column
    unit = probable.unit.removesuffix("/a")
    notes.add(
        probable.code,
        probable.layer,
        "",
        Severity.WARNING,
        f"{f'{part}: ' if part else ''}{named}: the median of {len(given):,} {probable.of} is "
        f"{_figure(median)} {unit}; probable is {_figure(probable.low)} to {_figure(probable.high)} {unit} "
        f"({source(probable.source).how}){_why(median, probable)}",
        _mend(probable),
    )


def _why(median: float, probable: Range) -> str:
    found = explanations(median, probable)[:_MOST_NAMED]
    if not found:
        return "; no usual unit explains it"
    each = [f"{_figure(one.factor)}: {one.unit} read as {one.read_as}" for one in found]
    return f"; the factor would be {', or '.join(each)}"


def _mend(probable: Range) -> str:
    if probable.column == "geometry":
        return "check the unit of the coordinates and the coordinate reference system"
    return f"check the unit of {probable.column}; a mapping says it under columns.{probable.column}.unit"


def _figure(value: float) -> str:
    """Return three significant digits, or all of a whole number."""
    return f"{value:,.0f}" if value >= 1000 else f"{value:.3g}"


def _notice_years(table: Table, notes: Notes) -> None:
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
