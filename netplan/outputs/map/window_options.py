"""The window of the work as options of the plan command."""

from __future__ import annotations

from datetime import datetime

from netplan.core.units import convert
from netplan.outputs.number_format import Figures

__all__ = ["window_options"]


def window_options(
    start: datetime | None, hours: float | None, air_temp_c: float | None, units: Figures
) -> tuple[str, ...]:
    """Return the words that ask for the same window, each option before its value; a unit stands with it.

    Parameters
    ----------
    start : datetime or None
    hours : float or None
        Length [h].
    air_temp_c : float or None
        Air temperature [°C].
    units : Figures
        In which the temperature is written.
    """
    words: list[str] = []
    if start is not None:
        words += ["--start", start.isoformat(timespec="minutes")]
    if hours is not None:
        words += ["--hours", f"{hours:g} h"]
    if air_temp_c is not None:
        kind = units.kind("temperature")
        shown = round(convert(air_temp_c, kind.stored, kind.shown), 6) + 0.0
        words += ["--air-temp", f"{shown:g} {kind.sign}"]
    return tuple(words)
