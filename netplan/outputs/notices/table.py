"""notices.csv: the notice list for mail merge and spreadsheets."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict

from netplan.outputs.notices.rows import NoticeRow

__all__ = ["COLUMNS", "guarded", "notices_csv"]

COLUMNS: tuple[tuple[str, str], ...] = (
    ("effect", "off: no gas until relit; kept: fed all the time; standby: off only if a planned stop fails"),
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
    ("relit", "place in the order of relighting, which promised times follow; 0: not off"),
)
"""Columns of notices.csv with what they hold."""

_BYTE_ORDER_MARK = "\ufeff"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: a leading apostrophe keeps it text."""
    # Spreadsheets skip blanks before they look for a formula.
    return (
        f"'{text}" if text.startswith(_FORMULA_STARTS) or text.lstrip().startswith(_FORMULA_STARTS) else text
    )


def notices_csv(rows: Sequence[NoticeRow]) -> str:
    """Return notices.csv as text: UTF-8 with a byte order mark for spreadsheets, one meter point a row."""
    names = [name for name, _ in COLUMNS]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        values = asdict(row)
        writer.writerow([guarded(v) if isinstance(v := values[name], str) else v for name in names])
    return _BYTE_ORDER_MARK + buffer.getvalue()
