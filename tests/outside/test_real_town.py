"""The open Schutterwald network, turned into layers and planned through the public functions.

Source of the data: see tests/support/schutterwald.py. Counts of customers cut off (220,115 in all, 1,488 at most, 24 mains
that cut nobody): computed on the same data by another program of this project's founders, exact.
"""

from __future__ import annotations

import json
import math
from functools import lru_cache
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import plan_schema, read_plan
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, write_layers
from tests.compared import compared
from tests.support.case_counts import cases
from tests.support.independent import Walker
from tests.support.networks import customers_cut_off
from tests.support.schutterwald import CUSTOMERS, MAINS, MILD_C, Case, layers, pinned_rules
from tests.support.verified import check_walk

WORK = (
    ("M0", 5.0, 10.0),
    ("M1083", 60.0, 66.0),
    ("M438", 20.0, 24.0),
    ("M75", 18.0, 21.0),
    ("M632", 17.0, 20.0),
)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Network:
    folder = tmp_path_factory.mktemp("town") / "network"
    write_layers(layers(), folder)
    return read_network(folder)


@lru_cache(maxsize=1)
def _walker(scale: float) -> Walker:
    return Walker(layers(), scale)


def _plan(town: Network, work: tuple[str, float, float], **more: Any) -> Plan:
    return make_plan(PlanRequest(town, (WorkPart(*work),), pinned_rules(), air_temp_c=MILD_C, **more)).plan


def test_the_set_is_the_one_described(town: Network) -> None:
    assert town.pipes.n_mains == MAINS
    assert len(town.customers) == CUSTOMERS
    # 95.53 m³ by node-to-node geometry, with bores by the data set itself.
    mains = slice(0, MAINS)
    volume = float((np.pi / 4 * town.pipes.bore_m[mains] ** 2 * town.pipes.length_m[mains]).sum())
    compared(
        "Schutterwald: volume of the mains",
        volume * town.scale,
        95.53,
        abs=0.005,
        unit="m³",
        source="node-to-node geometry of the open data set",
        how="published",
    )


def test_cutting_each_main_at_its_ends_costs_as_many_customers_as_counted(town: Network) -> None:
    pieces = town.pieces
    lost = np.zeros(MAINS, dtype=int)
    for main in range(MAINS):
        carries = pieces.is_open & (pieces.pipe != main)
        lost[main] = len(customers_cut_off(town, carries))
    of = {name: lost[town.pipes.id.find(f"M{name}")] for name in (0, 100, 500, 1000, 438, 1715, 1716)}
    compared(
        "Schutterwald: customers cut off, sum over all mains",
        lost.sum(),
        220_115,
        source="counted apart from this code on the same data",
        how="arithmetic",
    )
    assert lost.max() == 1_488
    assert (lost == 0).sum() == 24
    assert of == {0: 65, 100: 833, 500: 180, 1000: 74, 438: 1488, 1715: 1488, 1716: 1488}


@pytest.mark.parametrize("work", WORK[: cases(3)], ids=[w[0] for w in WORK[: cases(3)]])
def test_a_repair_is_planned_and_holds_against_an_independent_walk(
    town: Network, work: tuple[str, float, float], tmp_path: Path
) -> None:
    result = make_plan(PlanRequest(town, (WorkPart(*work),), pinned_rules(), air_temp_c=MILD_C))
    compared(
        "Schutterwald: demand as declared",
        result.plan.conditions.demand_total_m3h,
        3_714_267 / 8760 / 4,
        rel=0.02,
        unit="m³/h",
        source="yearly volume of the open data set over 8760 h, a quarter",
        how="published",
    )
    write_plan_folder(result, tmp_path / "plan")
    jsonschema.validate(json.loads((tmp_path / "plan" / "plan.json").read_text()), plan_schema())
    plan = read_plan(tmp_path / "plan")
    assert plan.options
    for option in plan.options:
        _check_against_walk(plan, option, work)


def _check_against_walk(plan: Plan, option: Option, work: tuple[str, float, float]) -> None:
    walker = _walker(plan.network.length_scale)
    after = check_walk(walker, option, [work])
    assert all(stop.barriers == 2 for stop in option.stops)

    length = sum(zone.length_m for zone in option.zones)
    compared(
        "Schutterwald: length of the zone",
        length,
        sum(after.zone_length_m.values()),
        abs=0.02,
        unit="m",
        source="walk over the raw layers with shapely and networkx",
        how="library",
    )
    bore = {
        row["id"]: 147.2 if row["od_mm"] == 180 else 102.2 if row["sdr"] == 11 else 110.2 for row in _mains()
    }
    walked = sum(
        math.pi / 4 * ((bore[name] if layer == "mains" else 50.0) / 1000) ** 2 * metres
        for (layer, name), metres in after.zone_length_m.items()
    )
    # Stops are written to the millimetre: 0.1 %, and a millimetre of main at each end.
    volume = sum(zone.internal_volume_m3 for zone in option.zones)
    compared(
        "Schutterwald: volume of the zone",
        volume,
        walked,
        rel=1e-3,
        abs=2e-5 * len(option.stops),
        unit="m³",
        source="walk over the raw layers with shapely and networkx",
        how="library",
    )


@lru_cache(maxsize=1)
def _mains() -> list[dict[str, Any]]:
    records: list[dict[str, Any]] = layers()["mains"].drop(columns="geometry").to_dict("records")
    return records


def test_at_one_bar_a_bag_stop_is_refused_with_the_reason(tmp_path: Path) -> None:
    write_layers(layers(Case(outlet_mbar=1000.0, fault_mbar=1000.0)), tmp_path / "network")
    town = read_network(tmp_path / "network")
    rules = pinned_rules()
    bags = rules.model_copy(update={"method": tuple(m for m in rules.method if m.kind.value == "bag")})
    request = PlanRequest(town, (WorkPart("M0", 5.0, 10.0),), bags, air_temp_c=MILD_C)
    with pytest.raises(NoPlanError) as caught:
        make_plan(request)
    assert any("1000 mbar" in reason and "69 mbar" in reason for reason in caught.value.reasons), (
        caught.value.reasons
    )


def test_two_runs_and_another_order_of_rows_give_the_same_plan(town: Network, tmp_path: Path) -> None:
    shuffled = {name: frame.sample(frac=1.0, random_state=7) for name, frame in layers().items()}
    write_layers(shuffled, tmp_path / "network.gpkg")
    other = read_network(tmp_path / "network.gpkg")
    assert other.content_sha256 == town.content_sha256
    first, second = (_plan(t, WORK[0]) for t in (town, other))
    assert first.model_dump(exclude={"provenance"}) == second.model_dump(exclude={"provenance"})
