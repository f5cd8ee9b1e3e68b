"""Cells that people fill in: a day, and whether there was no access."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Any, Final

__all__ = ["day_in", "is_ticked", "text_of_cell"]

_MOST_SHOWN: Final = 500
_FIRST, _LAST = date(2000, 1, 1), date(2099, 12, 31)
"""Days outside are slips of the pen (own)."""
_ISO: Final = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ].*)?")
_DOTS: Final = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4}|\d{2})(?:,? .*)?")
_SLASHES: Final = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4}|\d{2})(?: .*)?")
_NUMBER: Final = re.compile(r"\d{5}(?:[.,]\d+)?")
_NOT_TICKED: Final = frozenset({"", "no", "n", "nein", "0", "0.0", "false", "falsch", "-", "–"})


def text_of_cell(value: Any) -> str:
    """Return a cell as one line of text; a whole number without a decimal point, a day as ISO 8601."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes").removesuffix(" 00:00")
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return " ".join(str(value).split())[:_MOST_SHOWN]


def day_in(value: Any, day_zero: datetime) -> date | None:
    """Return the day of a cell; None where it is empty.

    Parameters
    ----------
    value : object
        A date, a day number, or text: ISO 8601, or day, month and year parted by dots. With slashes the order
        of day and month must show.
    day_zero : datetime
        Day that day numbers count from.

    Raises
    ------
    ValueError
        When it is no day, or one before 2000 or after 2099; the text says what is wrong with it.
    """
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    if isinstance(value, datetime):
        found = value.date()
    elif isinstance(value, date):
        found = value
    else:
        found = _day_of(value, day_zero)
    if not _FIRST <= found <= _LAST:
        raise ValueError("is not within 2000 to 2099")
    return found


def _day_of(value: Any, day_zero: datetime) -> date:
    text = text_of_cell(value)
    if _NUMBER.fullmatch(text) and not isinstance(value, bool):
        return (day_zero + timedelta(days=int(text[:5]))).date()
    for pattern, order in ((_ISO, (0, 1, 2)), (_DOTS, (2, 1, 0))):
        match = pattern.fullmatch(text)
        if match is not None:
            return _date(*(int(match.group(k + 1)) for k in order))
    match = _SLASHES.fullmatch(text)
    if match is None:
        raise ValueError("is no day")
    first, second, year = (int(part) for part in match.groups())
    if first != second and max(first, second) <= 12:
        raise ValueError("may be read as two days")
    month, day = (first, second) if second > 12 or first == second else (second, first)
    return _date(year, month, day)


def _date(year: int, month: int, day: int) -> date:
    try:
        return date(year + 2000 if year < 100 else year, month, day)
    except ValueError:
        raise ValueError("is no day of the calendar") from None


def is_ticked(text: str) -> bool:
    """Whether a cell says yes: anything but nothing, no, 0 or a dash."""
    return text.casefold() not in _NOT_TICKED
