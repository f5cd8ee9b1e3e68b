"""Bad demand data is a finding with the customer's id, and what is used instead is said (own)."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from netplan.core.errors import BadInputError
from netplan.core.findings import Severity
from netplan.demand import Window, check_records, customer_demand, read_forecast, window_hours
from netplan.reference.profiles import category_figures
from netplan.rules import default_rules, read_rules
from tests.support.demand_tables import NAN, customers_table

HS_J_PER_M3 = 38.5e6


@pytest.mark.parametrize(
    ("annual", "peak", "category", "code", "says"),
    [
        (-5.0, NAN, 0, "negative-annual-kwh", "the category's 18000 kWh a year is used"),
        (NAN, -1.0, 1, "negative-peak-kw", "the category's 60000 kWh a year is used"),
        (-5.0, 20.0, 0, "negative-annual-kwh", "its peak_kw is used"),
        (12000.0, -3.0, 0, "negative-peak-kw", "its annual_kwh is used"),
        (NAN, NAN, 3, "missing-demand", "the category's 120000 kWh a year is used"),
        (18e6, NAN, 0, "absurd-annual-kwh", "the category's 18000 kWh a year is used"),
        (18e6, 18.0, 0, "absurd-annual-kwh", "its peak_kw is used"),
        (0.0, NAN, 0, "absurd-annual-kwh", "the category's 18000 kWh a year is used"),
        (float("inf"), NAN, 2, "absurd-annual-kwh", "the category's 500000 kWh a year is used"),
        (12000.0, 24000.0, 0, "absurd-peak-kw", "its annual_kwh is used"),
        (100000.0, 5.0, 0, "contradicting-demand", "its annual_kwh is used"),
        (300.0, 24.0, 0, "contradicting-demand", "its peak_kw is used"),
    ],
)
def test_bad_demand_is_a_finding(annual: float, peak: float, category: int, code: str, says: str) -> None:
    table = customers_table([15000.0, annual], [NAN, peak], [0, category])
    records = check_records(table)
    assert [finding.code for finding in records.findings] == [code]
    finding = records.findings[0]
    assert finding.feature_id == "c1"
    assert finding.layer == "customers"
    assert finding.severity is Severity.WARNING
    assert says in finding.what
    result = customer_demand(table, Window(), default_rules(), HS_J_PER_M3)
    flow = result.flow_m3_per_s_std()
    assert np.isfinite(flow).all()
    assert (flow > 0).all()
    assert result.findings == records.findings


def test_good_data_has_no_findings_and_uses_the_right_figure() -> None:
    table = customers_table([15000, NAN, 300000, 300000], [24, 24, 250, 250], [0, 0, 1, 2])
    records = check_records(table)
    assert records.findings == ()
    # Energy where both are good, but the peak of industry: a process does not follow the weather.
    assert records.annual_kwh.tolist() == [15000, 0, 300000, 0]
    assert records.peak_kw.tolist() == [0, 24, 0, 250]


def test_contradiction_takes_the_figure_that_needs_more() -> None:
    for annual, peak in ((100000.0, 5.0), (300.0, 24.0)):
        used = customer_demand(customers_table([annual], [peak]), Window(), default_rules(), HS_J_PER_M3)
        by_energy = customer_demand(customers_table([annual]), Window(), default_rules(), HS_J_PER_M3)
        by_peak = customer_demand(customers_table([NAN], [peak]), Window(), default_rules(), HS_J_PER_M3)
        most = max(by_energy.flow_m3_per_s_std().sum(), by_peak.flow_m3_per_s_std().sum())
        assert used.flow_m3_per_s_std().sum() == pytest.approx(most)


def test_yearly_energy_takes_no_diversity_and_peak_no_uplift() -> None:
    rules = read_rules(overrides={"demand": {"margin": 0.0}})
    few = customer_demand(customers_table([15000] * 4), Window(), rules, HS_J_PER_M3).flow_m3_per_s_std()
    many = customer_demand(customers_table([15000] * 400), Window(), rules, HS_J_PER_M3).flow_m3_per_s_std()
    assert few[0] / many[0] == pytest.approx((1 + 0.35 / 2) / (1 + 0.35 / 20))
    one = customer_demand(customers_table([NAN], [24.0]), Window(), rules, HS_J_PER_M3).flow_m3_per_s_std()
    assert one[0] == pytest.approx(24e3 / HS_J_PER_M3)


def test_recorded_peaks_share_by_the_curve() -> None:
    rules = read_rules(overrides={"demand": {"margin": 0.0}})
    many = customer_demand(customers_table([NAN] * 100, [24.0] * 100), Window(), rules, HS_J_PER_M3)
    # 0.449677646 + 0.551234688 / (1 + (100 / 53.84382392)^1.762743268), worked apart.
    assert many.flow_m3_per_s_std() == pytest.approx(np.full(100, 0.588 * 24e3 / HS_J_PER_M3), rel=1e-3)
    # Another kind of customer does not share with them.
    other = customers_table([NAN] * 100, [24.0] * 100, [0] * 99 + [1])
    alone = customer_demand(other, Window(), rules, HS_J_PER_M3).flow_m3_per_s_std()[-1]
    assert alone == pytest.approx(24e3 / HS_J_PER_M3, rel=1e-3)


def test_margins_raise_demand_exactly() -> None:
    table = customers_table([15000, NAN], [NAN, 24])
    plain = customer_demand(table, Window(air_temp_c=-2.0), default_rules(), HS_J_PER_M3)
    flow = plain.flow_m3_per_s_std(margin=False)
    assert plain.flow_m3_per_s_std() == pytest.approx(flow * 1.15)
    no_margin = read_rules(overrides={"demand": {"forecast_margin_c": 0.0}})
    colder = customer_demand(table, Window(air_temp_c=-5.0), no_margin, HS_J_PER_M3)
    assert colder.flow_m3_per_s_std() == pytest.approx(plain.flow_m3_per_s_std())


def test_a_window_without_a_start_is_any_working_day() -> None:
    hours = window_hours(Window(), default_rules())
    assert [hour.hour for hour in hours] == list(range(6, 20))
    assert {hour.weekday for hour in hours} == {-1}
    assert {hour.air_temp_c for hour in hours} == {-8.0}
    assert hours[1].words() == "any working day 07:00–08:00"


def test_a_window_touches_whole_clock_hours_and_gas_days() -> None:
    hours = window_hours(Window(datetime(2026, 2, 2, 4, 30), 2.6, 3.0), default_rules())
    assert [hour.hour for hour in hours] == [4, 5, 6, 7]
    # Monday before six still belongs to Sunday's gas day.
    assert [hour.weekday for hour in hours] == [6, 6, 0, 0]


@pytest.mark.parametrize(
    ("window", "says"),
    [
        (Window(hours=0.0), "--hours 0: not between"),
        (Window(hours=float("nan")), "--hours nan: not between"),
        (Window(air_temp_c=-80.0), "--air-temp -80: no air temperature"),
    ],
)
def test_impossible_windows_are_one_line(window: Window, says: str) -> None:
    with pytest.raises(BadInputError, match=says):
        window_hours(window, default_rules())


def _forecast(folder: Path, rows: list[str]) -> Path:
    path = folder / "forecast.csv"
    path.write_text("time,air_temp_c\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_forecast_sets_the_temperature_of_each_gas_day(tmp_path: Path) -> None:
    rows = [
        f"2026-02-{day:02d}T{hour:02d}:00,{-10 if day < 3 else 10}" for day in (2, 3) for hour in range(24)
    ]
    window = Window(datetime(2026, 2, 2, 8), 9.0, forecast=read_forecast(_forecast(tmp_path, rows)))
    hours = window_hours(window, default_rules())
    # 18 h of the second and 6 h of the third; the hours before 6 of the second are the day before.
    mean = (18 * -10 + 6 * 10) / 24
    assert hours[0].air_temp_c == pytest.approx((mean + 0.5 * -10) / 1.5)
    assert len({hour.air_temp_c for hour in hours}) == 1
    with pytest.raises(BadInputError, match=r"forecast\.csv: has no value for 2026-02-04T00:00"):
        window_hours(
            Window(datetime(2026, 2, 3, 20), 9.0, forecast=window.forecast),
            default_rules(),
        )
    with pytest.raises(BadInputError, match="needs the start"):
        window_hours(Window(forecast=window.forecast), default_rules())


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (["2026-02-02T08:00,warm"], "line 2: air_temp_c is not a number"),
        (["2026-02-02T08:00,281"], "line 2: air_temp_c 281 is no air temperature"),
        (["2026-02-02T08:30,1"], "line 2: time is not on a full hour"),
        (["yesterday,1"], "line 2: time: 'yesterday' is no ISO date and time"),
        (["2026-02-02T08:00,1", "2026-02-02T08:00,2"], "line 3: 2026-02-02T08:00:00 comes twice"),
        ([], "holds no hours"),
    ],
)
def test_bad_forecasts_are_one_line(tmp_path: Path, rows: list[str], says: str) -> None:
    with pytest.raises(BadInputError, match=says):
        read_forecast(_forecast(tmp_path, rows))


def test_the_page_on_demand_names_the_default_of_every_category() -> None:
    page = (Path(__file__).parents[2] / "docs" / "method" / "demand.md").read_text(encoding="utf-8")
    rows = {
        cells[0]: cells[1:]
        for line in page.splitlines()
        if len(cells := [cell.strip() for cell in line.strip("|").split("|")]) == 5
    }
    categories = category_figures()
    assert len(categories) == 4
    for name, figures in categories.items():
        default, profile, annual, peak = rows[name]
        assert float(default.replace(",", "")) == figures.annual_kwh
        assert profile.startswith(figures.profile)
        for words, least, most in (
            (annual, figures.least_annual_kwh, figures.most_annual_kwh),
            (peak, figures.least_peak_kw, figures.most_peak_kw),
        ):
            assert [float(word.replace(",", "")) for word in words.split(", ")] == [least, most]
