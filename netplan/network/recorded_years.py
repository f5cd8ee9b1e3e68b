"""Years from dates, however they are written; nothing is read where the century has to be guessed."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog

__all__ = ["note_dates", "without_days", "year_of"]

_YEAR: Final = re.compile(r"(?<!\d)(?:18|19|20)\d\d(?!\d)")
"""A year in a date, however the date is written."""
_COMPACT: Final = re.compile(r"((?:18|19|20)\d\d)(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
"""A date in eight digits."""
_MOST: Final = 40


def year_of(text: str) -> float:
    """Return the year of a date or a year as text; NaN where there is none for certain, as in ``03/87``."""
    if len(text) > _MOST:
        return np.nan
    compact = _COMPACT.fullmatch(text.strip())
    if compact:
        return float(compact[1])
    years = _YEAR.findall(text)
    return float(years[0]) if len(years) == 1 else np.nan


def without_days(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Return numbers with dates of eight digits as their years, and how many these were.

    Parameters
    ----------
    values : float array
        Years [a], or dates such as 19870312.
    """
    with np.errstate(invalid="ignore"):
        long = (values >= 18_000_101) & (values <= 20_991_231) & (values == np.floor(values))
    if not long.any():
        return values, 0
    years = np.array([year_of(f"{value:.0f}") for value in values[long]])
    result = values.copy()
    result[long] = np.where(np.isnan(years), values[long], years)
    return result, int((~np.isnan(years)).sum())


def note_dates(count: int, layer: str, notes: FindingLog) -> None:
    """Say how many dates of a column of years were read as their years."""
    if count:
        notes.add(
            "date-for-year",
            layer,
            "",
            Severity.NOTE,
            f"year: {count:,} dates are read as their years",
            "check that the date is that of laying",
        )
