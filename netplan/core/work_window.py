"""When work is and how cold, as people give it: start, length and air temperature of the window."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Final

from netplan.core.errors import BadInputError, quoted

__all__ = ["check_air_temp", "check_hours", "local_time"]

FIRST_YEAR: Final = 1970
LAST_YEAR: Final = 2199
"""Years that a plan may begin in (own)."""
MOST_HOURS: Final = 24 * 31
"""Longest window (own) [h]."""
COLDEST_C: Final = -60.0
HOTTEST_C: Final = 60.0
"""Air temperatures that anybody plans for (own) [°C]."""


def local_time(moment: str | datetime, where: str) -> datetime:
    """Read a moment of local time.

    Parameters
    ----------
    moment : str or datetime
        A text is ISO 8601, such as ``2027-03-09T07:00``.
    where : str
        What is being read, for the message.

    Raises
    ------
    BadInputError
        When it is no date and time, lies outside the years that are planned, or carries an offset from UTC:
        nothing says whether that is the offset of the place of work, so it is never dropped.
    """
    if isinstance(moment, str):
        try:
            read = datetime.fromisoformat(moment.strip())
        except ValueError:
            raise BadInputError(
                f"{where}: {quoted(moment)} is no ISO date and time; write for example 2027-03-09T07:00"
            ) from None
    else:
        read = moment
    said = quoted(str(moment))
    if read.tzinfo is not None:
        raise BadInputError(
            f"{where}: {said} has an offset from UTC; write the local time at the work without it"
        )
    if not FIRST_YEAR <= read.year <= LAST_YEAR:
        raise BadInputError(f"{where}: {said} is not in {FIRST_YEAR} to {LAST_YEAR}; correct the year")
    return read


def check_hours(hours: float) -> None:
    """Refuse a length of the window [h] that is not finite, not above 0, or above `MOST_HOURS`.

    Raises
    ------
    BadInputError
    """
    if not (math.isfinite(hours) and 0 < hours <= MOST_HOURS):
        raise BadInputError(
            f"--hours {hours:g}: not between 0 and {MOST_HOURS}; give the length of the work in hours"
        )


def check_air_temp(celsius: float) -> None:
    """Refuse an air temperature [°C] that is not finite or outside `COLDEST_C` to `HOTTEST_C`.

    Raises
    ------
    BadInputError
    """
    if not (math.isfinite(celsius) and COLDEST_C <= celsius <= HOTTEST_C):
        raise BadInputError(f"--air-temp {celsius:g}: no air temperature in °C; correct it")
