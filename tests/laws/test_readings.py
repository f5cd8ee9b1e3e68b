"""Every reading of every step is solved: an independent solver on the raw layers reads the same (own).

The layers are joined, cut, fed and solved by `tests.whole_plan`, which shares no code with the program but the
demand of customers. Networks: the sample town, the open Schutterwald set laid level, random towns.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError, NoPlanError, NotSolvedError
from netplan.demand import DemandResult, Window, customer_demand
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile import model
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.reference.gas import METRIC_STANDARD, named_gas
from netplan.rules import Rules, read_rules
from tests.benchmarks.plan_tables import sections
from tests.support import schutterwald
from tests.whole_plan.case import Case
from tests.whole_plan.flow import Pressures
from tests.whole_plan.making import write_layers
from tests.whole_plan.readings import Hour, StateOfWork, gauge_mbar, hour_of
from tests.whole_plan.towns import random_town
from tests.whole_plan.walk import Raw

AGREE_MBAR = 0.01
TOWNS = int(os.environ.get("NETPLAN_TOWNS", "6"))
Layers = dict[str, gpd.GeoDataFrame]


def check(
    network: Network, layers: Layers, request: PlanRequest, plan: model.Plan, options: int = 5, every: int = 1
) -> tuple[int, int]:
    """Check readings of the options; return how many there were, and how many by weather.

    Of the readings by weather every so many of the hours of a temperature is taken.
    """
    raw, readings, by_weather = _raw(network, layers), 0, 0
    whole = plan.model_dump(mode="json", by_alias=True)
    for option in whole["options"][:options]:
        work = StateOfWork(Case(raw, whole, option), list(network.customers.id))
        demand = demand_of(network, request, request.air_temp_c)
        for step, reading in _readings(option):
            changes = work.changes(step["state"])
            solved = work.solved(changes, hour_of(demand, demand.worst_hour), "planned")
            ours = gauge_mbar(work.case, reading["gauge_id"], solved)
            where = (option["rank"], step["n"], step["state"], reading["gauge_id"])
            assert reading["expect_mbar"] == pytest.approx(ours, abs=AGREE_MBAR), where
            readings += 1
            for row in reading["by_weather"][::every]:
                milder = demand_of(network, request, row["air_temp_c"])
                hour = next(k for k, one in enumerate(milder.hours) if one.hour == row["hour"])
                key = (row["air_temp_c"], hour)
                ours = gauge_mbar(
                    work.case, reading["gauge_id"], work.solved(changes, hour_of(milder, hour), key)
                )
                assert row["expect_mbar"] == pytest.approx(ours, abs=AGREE_MBAR), (where, key)
                by_weather += 1
    return readings, by_weather


def _raw(network: Network, layers: Layers) -> Raw:
    """Return raw layers with the bore of every pipe: sizes of tables are checked elsewhere."""
    raw, pipes = Raw(layers, network.scale), network.pipes
    for row, ident in enumerate(pipes.id):
        records = raw.mains if row < pipes.n_mains else raw.services
        records[ident]["bore_mm"] = 1000.0 * float(pipes.bore_m[row])
    return raw


def _readings(option: dict[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    on_zone = {gauge["id"] for gauge in option["zone_gauges"]}
    for step in option["steps"]:
        for reading in step["readings"]:
            if reading["gauge_id"] not in on_zone:
                yield step, reading


def demand_of(network: Network, request: PlanRequest, air_temp_c: float | None) -> DemandResult:
    """Return the demand of the window in some weather."""
    window = Window(request.start, request.hours, air_temp_c, request.forecast)
    calorific = named_gas(str(request.rules.gas.name)).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    return customer_demand(network.customers, window, request.rules, calorific)


def level(layers: Layers) -> Layers:
    """Return layers without heights: the independent solver has none."""
    return {name: rows.set_geometry(shapely.force_2d(rows.geometry)) for name, rows in layers.items()}


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[Network, Layers]:
    names = [str(name) for name, _ in pyogrio.list_layers(sample_network())]
    layers = level({name: gpd.read_file(sample_network(), layer=name) for name in names})
    path = tmp_path_factory.mktemp("level") / "sample.gpkg"
    write_layers(layers, path)
    return read_network(path), layers


@pytest.fixture(scope="module")
def sample_plan(sample: tuple[Network, Layers]) -> tuple[PlanRequest, model.Plan]:
    request = PlanRequest(sample[0], (WorkPart("M0142", 158.0, 162.0),), read_rules())
    return request, make_plan(request).plan


@pytest.fixture(scope="module")
def sample_work(
    sample: tuple[Network, Layers], sample_plan: tuple[PlanRequest, model.Plan]
) -> tuple[StateOfWork, Hour]:
    (network, layers), (request, plan) = sample, sample_plan
    whole = plan.model_dump(mode="json", by_alias=True)
    work = StateOfWork(Case(_raw(network, layers), whole, whole["options"][0]), list(network.customers.id))
    demand = demand_of(network, request, None)
    return work, hour_of(demand, demand.worst_hour)


def test_readings_of_the_sample_plan_are_those_of_an_independent_solver(
    sample: tuple[Network, Layers], sample_plan: tuple[PlanRequest, model.Plan]
) -> None:
    (network, layers), (request, plan) = sample, sample_plan
    readings, by_weather = check(network, layers, request, plan, options=1, every=27)
    states = {step.state for step in plan.options[0].steps if step.readings}
    assert {"normal running", "B1 open", "meters off", "S1 in", "S1 out", "B1 shut"} <= states
    assert any(name.startswith("purge in at ") for name in states)
    assert readings > 60
    assert by_weather > 150


# --- when to stop ----------------------------------------------------------------------------------------


def _reading(option: dict[str, Any], state: str, gauge: str) -> dict[str, Any]:
    found: dict[str, Any] = next(
        one
        for step in option["steps"]
        if step["state"] == state
        for one in step["readings"]
        if one["gauge_id"] == gauge
    )
    return found


def _least_kept(case: Case, solved: Pressures) -> float:
    off = {c["id"] for c in case.option["customers"] if c["effect"] == "off"}
    nodes = [node for ident, ends in case.raw.ends_of.items() if ident not in off for node in ends]
    known = [solved.at(node) for node in nodes if not case.stopped.in_zone(node)]
    return min(one for one in known if one == one)


@pytest.mark.parametrize("state", ["meters off", "S1 in"])
def test_at_the_abort_reading_the_first_kept_meter_is_at_its_minimum_or_above(
    sample_work: tuple[StateOfWork, Hour], state: str
) -> None:
    """Let every station's outlet fall until somebody kept is at the minimum: the gauges abort just before."""
    work, hour = sample_work
    case = work.case
    changes = work.changes(state)
    set_mbar = {ident: row["outlet_mbar"] for ident, row in case.raw.stations.items()}
    minimum = case.rules["pressure"]["minimum_mbar"]
    fall = _least_kept(case, work.solved(changes, hour, "planned")) - minimum
    try:
        for _ in range(4):
            for ident, row in case.raw.stations.items():
                row["outlet_mbar"] = set_mbar[ident] - fall
            solved = work.solve(changes, hour)
            fall += _least_kept(case, solved) - minimum
    finally:
        for ident, row in case.raw.stations.items():
            row["outlet_mbar"] = set_mbar[ident]
    assert _least_kept(case, solved) == pytest.approx(minimum, abs=0.002)
    for gauge in case.option["gauges"]:
        reading = _reading(case.option, state, gauge["id"])
        # Its error earlier, and no more than a few hundredths besides.
        early = reading["abort_mbar"] - gauge_mbar(case, gauge["id"], solved)
        assert reading["error_mbar"] - 0.002 <= early <= reading["error_mbar"] + 0.05
        assert reading["abort_mbar"] <= reading["warning_mbar"] < reading["expect_mbar"]
        half = (reading["expect_mbar"] - reading["abort_mbar"]) / 2.0
        assert reading["band_mbar"] == pytest.approx(min(half, 1.0), abs=0.002)
        assert reading["band_mbar"] >= 2.0 * reading["error_mbar"]
        # 75 mbar at a meter, 69 at a set barrier of a bag.
        assert 60.0 < reading["abort_high_mbar"] < 75.5


