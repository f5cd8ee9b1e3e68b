"""A weather forecast: hourly air temperatures from a CSV file."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.core.work_window import COLDEST_C, HOTTEST_C, local_time

__all__ = ["Forecast", "read_forecast"]

MAX_BYTES: Final = 5_000_000
MAX_ROWS: Final = 20_000
_WEIGHTS: Final = (1.0, 0.5, 0.25, 0.125)


@dataclass(frozen=True, slots=True)
class Forecast:
    """Air temperature hour by hour, local time.

    Parameters
    ----------
    name : str
        What it was read from.
    air_temp_c : dict of datetime to float
        Air temperature [°C] of the hour that starts then, on full hours.
    """

    name: str
    air_temp_c: dict[datetime, float]

    def day_mean_c(self, gas_day: datetime) -> float | None:
        """Return the mean [°C] of the known hours among the 24 from `gas_day`; None if none is."""
        known = [
            self.air_temp_c[hour]
            for hour in (gas_day + timedelta(hours=h) for h in range(24))
            if hour in self.air_temp_c
        ]
        return sum(known) / len(known) if known else None

    def allocation_temp_c(self, gas_day: datetime) -> float | None:
        """Return the day's mean with those of the three days before, weighted 1, 1/2, 1/4, 1/8 [°C].

        Houses hold warmth for days. Days the forecast does not reach are left out of the mean.
        """
        today = self.day_mean_c(gas_day)
        if today is None:
            return None
        total, weights = 0.0, 0.0
        for back, weight in enumerate(_WEIGHTS):
            mean = self.day_mean_c(gas_day - timedelta(days=back))
            if mean is not None:
                total += weight * mean
                weights += weight
        return total / weights


def read_forecast(path: Path) -> Forecast:
    """Read a forecast from a CSV file with the columns ``time`` (ISO 8601, local) and ``air_temp_c``.

    Raises
    ------
    BadInputError
        When the file cannot be read, lacks a column, or a row is no time or no plausible temperature.
    """
    name = path.name
    try:
        text = text_of(path, MAX_BYTES, "utf-8-sig")
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error}); check the path") from None
    except UnicodeDecodeError:
        raise BadInputError(f"{name}: is not UTF-8 text; save it as UTF-8") from None
    except TooLargeError as error:
        raise BadInputError(f"{name}: {error}; give one row an hour") from None
    rows = csv.DictReader(text.splitlines())
    if not {"time", "air_temp_c"} <= set(rows.fieldnames or ()):
        raise BadInputError(f"{name}: needs the columns time and air_temp_c; correct the first line")
    hours: dict[datetime, float] = {}
    for row in rows:
        time, temperature = _row(row, f"{name}: line {rows.line_num}")
        if time in hours:
            raise BadInputError(f"{name}: line {rows.line_num}: {time.isoformat()} comes twice; keep one row")
        hours[time] = temperature
        if len(hours) > MAX_ROWS:
            raise BadInputError(f"{name}: more than {MAX_ROWS} rows; give one row an hour")
    if not hours:
        raise BadInputError(f"{name}: holds no hours; give one row an hour")
    return Forecast(name, dict(sorted(hours.items())))


def _row(row: dict[str, str | None], where: str) -> tuple[datetime, float]:
    time = local_time(row["time"] or "", f"{where}: time")
    if (time.minute, time.second, time.microsecond) != (0, 0, 0):
        raise BadInputError(f"{where}: time is not on a full hour; give hourly values")
    try:
        temperature = float(row["air_temp_c"] or "")
    except ValueError:
        raise BadInputError(f"{where}: air_temp_c is not a number; write it in °C") from None
    if not COLDEST_C <= temperature <= HOTTEST_C:
        raise BadInputError(f"{where}: air_temp_c {temperature:g} is no air temperature in °C; correct it")
    return time, temperature
