"""The window of the work: which hours count, of which weekday, at which air temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from netplan.core.errors import BadInputError
from netplan.core.work_window import check_air_temp, check_hours
from netplan.demand.forecast import Forecast
from netplan.rules.model import Rules

__all__ = ["HourOfWindow", "Window", "window_hours"]


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