# --- the test of a bypass --------------------------------------------------------------------------------

GAS = (0.7347, 1.0745e-5)
AIR = (1.225, 1.81e-5)
"""Density [kg/m³] at 15 °C, 101.325 kPa and viscosity [Pa s]; air by the ICAO standard atmosphere."""


def drop_mbar(bypass: dict[str, Any], bore_mm: float, flow_m3h: float, fluid: tuple[float, float]) -> float:
    """Return the drop along one hose by Darcy, Colebrook and its local losses, worked out here."""
    density, viscosity = fluid
    bore, flow = bore_mm / 1000.0, flow_m3h / 3600.0 / int(bypass["parallel"])
    speed = flow / (math.pi / 4.0 * bore**2)
    reynolds = density * speed * bore / viscosity
    root = 6.0
    for _ in range(50):
        root = -2.0 * math.log10(0.01e-3 / bore / 3.7 + 2.51 * root / reynolds)
    factor = 64.0 / reynolds if reynolds < 2000.0 else root**-2
    losses = factor * float(bypass["length_m"]) / bore + float(bypass["loss_coefficient"])
    return losses * density * speed**2 / 200.0


def half_capacity_bore_mm(bypass: dict[str, Any]) -> float:
    """Return the bore with which a hose carries half the planned flow at the planned drop."""
    high = float(bypass["bore_mm"])
    low = 0.3 * high
    for _ in range(60):
        middle = (low + high) / 2.0
        too_wide = drop_mbar(bypass, middle, bypass["flow_m3h"] / 2.0, GAS) < bypass["drop_mbar"]
        low, high = (low, middle) if too_wide else (middle, high)
    return low


