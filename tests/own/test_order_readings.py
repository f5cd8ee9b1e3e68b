"""Readings of the steps of small plans: by weather, finer gauges, refusals, gauges that agree (own)."""

from __future__ import annotations

from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile import model
from netplan.planning.make_plan import make_plan
from netplan.planning.option_records.state_readings import GaugeLimits, gauge_error_mbar
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules, read_rules
from tests.support.networks import build, customer, main, service, station


def plan_of(
    *, weather: bool = False, rules: dict[str, Any] | None = None, outlet_mbar: float = 30.0
) -> model.Plan:
    """Plan 6 m in the middle of a street with a station at either end, and a house on the work."""
    network = build(
        strict=False,
        mains=[main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010)],
        services=[
            service("S1", (60, 0), (60, 8)),
            service("S2", (200, 0), (200, 8), od_mm=63.0),
            service("S3", (113, 0), (113, 8)),
        ],
        customers=[
            customer("C1", (60, 8), service_id="S1"),
            customer("C2", (200, 8), service_id="S2", annual_kwh=2e6, category="business"),
            customer("C3", (113, 8), service_id="S3"),
        ],
        regulators=[
            station("R1", (0, 0), outlet_mbar=outlet_mbar, max_outlet_mbar=60.0),
            station("R2", (300, 0), outlet_mbar=outlet_mbar - 1.0, max_outlet_mbar=60.0),
        ],
    )
    request = PlanRequest(
        network, (WorkPart("M1", 110.0, 116.0),), read_rules(None, rules or {}), weather=weather
    )
    return make_plan(request).plan


def readings(option: model.Option) -> list[tuple[model.Step, model.Reading]]:
    """Return steps with their readings on the live network."""
    on_zone = {gauge.id for gauge in option.zone_gauges}
    return [(s, one) for s in option.steps for one in s.readings if one.gauge_id not in on_zone]


def test_readings_by_weather_are_of_the_best_option_alone_and_left_out_by_order() -> None:
    plan = plan_of(weather=True)
    best, *others = plan.options
    planned = plan.conditions.air_temp_c
    for _, reading in readings(best):
        temps = sorted({row.air_temp_c for row in reading.by_weather})
        assert temps == [planned + 5.0 * k for k in range(len(temps))]
        assert len(temps) == 5
        assert len(reading.by_weather) == 5 * len({row.hour for row in reading.by_weather})
        # What the plan is for is among them, and when it is milder less is drawn: no gauge reads less.
        rows = {(row.air_temp_c, row.hour): row for row in reading.by_weather}
        assert reading.hour is not None
        assert rows[planned, reading.hour].expect_mbar == pytest.approx(reading.expect_mbar, abs=0.002)
        assert rows[temps[-1], reading.hour].expect_mbar >= reading.expect_mbar
        assert all(row.abort_mbar is not None and row.abort_mbar < row.expect_mbar for row in rows.values())
    assert others
    for option in others:
        assert not any(reading.by_weather for _, reading in readings(option))
    assert not any(reading.by_weather for _, reading in readings(plan_of().options[0]))


def test_gauges_agree_with_their_readings() -> None:
    compared = 0
    for option in plan_of().options:
        last = [state.after_step for state in option.states if state.after_step.endswith(" in")][-1]
        found = {(step.state, reading.gauge_id): reading for step, reading in readings(option)}
        for gauge in option.gauges:
            before, after = found.get(("meters off", gauge.id)), found[last, gauge.id]
            if before is None:
                continue  # nobody goes off: nothing is read then
            compared += 1
            lower = min(before.expect_mbar - after.expect_mbar, 0.0)
            assert gauge.normal_mbar == pytest.approx(before.expect_mbar, abs=0.002)
            assert after.warning_mbar is not None
            assert after.abort_mbar is not None
            assert gauge.warning_mbar == pytest.approx(after.warning_mbar + lower, abs=0.002)
            assert gauge.abort_mbar == pytest.approx(after.abort_mbar + lower, abs=0.002)
    assert compared


