"""Every reading of every step is solved: an independent solver on the raw layers reads the same (own).

The layers are joined, cut, fed and solved by `tests.whole_plan`, which shares no code with the program but the
demand of customers. Networks: the sample town, the open Schutterwald set laid level, random towns.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
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
from tests.whole_plan.making import write_layers
from tests.whole_plan.readings import StateOfWork, gauge_mbar, hour_of
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
            changes = work.changes(step["state"], meters_on=step["stage"] == "feed closed")
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


def test_readings_of_the_sample_plan_are_those_of_an_independent_solver(
    sample: tuple[Network, Layers],
) -> None:
    network, layers = sample
    request = PlanRequest(network, (WorkPart("M0142", 158.0, 162.0),), read_rules())
    plan = make_plan(request).plan
    readings, by_weather = check(network, layers, request, plan, options=1, every=27)
    states = {step.state for step in plan.options[0].steps if step.readings}
    assert {"normal running", "B1 open", "meters off", "S1 in", "S1 out", "B1 shut"} <= states
    assert any(name.startswith("purge in at ") for name in states)
    assert readings > 60
    assert by_weather > 150


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
        except Exception as error:
            if type(error).__name__ in ("NoPlanError", "BadInputError", "NotSolvedError", "BadNetworkError"):
                continue
            raise
        raw = {str(name): pyogrio.read_dataframe(path, layer=name) for name, _ in pyogrio.list_layers(path)}
        found += check(network, raw, request, plan)[0]
        fed += any(option.bypasses or option.opened_valves for option in plan.options)
    assert found > 20 * TOWNS
    assert fed >= TOWNS // 6
