"""On which day each stage is."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

__all__ = ["stage_starts"]

SATURDAY: Final = 5


def stage_starts(start: datetime | None, count: int, days_apart: int) -> tuple[datetime | None, ...]:
    """Return the start of each stage, so many working days after the one before.

    Monday to Friday are taken for working days: the operator's holidays are not known.

    Parameters
    ----------
    start : datetime or None
        Local start of the first; None leaves all open.
    count : int
    days_apart : int
        At least 1.
    """
    if start is None:
        return (None,) * count
    starts: list[datetime | None] = [start]
    at = start
    while len(starts) < count:
        left = days_apart
        while left:
            at += timedelta(days=1)
            left -= at.weekday() < SATURDAY
        starts.append(at)
    return tuple(starts)
