"""From a profile to the factor of an hour: never less when it is colder."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.reference.profiles import (
    PROFILE_VARIANT,
    WARMEST_C,
    ClimateMonth,
    profile,
    profile_sum,
    profile_value,
    reference_climate,
    share_band,
)

__all__ = ["COLDEST_C", "customer_value_kwh_per_day", "hour_factor"]

COLDEST_C: Final = -60.0
"""Air temperatures below this one are taken as this one [°C]."""
_STEP_C: Final = 0.1
_WORKING_DAYS: Final = 5


def customer_value_kwh_per_day(
    annual_kwh: Floats | float,
    profile_name: str,
    climate: tuple[ClimateMonth, ...] | None = None,
    variant: str = PROFILE_VARIANT,
) -> Floats:
    """Return the customer's value K [kWh/d]: yearly energy over the reference year's sum of h · F."""
    total = profile_sum(profile(profile_name, variant), climate or reference_climate())
    return np.asarray(np.asarray(annual_kwh, dtype=float) / total, dtype=float)


def hour_factor(
    profile_name: str, hour: int, weekday: int, air_temp_c: float, variant: str = PROFILE_VARIANT
) -> float:
    """Return what part of K an hour takes at a day's mean air temperature: max h · F · share [1/h].

    Parameters
    ----------
    profile_name : str
        Published profile.
    hour : int
        Clock hour, 0 to 23.
    weekday : int
        0 Monday to 6 Sunday; -1 for the greatest of Monday to Friday.
    air_temp_c : float
        Mean air temperature of the day [°C].

    Returns
    -------
    float
        The greatest of the published product over this air temperature and all warmer ones [1/h].
    """
    temperatures, factors = _envelope(profile_name, variant)
    row = (_any_working_day(profile_name, variant) if weekday < 0 else factors[weekday])[hour]
    return float(np.interp(air_temp_c, temperatures, row))


@lru_cache(maxsize=16)
def _any_working_day(profile_name: str, variant: str) -> Floats:
    return np.asarray(_envelope(profile_name, variant)[1][:_WORKING_DAYS].max(axis=0))


@lru_cache(maxsize=16)
def _envelope(profile_name: str, variant: str) -> tuple[Floats, Floats]:
    of = profile(profile_name, variant)
    count = round((WARMEST_C - COLDEST_C) / _STEP_C)
    temperatures = np.asarray(COLDEST_C + _STEP_C * np.arange(count + 1), dtype=np.float64)
    # Band edges are grid points. Just above an edge the warmer band holds: the greater of both counts.
    rounded = np.round(temperatures, 6)
    shares = np.maximum(of.shares[:, :, share_band(rounded)], of.shares[:, :, share_band(rounded + 1e-3)])
    published = shares * profile_value(of, temperatures) * of.weekday_factor[:, None, None]
    envelope = np.maximum.accumulate(published[:, :, ::-1], axis=2)[:, :, ::-1]
    return temperatures, envelope