def test_a_bypass_of_half_the_planned_capacity_fails_its_test(
    sample_work: tuple[StateOfWork, Hour],
) -> None:
    work, hour = sample_work
    option = work.case.option
    bypass = option["bypasses"][0]
    tested = [step["feed_test"] for step in option["steps"] if step["feed_test"]]
    assert [one["feed_id"] for one in tested] == ["B1", "B1"]
    test = tested[0]
    assert test["flow_m3h"] == bypass["flow_m3h"]
    # As planned it passes, with gas and with air, and the instrument may err on top.
    assert drop_mbar(bypass, bypass["bore_mm"], test["flow_m3h"], GAS) == pytest.approx(
        test["drop_mbar"], rel=0.06
    )
    as_planned = drop_mbar(bypass, bypass["bore_mm"], test["flow_m3h"], AIR)
    assert as_planned == pytest.approx(test["air_drop_mbar"], rel=0.06)
    assert as_planned + test["error_mbar"] <= test["most_air_mbar"]
    # With half the capacity it fails, though the instrument errs the other way.
    narrow = half_capacity_bore_mm(bypass)
    assert narrow < 0.9 * bypass["bore_mm"]
    assert drop_mbar(bypass, narrow, test["flow_m3h"], GAS) > 1.5 * test["most_mbar"]
    assert drop_mbar(bypass, narrow, test["flow_m3h"], AIR) - test["error_mbar"] > test["most_air_mbar"]
    # And where it was laid all the same, the first stops show it at the fed end.
    as_it_is = bypass["bore_mm"]
    bypass["bore_mm"] = narrow
    try:
        solved = work.solve(work.changes("S2 in"), hour)
    finally:
        bypass["bore_mm"] = as_it_is
    beyond = [
        gauge["id"]
        for gauge in option["gauges"]
        if gauge_mbar(work.case, gauge["id"], solved)
        < _reading(option, "S2 in", gauge["id"])["expect_mbar"]
        - _reading(option, "S2 in", gauge["id"])["band_mbar"]
    ]
    assert beyond == ["G3", "G4"]


# --- other networks --------------------------------------------------------------------------------------


@pytest.mark.slow
def test_readings_of_schutterwald_are_those_of_an_independent_solver() -> None:
    layers = level(schutterwald.layers())
    network = build_network(layers, strict=False)
    rules: Rules = schutterwald.pinned_rules()
    found = 0
    for part in sections(network, 2):
        request = PlanRequest(network, (part,), rules, air_temp_c=schutterwald.MILD_C, weather=False)
        try:
            plan = make_plan(request).plan
        except NoPlanError:
            continue
        found += check(network, layers, request, plan)[0]
    assert found > 100


def test_readings_of_random_towns_are_those_of_an_independent_solver(tmp_path: Path) -> None:
    found = fed = 0
    for seed in range(1000, 1000 + TOWNS):
        town = random_town(seed)
        layers = town.layers()
        path = tmp_path / f"{seed}.gpkg"
        write_layers(layers, path)
        network = read_network(path)
        request = PlanRequest(
            network,
            tuple(WorkPart(*part) for part in town.work),
            read_rules(None, overrides=town.rules),
            air_temp_c=town.air_temp_c,
            own_supply=tuple(network.customers.id.find(one) for one in town.own_supply),
            weather=False,
        )
        try:
            plan = make_plan(request).plan
        except (BadInputError, NoPlanError, NotSolvedError):
            continue
        raw = {str(name): pyogrio.read_dataframe(path, layer=name) for name, _ in pyogrio.list_layers(path)}
        found += check(network, raw, request, plan)[0]
        fed += any(option.bypasses or option.opened_valves for option in plan.options)
    assert found > 20 * TOWNS
    assert fed >= TOWNS // 6
