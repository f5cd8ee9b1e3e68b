"""Published load profiles of gas, and what stands in where a customer's own figures are missing.

The day's energy of a customer is Q = K · h(T) · F with the customer's value K [kWh/d], the profile value
h of the day's mean air temperature and the weekday factor F; an hour's energy is Q times the hour's share.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.reference import table_rows

__all__ = [
    "PROFILE_VARIANT",
    "WARMEST_C",
    "CategoryFigures",
    "ClimateMonth",
    "Profile",
    "category_figures",
    "profile",
    "profile_sum",
    "profile_value",
    "reference_climate",
    "share_band",
]


PROFILE_VARIANT: Final = "34"
"""Variant of the published coefficients used unless another is asked for (the guideline's default)."""
POLE_C: Final = 40.0
"""Temperature at which the sigmoid of the published form has its pole [°C]."""
WARMEST_C: Final = 39.0
"""Air temperatures above this one are taken as this one [°C]: the form ends at its pole."""
_QUANTILES: Final = 9


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """One published profile.

    Parameters
    ----------
    name, variant : str
        Published short name and variant of the coefficients.
    a, b, c, d, m_heating, b_heating, m_water, b_water : float
        Coefficients of the profile value [-, K, -, -, 1/K, -, 1/K, -].
    weekday_factor : float array, shape (7,)
        F, Monday first [-].
    shares : float array, shape (7, 24, 10)
        Share of the day's energy in each clock hour, by weekday (Monday first) and temperature band [-].
    source : str
        Source key of the coefficients.
    """

    name: str
    variant: str
    a: float
    b: float
    c: float
    d: float
    m_heating: float
    b_heating: float
    m_water: float
    b_water: float
    weekday_factor: Floats
    shares: Floats
    source: str


@dataclass(frozen=True, slots=True)
class ClimateMonth:
    """A month of the reference year: days, mean air temperature and spread of the daily means [°C]."""

    days: int
    mean_c: float
    spread_c: float


@dataclass(frozen=True, slots=True)
class CategoryFigures:
    """What a category of customers takes for granted, for each meter.

    Parameters
    ----------
    profile, many_meters_profile : str
        Profile, and the one used from `many_meters` meters on (0: never).
    annual_kwh : float
        Stands in where a customer's own demand cannot be used [kWh].
    least_annual_kwh, most_annual_kwh, least_peak_kw, most_peak_kw : float
        Bounds beyond which a recorded figure is not believed [kWh, kW].
    source : str
        Source key.
    """

    category: str
    profile: str
    many_meters_profile: str
    many_meters: int
    annual_kwh: float
    least_annual_kwh: float
    most_annual_kwh: float
    least_peak_kw: float
    most_peak_kw: float
    source: str


@lru_cache(maxsize=64)
def profile(name: str, variant: str = PROFILE_VARIANT) -> Profile:
    """Return a published profile.

    Raises
    ------
    KeyError
        When there is no profile of that name and variant: a fault of the code, not of the data.
    """
    found = [
        row
        for row in table_rows("profiles_coefficients.csv")
        if row["profile"] == name and row["variant"] == variant
    ]
    if not found:
        raise KeyError(f"profile {name} {variant}")
    row = found[0]
    weekday = next(r for r in table_rows("profiles_weekdays.csv") if r["profile"] == name)
    factors = [float(value) for key, value in weekday.items() if key not in ("profile", "source")]
    return Profile(
        name,
        variant,
        a=float(row["a"]),
        b=float(row["b"]),
        c=float(row["c"]),
        d=float(row["d"]),
        m_heating=float(row["m_heating"]),
        b_heating=float(row["b_heating"]),
        m_water=float(row["m_water"]),
        b_water=float(row["b_water"]),
        weekday_factor=np.array(factors),
        shares=_shares(name),
        source=row["source"],
    )


def _shares(name: str) -> Floats:
    shares = np.full((7, 24, 10), np.nan)
    for row in table_rows("profiles_hours.csv"):
        if row["profile"] != name:
            continue
        values = [float(row[f"share_{band}"]) for band in range(1, 11)]
        weekday = int(row["weekday"])
        days = slice(0, 7) if weekday == 0 else slice(weekday - 1, weekday)
        shares[days, int(row["hour"])] = values
    return shares


def profile_value(of: Profile, air_temp_c: Floats | float) -> Floats:
    """Return the profile value h [-] of the day's mean air temperature [°C].

    h = A / (1 + (B / (T - 40))^C) + D + max(m_H T + b_H, m_W T + b_W), falling with T; 1 at 8 °C for the
    heating profiles. Temperatures above `WARMEST_C` are taken as that.
    """
    temperature = np.minimum(np.asarray(air_temp_c, dtype=float), WARMEST_C)
    sigmoid = of.a / (1.0 + (of.b / (temperature - POLE_C)) ** of.c) + of.d
    lines = np.maximum(of.m_heating * temperature + of.b_heating, of.m_water * temperature + of.b_water)
    return np.asarray(sigmoid + lines, dtype=float)


def profile_sum(of: Profile, climate: tuple[ClimateMonth, ...]) -> float:
    """Return the year's sum of h · F [d] for a reference year, so that K = annual energy / sum.

    The days of a month spread about its mean like a normal distribution, taken at evenly spaced quantiles;
    the weekday factor enters with its mean.
    """
    normal = NormalDist()
    steps = np.array([normal.inv_cdf((i + 0.5) / _QUANTILES) for i in range(_QUANTILES)])
    total = sum(
        month.days * float(profile_value(of, month.mean_c + month.spread_c * steps).mean())
        for month in climate
    )
    return total * float(of.weekday_factor.mean())


@lru_cache(maxsize=1)
def reference_climate() -> tuple[ClimateMonth, ...]:
    """Return the shipped reference year: an example of a mild lowland climate, twelve months."""
    return tuple(
        ClimateMonth(int(row["days"]), float(row["mean_c"]), float(row["spread_c"]))
        for row in table_rows("profiles_climate.csv")
    )


@lru_cache(maxsize=1)
def _band_edges() -> Floats:
    return np.array([float(row["up_to_c"]) for row in table_rows("profiles_bands.csv")])


def share_band(air_temp_c: Floats | float) -> NDArray[np.int64]:
    """Return the temperature band (0 coldest to 9) whose hourly shares hold at the day's mean [°C].

    A temperature on an edge belongs to the colder band; beyond the ends the end bands hold.
    """
    edges = _band_edges()
    return np.minimum(
        np.searchsorted(edges, np.asarray(air_temp_c, dtype=float), side="left"), len(edges) - 1
    )


@lru_cache(maxsize=1)
def category_figures() -> dict[str, CategoryFigures]:
    """Return the figures of each category of customers, by its word."""
    return {
        row["category"]: CategoryFigures(
            row["category"],
            row["profile"],
            row["many_meters_profile"],
            int(row["many_meters"]),
            float(row["annual_kwh"]),
            float(row["least_annual_kwh"]),
            float(row["most_annual_kwh"]),
            float(row["least_peak_kw"]),
            float(row["most_peak_kw"]),
            row["source"],
        )
        for row in table_rows("profiles_categories.csv")
    }
