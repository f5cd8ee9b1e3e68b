"""The window of the work as options of the plan command."""

from __future__ import annotations

from datetime import datetime

__all__ = ["window_options"]


def window_options(start: datetime | None, hours: float | None, air_temp_c: float | None) -> tuple[str, ...]:
    """Return the words that ask for the same window, each option before its value; a unit stands with it.

    Parameters
    ----------
    start : datetime or None
    hours : float or None
        Length [h].
    air_temp_c : float or None
        Air temperature [°C].
    """
    words: list[str] = []
    if start is not None:
        words += ["--start", start.isoformat(timespec="minutes")]
    if hours is not None:
        words += ["--hours", f"{hours:g} h"]
    if air_temp_c is not None:
        words += ["--air-temp", f"{air_temp_c:g} °C"]
    return tuple(words)
