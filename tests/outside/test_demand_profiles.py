"""Gas load profiles against published values.

Source: BDEW/VKU/GEODE guideline on gas standard load profiles, appendix 6, as tabulated and worked in the
public documentation of the CRAN package standardlastprofile; and demandlib 0.2.2 for hourly shares.
"""

from __future__ import annotations

import csv
import importlib.resources
import importlib.util

import numpy as np
import pytest

from netplan.demand import customer_value_kwh_per_day
from netplan.demand.hours_and_weather import Forecast
from netplan.reference.profiles import profile, profile_sum, profile_value, reference_climate, share_band
from tests.compared import compared

PRINTED = 5e-5
COMPUTED = 1e-6


@pytest.mark.parametrize(
    ("name", "variant", "temperature", "value", "tolerance"),
    [
        # The guideline normalises every heating profile to 1 at 8 °C.
        ("HEF", "34", 8.0, 1.0, COMPUTED),
        ("HEF", "33", 8.0, 1.0, COMPUTED),
        ("HMF", "34", 8.0, 1.0, COMPUTED),
        ("HMF", "33", 8.0, 1.0, COMPUTED),
        ("GHD", "34", 8.0, 1.0, COMPUTED),
        ("GKO", "34", 8.0, 1.0, COMPUTED),
        ("GMK", "34", 8.0, 1.0, COMPUTED),
        # Printed in the public documentation named above.
        ("HKO", "34", 8.0, 1.05612, PRINTED),
        ("HEF", "34", 4.8, 1.3962, PRINTED),
        ("HEF", "34", 5.7, 1.2833, PRINTED),
        ("HEF", "34", 18.9, 0.1765, PRINTED),
        ("HEF", "34", 19.2, 0.1727, PRINTED),
        # Arithmetic with the published coefficients, worked apart from this code.
        ("HKO", "34", 8.0, 1.056121, COMPUTED),
        ("HEF", "34", -12.0, 3.184777, COMPUTED),
        ("HEF", "34", -10.0, 3.012762, COMPUTED),
        ("HEF", "34", 0.0, 1.987948, COMPUTED),
        ("HEF", "34", 15.0, 0.254083, COMPUTED),
        ("HMF", "34", -10.0, 2.527200, COMPUTED),
        ("HMF", "34", 0.0, 1.776056, COMPUTED),
    ],
)
def test_profile_value(name: str, variant: str, temperature: float, value: float, tolerance: float) -> None:
    compared(
        "load profile value h(T)",
        float(profile_value(profile(name, variant), temperature)),
        value,
        abs=tolerance,
        source="gas profile guideline, appendix 6, as tabulated and worked in public documentation",
        how="published",
    )


def test_customer_value_of_the_worked_example() -> None:
    # Worked in the public documentation: 15,000 kWh a year over a sum of 272.32 is 55.08 kWh a day.
    own_sum = profile_sum(profile("HEF"), reference_climate())
    value = float(customer_value_kwh_per_day(15000.0, "HEF"))
    compared(
        "customer's value of the worked example",
        value * own_sum / 272.32,
        55.08,
        abs=0.005,
        unit="kWh/d",
        source="worked example of the public documentation",
        how="published",
    )


def test_geometric_mean_of_days() -> None:
    # The guideline's allocation temperature: (T0 + T1/2 + T2/4 + T3/8) / 1.875.
    from datetime import datetime, timedelta

    day = datetime(2026, 1, 10, 6)
    means = (1.0, -3.0, 4.0, 6.0)
    hours = {
        day - timedelta(days=back) + timedelta(hours=h): mean
        for back, mean in enumerate(means)
        for h in range(24)
    }
    by_hand = (1.0 - 3.0 / 2 + 4.0 / 4 + 6.0 / 8) / 1.875
    compared(
        "allocation temperature",
        Forecast("f", hours).allocation_temp_c(day),
        by_hand,
        abs=1e-12,
        unit="°C",
        source="the guideline's formula by hand",
        how="arithmetic",
    )


def test_days_energy_is_in_the_hours() -> None:
    # Shares are printed with four digits: the sum of a day is 1 within 24 half digits.
    for name in ("HEF", "HMF", "GHD", "GKO", "GMK"):
        sums = profile(name).shares.sum(axis=1)
        assert np.abs(sums - 1.0).max() <= 24 * 0.5e-4 + 1e-3


def test_tables_keep_their_sums() -> None:
    # Column sums of the printed tables: a slipped digit shows.
    text = importlib.resources.files("netplan.reference").joinpath("profiles_hours.csv").read_text()
    rows = list(csv.DictReader(text.splitlines()))
    assert len(rows) == 2 * 24 + 3 * 168
    total = sum(float(row[f"share_{band}"]) for row in rows for band in range(1, 11))
    assert total == pytest.approx(230.0, abs=0.05)


@pytest.mark.skipif(importlib.util.find_spec("demandlib") is None, reason="demandlib is not installed")
def test_hourly_shares_equal_demandlib() -> None:
    import pandas as pd

    text = importlib.resources.files("demandlib").joinpath("bdew/bdew_data/shlp_hour_factors.csv")
    table = pd.read_csv(str(text), index_col=0)
    for name, theirs, building in (
        ("HEF", "EFH", 11),
        ("HMF", "MFH", 11),
        ("GHD", "GHD", 0),
        ("GKO", "GKO", 0),
    ):
        rows = table[(table.shlp_type == theirs) & (table.building_class == building)]
        assert len(rows) == (24 if theirs in ("EFH", "MFH") else 7 * 24)
        for _, row in rows.iterrows():
            days = range(7) if row.weekday == 0 else [int(row.weekday) - 1]
            for day in days:
                ours = profile(name).shares[day, int(row.hour_of_day) - 1]
                compared(
                    "hourly shares of the day",
                    ours,
                    [row[f"temp_intervall_{i:02d}"] for i in range(1, 11)],
                    rel=1e-6,
                    abs=1e-12,
                    source="demandlib 0.2.2",
                    how="library",
                )


@pytest.mark.skipif(importlib.util.find_spec("demandlib") is None, reason="demandlib is not installed")
def test_temperature_bands_equal_demandlib() -> None:
    import pandas as pd
    from demandlib.bdew import HeatBuilding

    temperatures = [-20.0, -15.0, -14.9, -10.0, -4.2, 0.0, 0.3, 5.0, 9.9, 15.1, 20.0, 25.0, 26.0, 39.9]
    index = pd.date_range("2025-01-01", periods=len(temperatures), freq="h")
    building = HeatBuilding(
        index,
        temperature=pd.Series(temperatures, index=index),
        shlp_type="GHD",
        building_class=0,
        wind_class=0,
    )
    building.df["temperature_geo"] = temperatures
    assert (building.get_temperature_interval() - 1).tolist() == share_band(np.array(temperatures)).tolist()
