"""notices.csv: the notice list for a mailing program, with columns to fill in who was told."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict
from typing import Final

from netplan.outputs.notice_list import NoticeRow

__all__ = ["CONTACT_COLUMNS", "NOTICE_COLUMNS", "notices_csv", "spreadsheet_safe"]

CONTACT_COLUMNS: Final = ("told_on", "told_by", "how", "no_access")
"""Columns that the notice team fills in."""

NOTICE_COLUMNS: tuple[tuple[str, str], ...] = (
    ("effect", "off: no gas until relit; kept: gas stays on; standby: off only if a planned stop fails"),
    ("address_no", "number of the address: flats in one building share it"),
    ("address", "address as recorded"),
    ("street", "street as recorded"),
    ("number", "house number as recorded"),
    ("postcode", "postcode as recorded"),
    ("customer_id", "meter point"),
    ("category", "household, business, industry or public"),
    ("priority", "priority code; empty: none"),
    ("meters", "meters at the meter point"),
    ("cause", "isolated, stranded or below minimum; empty for standby"),
    ("kept_by", "bypass or opened valve that keeps the supply"),
    ("off_from", "supply ends at the earliest, local time"),
    ("on_by", "supply is back at the latest, local time"),
    ("lead_days", "days of notice by the planning rules"),
    ("notice_by", "last day for the notice; empty without a date of work"),
    ("language", "language of the notice as recorded"),
    (
        "standby",
        "yes: off if a planned stop fails and its fallback is used; kept customers may be among them",
    ),
    ("relit", "place in the order of relighting, on which the promised times depend; 0: not off"),
    ("town", "town as recorded"),
    ("work_date", "day on which the work starts; of every row, empty without a date of work"),
    ("off_date", "day of off_from"),
    ("off_time", "time of day of off_from"),
    ("on_date", "day of on_by"),
    ("on_time", "time of day of on_by"),
    ("letter", "letter that it gets: off, kept, kept_standby or standby, a section of the words file"),
    ("letter_no", "its number in letters.pdf, from 1: the page, where each letter takes one"),
    ("told_on", "to be filled in: day on which somebody there was told"),
    ("told_by", "to be filled in: who told them"),
    ("how", "to be filled in: by letter, in person, by telephone"),
    ("no_access", "to be filled in: yes where nobody opened"),
    ("plan", "revision code of the plan that the list is of"),
)
"""Columns of notices.csv with what they hold."""

_BYTE_ORDER_MARK = "\ufeff"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def spreadsheet_safe(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: a leading apostrophe keeps it text."""
    # Spreadsheets skip blanks before they look for a formula.
    return (
        f"'{text}" if text.startswith(_FORMULA_STARTS) or text.lstrip().startswith(_FORMULA_STARTS) else text
    )


def notices_csv(rows: Sequence[NoticeRow]) -> str:
    """Return notices.csv as text: UTF-8 with a byte order mark for spreadsheets, one meter point a row."""
    names = [name for name, _ in NOTICE_COLUMNS]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        values = _values(row)
        writer.writerow([spreadsheet_safe(v) if isinstance(v := values[name], str) else v for name in names])
    return _BYTE_ORDER_MARK + buffer.getvalue()


def _values(row: NoticeRow) -> dict[str, str | int]:
    (off_date, _, off_time), (on_date, _, on_time) = (t.partition("T") for t in (row.off_from, row.on_by))
    of_day = {"off_date": off_date, "off_time": off_time, "on_date": on_date, "on_time": on_time}
    return {**asdict(row), **of_day, **dict.fromkeys(CONTACT_COLUMNS, "")}
