"""When the work starts, as written on the command line."""

from __future__ import annotations

from datetime import datetime

from netplan.demand.hours_and_weather import local_time

__all__ = ["start_of"]


def start_of(text: str | None) -> datetime | None:
    """Read ``--start``: local time, ISO 8601; None where it is left out.

    Raises
    ------
    BadInputError
        When it is no date and time, or has an offset from UTC.
    """
    return None if text is None else local_time(text, "--start")