def test_a_zone_gauge_aborts_at_the_highest_pressure_at_the_latest() -> None:
    """Squeezes stand thousands of mbar from the work side: no limit that anybody could act on."""
    highest = default_rules().pressure.maximum_mbar
    option = plan_of().options[0]
    on_zones = {gauge.id for gauge in option.zone_gauges}
    found = [one for step in option.steps for one in step.readings if one.gauge_id in on_zones]
    limits = [one.abort_high_mbar for one in found]
    assert limits
    assert all(limit is not None and limit <= highest for limit in limits)


def test_where_little_is_left_a_finer_gauge_is_named() -> None:
    least = min(state.least_mbar or 99.0 for state in plan_of().options[0].states)
    tight = {"pressure": {"minimum_mbar": round(least - 0.3, 2), "margin_mbar": 0.1}}
    option = plan_of(rules=tight).options[0]
    errors = [one.error_mbar for _, one in readings(option) if one.error_mbar is not None]
    assert min(errors) < default_rules().gauge.error_mbar
    named = [line for line in option.warnings if "needs a gauge with an error of at most" in line]
    assert named
    for _, reading in readings(option):
        assert reading.error_mbar is not None
        assert reading.band_mbar >= 2.0 * reading.error_mbar - 0.001
        assert reading.abort_mbar is not None
        assert reading.band_mbar <= (reading.expect_mbar - reading.abort_mbar) / 2.0 + 0.001


def test_where_no_gauge_is_fine_enough_there_is_no_plan() -> None:
    assert plan_of().options
    with pytest.raises(NoPlanError) as refused:
        plan_of(rules={"gauge": {"error_mbar": 9.0, "finest_error_mbar": 9.0}})
    assert "finer than 9" in "; ".join(map(str, refused.value.reasons))


def test_the_error_of_a_gauge_leaves_a_band_of_twice_its_size() -> None:
    rules = default_rules().gauge
    for fall_pa in (30.0, 47.0, 49.0, 50.0, 80.0, 400.0):
        error = gauge_error_mbar(GaugeLimits(fall_pa, fall_pa, float("nan")), rules)
        half = (fall_pa / 100.0 - error) / 2.0
        assert 2.0 * error <= half + 1e-9
        assert error == (rules.error_mbar if fall_pa >= 50.0 else pytest.approx(fall_pa / 500.0, abs=0.01))
    assert gauge_error_mbar(GaugeLimits(-5.0, -5.0, 300.0), rules) == 0.0
    # The nearer side counts.
    assert gauge_error_mbar(GaugeLimits(300.0, 100.0, 30.0), rules) == pytest.approx(0.06)


def test_the_gauge_of_a_zone_reads_live_pressure_then_nothing_and_live_again() -> None:
    option = plan_of().options[0]
    (gauge,) = option.zone_gauges
    found = [
        (step, one.expect_mbar) for step in option.steps for one in step.readings if one.gauge_id == gauge.id
    ]
    t0 = [mbar for step, mbar in found if step.let_by is not None and step.let_by.name == "T0"]
    order = [state.after_step for state in option.states if state.after_step.endswith(" in")]
    shut_in = [one.expect_mbar for step, one in readings(option) if step.state == order[-2]]
    assert len(t0) == 1
    # The zone stood open to the side of its last stop, whose gauge is a metre away.
    assert min(abs(t0[0] - mbar) for mbar in shut_in) < 0.05
    vented = [mbar for step, mbar in found if step.let_by is not None and step.let_by.name != "T0"]
    assert vented
    assert set(vented) == {0.0}
    (back,) = [mbar for step, mbar in found if step.stage == "joints tested on gas"]
    live = [stop.pressure_mbar for stop in option.stops if stop.pressure_mbar is not None]
    assert min(abs(back - mbar) for mbar in live) < 0.002
