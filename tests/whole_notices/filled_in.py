"""A notice list filled in at random, as spreadsheet or as the CSV files that office programs save."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl

__all__ = ["Filled", "fill_in"]

SHEET = "Mail merge"
FIRST = date(2027, 1, 4)


@dataclass(frozen=True)
class Filled:
    """A list as it comes back, and what stands in it: day told or None, and whether there was no access."""

    path: Path
    told: dict[str, tuple[date | None, bool]]


def fill_in(source: Path, stem: Path, rng: np.random.Generator) -> Filled:
    """Fill in some rows of a notice list and save it."""
    book = openpyxl.load_workbook(source)
    sheet = book[SHEET]
    column = {cell.value: k for k, cell in enumerate(sheet[1], 1)}
    told: dict[str, tuple[date | None, bool]] = {}
    for row in range(2, sheet.max_row + 1):
        point = str(sheet.cell(row, column["Meter point"]).value)
        draw = rng.random()
        day = FIRST + timedelta(days=int(rng.integers(0, 50))) if draw < 0.5 else None
        told[point] = (day, 0.5 <= draw < 0.7)
        if day is not None:
            as_text = rng.random() < 0.3
            sheet.cell(row, column["Told on"]).value = (
                day.isoformat() if as_text else datetime(*day.timetuple()[:3])
            )
            sheet.cell(row, column["Told by"]).value = "Ä. Müller"
            sheet.cell(row, column["How"]).value = "letter"
        elif told[point][1]:
            sheet.cell(row, column["No access"]).value = "yes"
    if rng.random() < 0.5:
        path = stem.with_suffix(".xlsx")
        book.save(path)
    else:
        path = stem.with_suffix(".csv")
        path.write_bytes(_as_csv(sheet, rng))
    return Filled(path, told)


def _as_csv(sheet: Any, rng: np.random.Generator) -> bytes:
    dots = bool(rng.random() < 0.5)
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=str(rng.choice([";", ",", "\t"])), lineterminator="\r\n")
    for row in sheet.iter_rows(values_only=True):
        writer.writerow([_text(cell, dots) for cell in row])
    return buffer.getvalue().encode(str(rng.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])))


def _text(cell: Any, dots: bool) -> str:
    if isinstance(cell, datetime):
        return f"{cell:%d.%m.%Y}" if dots else f"{cell:%Y-%m-%d}"
    return "" if cell is None else str(cell)
