"""Limits that people read off a plan: rounded to the safe side, in the order that they have in truth (own)."""

from __future__ import annotations

import io
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from netplan.network.work_section import WorkPart
from netplan.outputs.documents.work_pack import _bypass
from netplan.outputs.documents.work_pack_tables import network_part
from netplan.outputs.layers import plan_layers
from netplan.outputs.map.plan_map_data import map_data
from netplan.outputs.number_format import METRIC, US, Figures
from netplan.outputs.terminal.plan_comparison import print_comparison
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.outputs.terminal.resized_feeds import print_resized
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.planning.resize import ResizeRequest, resize
from netplan.planning.resize_problem import resize_problem
from netplan.readers import read_network, write_layers
from netplan.rules import read_rules
from tests.own.test_cli_bypass import _street

NARROW = {"bypass": {"bores_mm": [25.0], "parallel_max": 1}}
"""Of the hoses only the one whose edge lies between 4.0 and 4.1 °C on this street."""


def _planned(folder: Path, air_temp_c: float, annual_kwh: float = 246_000.0) -> PlanResult:
    path = folder / "street.gpkg"
    write_layers(_street({0.0: 500.0}, {50.0: 40_000.0, 150.0: annual_kwh}), path)
    rules = read_rules(overrides=NARROW)
    request = PlanRequest(
        read_network(path), (WorkPart("M1", 97.0, 103.0),), rules, options=1, air_temp_c=air_temp_c
    )
    return make_plan(request)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> PlanResult:
    return _planned(tmp_path_factory.mktemp("street"), 12.0)


def _printed(write: Any, *arguments: Any, units: Figures) -> str:
    stream = io.StringIO()
    write(*arguments, Console(file=stream, width=250), units=units)
    return stream.getvalue()


def _number(text: str) -> Fraction:
    found = re.match(r"[−-]?[\d.]+", text)
    assert found, text
    return Fraction(found[0].replace("−", "-"))


def _true(value: float, what: str, units: Figures) -> Fraction:
    exact = Fraction(repr(value))
    if units is METRIC:
        return exact
    return {
        "temperature": exact * Fraction(9, 5) + 32,
        "pressure": exact * 100 / Fraction(2490889, 10000),
        "flow": exact / Fraction(3048, 10000) ** 3,
    }[what]


@pytest.mark.parametrize(("units", "fails", "holds"), [(US, "39.2", "39.4"), (METRIC, "4.0", "4.1")])
def test_what_does_not_hold_reads_apart_from_what_does(
    planned: PlanResult, units: Figures, fails: str, holds: str
) -> None:
    """The hose holds to 4.1 °C and not at 4.0 °C: both read 39 °F."""
    plan = planned.plan
    problem = resize_problem(plan, planned.states[0])
    assert plan.options[0].bypasses[0].minimum_air_temp_c == 4.1
    found = resize(problem, ResizeRequest(air_temp_c=4.0))
    assert not found.holds
    said = _printed(print_resized, found, units=units)
    sign = units.kind("temperature").sign
    assert f"no size of the list holds at {fails} {sign}" in said
    row = next(line for line in said.splitlines() if re.match(r"\s*(1 in|25\.0 mm)", line))
    assert f" {holds} " in row
    assert resize(problem, ResizeRequest(air_temp_c=4.1), weather=False).holds
    assert f"holds to {holds} {sign} air" in _printed(print_summary, plan, units=units)


def test_a_plan_off_the_grid_holds_for_its_own_weather(tmp_path: Path) -> None:
    """What is planned for 4.05 °C holds to 4.05 °C at least, though 4.0 °C is too cold and 4.1 °C is not."""
    plan = _planned(tmp_path, 4.05, 245_250.0).plan
    assert [bypass.bore_mm for bypass in plan.options[0].bypasses] == [25.0]
    coldest = plan.options[0].bypasses[0].minimum_air_temp_c
    assert coldest == 4.05 == plan.conditions.air_temp_c
    for units, said in ((METRIC, "4.05 °C"), (US, "39.3 °F")):
        text = _printed(print_summary, plan, units=units)
        assert f"holds to {said} air" in text
        assert f", air {said}" in text


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
def test_limits_of_a_plan_are_shown_on_the_safe_side(planned: PlanResult, units: Figures) -> None:
    plan, layers = planned.plan, plan_layers(planned)
    option = plan.options[0]
    page = map_data(plan, layers, planned.states, units)["options"][0]
    bypass, feed = option.bypasses[0], dict(_bypass(0, option.bypasses[0], units)["rows"])
    on_map = dict(page["bypasses"][0]["rows"])
    network = network_part(plan, option, planned.states[0].stations, units)
    assert bypass.minimum_air_temp_c is not None
    assert bypass.spare_m3h is not None
    coldest = _true(bypass.minimum_air_temp_c, "temperature", units)
    assert coldest <= _number(feed["holds down to"]) < coldest + Fraction(1, 10)
    assert _number(on_map["holds down to"]) == _number(feed["holds down to"])
    assert _number(feed["spare flow"]) <= _true(bypass.spare_m3h, "flow", units)
    assert _number(feed["flow to carry"]) >= _true(bypass.flow_m3h, "flow", units)
    least = option.pressures.after.least_mbar
    assert least is not None
    assert _number(dict(page["facts"])["least pressure"]) <= _true(least, "pressure", units)
    for row, state in zip(network["pressures"][1:], option.states, strict=False):
        assert state.least_mbar is not None
        assert _number(row["least"]) <= _true(state.least_mbar, "pressure", units)
    for row, gauge in zip(network["gauges"], option.gauges, strict=True):
        assert _number(row["abort"]) >= _true(gauge.abort_mbar, "pressure", units)
        assert _number(row["warning"]) >= _true(gauge.warning_mbar, "pressure", units)
        assert _number(row["abort"]) <= _number(row["warning"]) <= _number(row["normal"])
    for shown, stop in zip(page["stops"], option.stops, strict=True):
        assert stop.fault_pressure_mbar is not None
        rows = dict(shown["rows"])
        assert _number(rows["highest pressure in a station fault"]) >= _true(
            stop.fault_pressure_mbar, "pressure", units
        )
    capacity = Fraction(500) if units is METRIC else _true(500.0, "flow", units)
    assert [_number(row["capacity"]) <= capacity for row in network["station-rows"]] == [True]


def test_plan_json_is_on_the_safe_side_of_the_layers(planned: PlanResult) -> None:
    """plan.gpkg holds the solved figures as they are."""
    option, layers = planned.plan.options[0], plan_layers(planned)
    rows = layers["customers"].set_index("customer_id").pressure_mbar
    kept = [customer for customer in option.customers if customer.pressure_mbar is not None]
    assert kept
    for customer in kept:
        assert customer.pressure_mbar is not None
        assert -1e-3 < customer.pressure_mbar - float(rows[customer.id]) <= 2e-7


def test_plans_side_by_side_tell_planned_from_held(planned: PlanResult, tmp_path: Path) -> None:
    other = _planned(tmp_path, 4.1)
    said = _printed(print_comparison, [("mild", planned.plan), ("cold", other.plan)], units=US)
    assert re.search(r"planned for air of °F\W+53\.6\W+39\.4", said)
    assert re.search(r"holds to air of °F\W+39\.4\W+39\.4", said)
