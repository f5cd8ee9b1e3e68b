"""Tables of a workbook: cells by kind, so that dates and times are real ones and text is never a formula."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import Enum
from pathlib import Path
from typing import Any, Final

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from netplan.core.work_window import FIRST_YEAR, LAST_YEAR

__all__ = [
    "CellFormats",
    "CellKind",
    "SheetColumn",
    "column_letter",
    "column_range",
    "new_workbook",
    "write_table",
]

_FIRST_SHEET_YEAR: Final = 1901
"""From here on spreadsheets agree on the number of a day."""
_MADE: Final = datetime(2000, 1, 1)
_OPTIONS: Final = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
_YES_NO: Final = ["yes", "no"]


class CellKind(Enum):
    """What the cells of a column hold."""

    TEXT = "text as it is"
    NUMBER = "whole number"
    DATE = "day of an ISO 8601 text, as a date of the spreadsheet"
    TIME = "time of day of an ISO 8601 text, as a time of the spreadsheet"
    FILL_DATE = "empty, to be filled in with a date"
    FILL_YES_NO = "empty, to be filled in with yes or no"
    FILL_WORD = "empty, to be filled in; some words are offered"
    FILL_TEXT = "empty, to be filled in"


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """A column of a sheet.

    Parameters
    ----------
    title : str
        Its head.
    name : str
        Attribute of a row that it shows; empty for one that is filled in by hand.
    width : float
        In characters.
    kind : CellKind
        How the cells are written; an empty text leaves the cell of a date or time empty.
    words : tuple of str
        Those offered where the kind is `CellKind.FILL_WORD`.
    """

    title: str
    name: str
    width: float
    kind: CellKind = CellKind.TEXT
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CellFormats:
    """The few cell formats of a book."""

    head: Any
    text: Any
    number: Any
    date: Any
    time: Any
    strong: Any
    wrap: Any


@contextmanager
def new_workbook(path: Path, title: str) -> Iterator[tuple[Any, CellFormats]]:
    """Make a workbook and its formats, written when the block ends; the same cells give the same bytes."""
    # In memory first: an archive that a full disk breaks off would complain once more as it is thrown away.
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, _OPTIONS) as book:
        book.set_properties({"title": title, "created": _MADE})
        yield book, _formats(book)
    path.write_bytes(made.getvalue())


def _formats(book: Any) -> CellFormats:
    line = {"bottom": 4, "valign": "top"}
    return CellFormats(
        head=book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        text=book.add_format({**line, "num_format": "@", "text_wrap": True}),
        number=book.add_format({**line, "num_format": "0"}),
        date=book.add_format({**line, "num_format": "yyyy-mm-dd"}),
        time=book.add_format({**line, "num_format": "hh:mm"}),
        strong=book.add_format({"bold": True, "font_size": 14}),
        wrap=book.add_format({"text_wrap": True, "valign": "top"}),
    )


def column_letter(columns: Sequence[SheetColumn], title: str) -> str:
    """Return the letter of the column with a title.

    Raises
    ------
    ValueError
        When there is none.
    """
    return str(xl_col_to_name([column.title for column in columns].index(title)))


def column_range(sheet: str, columns: Sequence[SheetColumn], title: str, count: int) -> str:
    """Return the cells of a column below its head, as formulas name them; at least one."""
    letter = column_letter(columns, title)
    return f"'{sheet}'!{letter}2:{letter}{max(count, 1) + 1}"


def write_table(
    sheet: Any, rows: Sequence[Any], columns: Sequence[SheetColumn], formats: CellFormats
) -> None:
    """Write rows under a head that stays in sight, with filters; every text is a text cell.

    Parameters
    ----------
    sheet : xlsxwriter worksheet
    rows : sequence
        Objects with the attributes that the columns name.
    columns : sequence of SheetColumn
    formats : CellFormats
    """
    for place, column in enumerate(columns):
        sheet.write_string(0, place, column.title, formats.head)
        sheet.set_column(place, place, column.width)
        if rows:
            _offer(sheet, place, len(rows), column)
    for line, row in enumerate(rows, 1):
        for place, column in enumerate(columns):
            _cell(sheet, line, place, column, getattr(row, column.name) if column.name else "", formats)
    if rows:
        sheet.autofilter(0, 0, len(rows), len(columns) - 1)
    sheet.freeze_panes(1, 0)


def _cell(
    sheet: Any, line: int, place: int, column: SheetColumn, value: str | int, formats: CellFormats
) -> None:
    if isinstance(value, int):
        sheet.write_number(line, place, value, formats.number)
    elif column.kind in (CellKind.DATE, CellKind.FILL_DATE):
        _moment(sheet, line, place, _day(value), formats.date)
    elif column.kind is CellKind.TIME:
        _moment(sheet, line, place, _time(value), formats.time)
    elif value or column.name:
        sheet.write_string(line, place, value, formats.text)
    else:
        sheet.write_blank(line, place, None, formats.text)


def _moment(sheet: Any, line: int, place: int, value: date | time | None, form: Any) -> None:
    if value is None:
        sheet.write_blank(line, place, None, form)
    elif isinstance(value, date) and value.year < _FIRST_SHEET_YEAR:
        sheet.write_string(line, place, value.isoformat(), form)
    else:
        sheet.write_datetime(line, place, value, form)


def _day(moment: str) -> date | None:
    return datetime.fromisoformat(moment).date() if moment else None


def _time(moment: str) -> time | None:
    return datetime.fromisoformat(moment).time() if moment else None


def _offer(sheet: Any, place: int, count: int, column: SheetColumn) -> None:
    """Say which values may be filled in."""
    rule: dict[str, Any]
    if column.kind is CellKind.FILL_DATE:
        rule = {
            "validate": "date",
            "criteria": "between",
            "minimum": date(FIRST_YEAR, 1, 1),
            "maximum": date(LAST_YEAR, 12, 31),
            "error_title": column.title,
            "error_message": "Write a date.",
        }
    elif column.kind is CellKind.FILL_YES_NO:
        rule = {
            "validate": "list",
            "source": _YES_NO,
            "error_title": column.title,
            "error_message": "Write yes or no.",
        }
    elif column.kind is CellKind.FILL_WORD:
        # Another word may stand: this only offers some.
        rule = {"validate": "list", "source": list(column.words), "show_error": False}
    else:
        return
    sheet.data_validation(1, place, count, place, rule)
