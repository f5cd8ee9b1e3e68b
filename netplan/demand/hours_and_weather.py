"""The hours of the work and how cold they are: local times, weather forecasts, the hours of a window."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.core.text_files import TooLargeError, text_of
from netplan.core.work_window import COLDEST_C, HOTTEST_C, check_air_temp, check_hours, local_time
from netplan.rules.rule_set import Rules

__all__ = ["Forecast", "HourOfWindow", "Window", "read_forecast", "window_hours"]

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
        raise BadInputError(f"{name}: {error}; give one row for each hour") from None
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
            raise BadInputError(f"{name}: more than {MAX_ROWS} rows; give one row for each hour")
    if not hours:
        raise BadInputError(f"{name}: holds no hours; give one row for each hour")
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


@dataclass(frozen=True, slots=True)
class Window:
    """When the work is and how cold.

    Parameters
    ----------
    start : datetime or None
        Local start; None for any working day.
    hours : float or None
        Length [h]; None for the rules' working day.
    air_temp_c : float or None
        Mean air temperature of the day [°C]; None for the rules' design temperature.
    forecast : Forecast or None
        Hourly air temperatures in place of `air_temp_c`; needs a start.
    """

    start: datetime | None = None
    hours: float | None = None
    air_temp_c: float | None = None
    forecast: Forecast | None = None


@dataclass(frozen=True, slots=True)
class HourOfWindow:
    """One clock hour of the window.

    Parameters
    ----------
    start : datetime or None
        When it starts; None on any working day.
    hour : int
        Clock hour, 0 to 23.
    weekday : int
        0 Monday to 6 Sunday; -1 for the worst of the working days.
    air_temp_c : float
        Air temperature its demand is taken at, before the forecast margin [°C].
    """

    start: datetime | None
    hour: int
    weekday: int
    air_temp_c: float

    def words(self) -> str:
        """Return the hour in words, such as ``2026-01-31 07:00–08:00``."""
        day = "any working day" if self.start is None else self.start.date().isoformat()
        return f"{day} {self.hour:02d}:00–{(self.hour + 1) % 24:02d}:00"


def window_hours(window: Window, rules: Rules) -> tuple[HourOfWindow, ...]:
    """Return the clock hours that the window touches, in order.

    Without a start the work may lie anywhere in the working day: every hour from the rules'
    ``demand.day_starts_hour`` to ``crew.day_end`` counts. Clock hours belong to the gas day that starts at
    ``demand.day_starts_hour``.

    Raises
    ------
    BadInputError
        When hours, temperature and forecast do not make a window.
    """
    hours = rules.crew.hours if window.hours is None else window.hours
    check_hours(hours)
    air_temp_c = rules.demand.design_air_temp_c if window.air_temp_c is None else window.air_temp_c
    check_air_temp(air_temp_c)
    if window.start is None:
        return _any_day(window, rules, hours, air_temp_c)
    start = window.start.replace(tzinfo=None)
    first = start.replace(minute=0, second=0, microsecond=0)
    count = math.ceil((start - first).total_seconds() / 3600.0 + hours - 1e-9)
    times = [first + timedelta(hours=h) for h in range(count)]
    return tuple(
        HourOfWindow(
            time,
            time.hour,
            _gas_day(time, rules).weekday(),
            air_temp_c if window.forecast is None else _forecast(window.forecast, time, rules),
        )
        for time in times
    )


def _any_day(window: Window, rules: Rules, hours: float, air_temp_c: float) -> tuple[HourOfWindow, ...]:
    if window.forecast is not None:
        raise BadInputError("forecast: needs the start of the work; give --start")
    first = rules.demand.day_starts_hour
    end_hour, end_minute = (int(part) for part in rules.crew.day_end.split(":"))
    last = end_hour + (end_minute > 0)
    count = max(last - first, math.ceil(hours - 1e-9), 1)
    return tuple(HourOfWindow(None, (first + h) % 24, -1, air_temp_c) for h in range(min(count, 24)))


def _gas_day(time: datetime, rules: Rules) -> datetime:
    day = time.replace(hour=rules.demand.day_starts_hour)
    return day if time >= day else day - timedelta(days=1)


def _forecast(forecast: Forecast, time: datetime, rules: Rules) -> float:
    value = forecast.allocation_temp_c(_gas_day(time, rules))
    if value is None or time not in forecast.air_temp_c:
        raise BadInputError(
            f"{forecast.name}: has no value for {time.isoformat(timespec='minutes')}; cover the whole window"
        )
    return value
