"""What a gauge should read at the air temperature and hour of now, and what a reading means.

The scripts of the page work it out in the same way (``static/readings.js``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from netplan.core.constants import HOURS_PER_DAY
from netplan.core.units import convert
from netplan.outputs.number_format import Figures, Side
from netplan.planfile.model import Reading

__all__ = [
    "ReadingLimits",
    "Verdict",
    "WeatherTable",
    "printed_mbar",
    "reading_limits",
    "verdict_of",
    "weather_table",
]

Verdict = Literal["abort low", "abort high", "outside band", "warning", "in band", "outside table"]

_NOISE_MBAR: Final = 1e-6
"""What is typed in other units is converted and rounded to this in the log (own) [mbar]."""


@dataclass(frozen=True, slots=True)
class WeatherTable:
    """Solved readings of one gauge in one state, over air temperature and hour [mbar gauge].

    Parameters
    ----------
    air_temps_c : tuple of float
        Ascending [°C].
    hours : tuple of int
        Hours of the day in the order of the window; each begins then.
    expect_mbar : tuple of tuple of float or None
        One row an air temperature, one column an hour; None where it was not solved.
    always_mbar : float or None
        The reading in any weather: that of a pipe that stands open to the air.
    """

    air_temps_c: tuple[float, ...]
    hours: tuple[int, ...]
    expect_mbar: tuple[tuple[float | None, ...], ...]
    always_mbar: float | None = None

    def at(self, air_temp_c: float | None, hour_of_day: float) -> float | None:
        """Return the reading at an air temperature [°C] and time [h since midnight]; None outside the table.

        Linear between temperatures and between the beginnings of hours; during the last hour it is that
        hour's. Nothing is said beyond what was solved.
        """
        if not self.hours or air_temp_c is None:
            return self.always_mbar
        row = _between(self.air_temps_c, air_temp_c)
        column = self._hour(hour_of_day)
        if row is None or column is None:
            return None
        total = 0.0
        for i, of_row in row:
            for j, of_column in column:
                value = self.expect_mbar[i][j]
                if value is None:
                    return None
                total += of_row * of_column * value
        return total

    def _hour(self, hour_of_day: float) -> tuple[tuple[int, float], ...] | None:
        since = [float((hour - self.hours[0]) % HOURS_PER_DAY) for hour in self.hours]
        now = (hour_of_day - self.hours[0]) % HOURS_PER_DAY
        last = len(since) - 1
        if since[last] <= now < since[last] + 1.0:
            return ((last, 1.0),)
        return _between(tuple(since), now)


def _between(nodes: tuple[float, ...], value: float) -> tuple[tuple[int, float], ...] | None:
    """Return the nodes on both sides of a value with their shares; None outside."""
    for k, node in enumerate(nodes):
        if value == node:
            return ((k, 1.0),)
        if k and nodes[k - 1] < value < node:
            share = (value - nodes[k - 1]) / (node - nodes[k - 1])
            return ((k - 1, 1.0 - share), (k, share))
    return None


def weather_table(reading: Reading) -> WeatherTable:
    """Return the table of a reading; of one air temperature and hour where the plan has no more.

    A reading of 0 that the plan says of no weather is that of a vented pipe, whatever the weather.
    """
    cells = {(row.air_temp_c, row.hour): row.expect_mbar for row in reading.by_weather}
    if not cells and reading.air_temp_c is not None and reading.hour is not None:
        cells = {(reading.air_temp_c, reading.hour): reading.expect_mbar}
    if not cells and reading.expect_mbar == 0.0:
        return WeatherTable((), (), (), 0.0)
    temps = tuple(sorted({temp for temp, _ in cells}))
    hours = tuple(dict.fromkeys(hour for _, hour in cells))
    rows = tuple(tuple(cells.get((temp, hour)) for hour in hours) for temp in temps)
    return WeatherTable(temps, hours, rows)


@dataclass(frozen=True, slots=True)
class ReadingLimits:
    """Limits of a reading as the papers print them, each rounded to its safe side [mbar gauge].

    Parameters
    ----------
    band_mbar : float
        Greatest distance from the expected reading.
    warning_mbar, abort_mbar, abort_high_mbar : float or None
        None where nothing bounds that side.
    """

    band_mbar: float
    warning_mbar: float | None
    abort_mbar: float | None
    abort_high_mbar: float | None


def printed_mbar(mbar: float | None, side: Side, units: Figures) -> float | None:
    """Return a pressure as it is printed in some units, rounded to one side [mbar]; None for none."""
    kind, shown = units.kind("pressure"), units.number("pressure", mbar, side)
    if shown is None or kind.shown == kind.stored:
        return shown
    return convert(shown, kind.shown, kind.stored)


def reading_limits(reading: Reading, units: Figures) -> ReadingLimits:
    """Return the limits of a reading as printed in some units: page and paper act at the same figure."""
    return ReadingLimits(
        band_mbar=printed_mbar(reading.band_mbar, "down", units) or 0.0,
        warning_mbar=printed_mbar(reading.warning_mbar, "up", units),
        abort_mbar=printed_mbar(reading.abort_mbar, "up", units),
        abort_high_mbar=printed_mbar(reading.abort_high_mbar, "down", units),
    )


def verdict_of(limits: ReadingLimits, mbar: float, expect_mbar: float | None) -> Verdict:
    """Return what a reading means.

    Parameters
    ----------
    limits : ReadingLimits
    mbar : float
        What the gauge reads [mbar gauge].
    expect_mbar : float or None
        What it should read now; None outside the solved table: then only abort is told.
    """
    if limits.abort_mbar is not None and mbar <= limits.abort_mbar + _NOISE_MBAR:
        return "abort low"
    if limits.abort_high_mbar is not None and mbar >= limits.abort_high_mbar - _NOISE_MBAR:
        return "abort high"
    if expect_mbar is None:
        return "outside table"
    if abs(mbar - expect_mbar) > limits.band_mbar + _NOISE_MBAR:
        return "outside band"
    if limits.warning_mbar is not None and mbar <= limits.warning_mbar + _NOISE_MBAR:
        return "warning"
    return "in band"
