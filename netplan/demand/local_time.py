"""Moments as people write them: local time at the work, within the years that anybody plans."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from netplan.core.errors import BadInputError, quoted

__all__ = ["local_time"]

FIRST_YEAR: Final = 1970
LAST_YEAR: Final = 2199
"""Years that a plan may begin in (own)."""


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
