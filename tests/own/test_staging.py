"""Staging: order along a renewal, borders, what is refused, and the folder of the stages."""

from __future__ import annotations

import itertools
import shutil
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pandas as pd
import pyogrio
import pytest

from netplan.core.errors import BadInputError, BadWorkError, NoPlanError
from netplan.network.model import Network
from netplan.outputs.output_folders import check_stages_target
from netplan.outputs.reader_choices import Choices
from netplan.outputs.stage_folder import write_stages_folder
from netplan.planfile.plan_json import read_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from netplan.staging import Staging, renewal_of_mains, renewal_of_street, stage_renewal
from netplan.staging.stage_borders import borders_of
from tests.support.networks import build, customer, main, service, station
from tests.support.streets import long_row


def _request(network: Network, **staging: float) -> PlanRequest:
    rules = read_rules(None, {"staging": {"step_m": 50, "longest_m": 60, "shortest_m": 10, **staging}})
    return PlanRequest(network, (), rules, air_temp_c=4.0, options=2, weather=False)


@pytest.fixture(scope="module")
def staged() -> Staging:
    """Return the stages of the row with a valve, from a Thursday on."""
    network = long_row((75.0,))
    request = replace(_request(network), start=datetime(2026, 12, 3, 8, 0))
    return stage_renewal(request, renewal_of_street(network, "Long Row"))


@pytest.fixture(scope="module")
def folder(staged: Staging, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of these stages."""
    out = tmp_path_factory.mktemp("staged") / "stages"
    return write_stages_folder(staged, out, choices=Choices(papers=False))


def test_mains_are_put_in_order_and_turned() -> None:
    network = long_row()
    renewal = renewal_of_street(network, "LONG ROW")
    assert [(network.pipes.id[leg.pipe], leg.start_m, leg.forward) for leg in renewal.legs] == [
        ("A", 0.0, True),
        ("B", 60.0, False),
        ("C", 110.0, True),
    ]
    parts, _ = renewal.section(network, 50.0, 80.0)
    assert [(p.main_id, p.from_m, p.to_m) for p in parts] == [("A", 50.0, 60.0), ("B", 30.0, 50.0)]
    assert renewal_of_mains(network, ["C", "A", "B"]) == renewal
    with pytest.raises(BadWorkError, match=r"did you mean .*Long Row"):
        renewal_of_street(network, "Longrow")


def test_borders_stand_at_ends_of_mains_and_near_enough() -> None:
    network = long_row()
    borders = borders_of(network, renewal_of_street(network, "Long Row"), 20.0)
    assert {0.0, 60.0, 110.0, 160.0} <= set(borders)
    assert all(0 < b - a <= 20.0 for a, b in itertools.pairwise(borders))


def test_a_valve_between_two_stages_is_paid_for_once(staged: Staging) -> None:
    found = staged
    shared = [one for stage in found.stages for one in stage.sharing.stops]
    prices = {(k, stop.id): stop.price for k, stage in enumerate(found.stages) for stop in stage.option.stops}
    by_id = [(k, one) for k, stage in enumerate(found.stages) for one in stage.sharing.stops]
    saved = sum(min(prices[k, one.stop_id], prices[k - 1, one.before_id]) for k, one in by_id)
    assert shared
    assert saved > 0
    assert sum(one.saved_minor for one in shared) == pytest.approx(saved * 100)
    assert found.burden_minor == found.alone_minor - sum(one.saved_minor for one in shared)


def test_lengths_that_cannot_be_are_no_plan() -> None:
    network = long_row()
    request = _request(network, longest_m=11, shortest_m=11)
    with pytest.raises(NoPlanError, match="fits the renewal"):
        stage_renewal(request, renewal_of_street(network, "Long Row"))


def test_a_place_where_no_stage_has_a_plan_is_named_with_what_would_allow_one() -> None:
    network = long_row()
    request = replace(_request(network), hours=3.0)
    with pytest.raises(NoPlanError, match="has plans throughout") as caught:
        stage_renewal(request, renewal_of_street(network, "Long Row"))
    assert not caught.value.cut_short
    assert caught.value.reasons[0].startswith("0 m to ")
    assert "longer window" in caught.value.reasons[0]


def test_where_plans_are_spent_nobody_says_that_there_are_no_stages() -> None:
    network = long_row()
    request = replace(_request(network, plans_max=1), hours=3.0)
    with pytest.raises(NoPlanError, match="within 1 plans, but one may exist") as caught:
        stage_renewal(request, renewal_of_street(network, "Long Row"))
    assert caught.value.cut_short


def test_where_not_every_length_was_planned_the_gap_is_stated(staged: Staging) -> None:
    every, network = staged, staged.network
    few = stage_renewal(_request(network, plans_max=every.plans_made - 3), every.renewal)
    assert every.is_every_length
    assert not few.is_every_length
    assert few.bound_minor <= every.bound_minor <= every.alone_minor
    assert few.gap_minor == few.alone_minor - few.bound_minor >= 0
    assert few.most_off == every.most_off


def test_a_priority_customer_is_kept_on_unless_it_has_a_supply_of_its_own() -> None:
    houses = (-50, 20, 60, 100, 170)
    network = build(
        strict=False,
        mains=[
            main("M0", (-60, 0), (0, 0), od_mm=110.0, year=2010),
            main("M1", (0, 0), (120, 0), od_mm=110.0, year=2010, street="Long Row"),
            main("M2", (120, 0), (180, 0), od_mm=110.0, year=2010),
        ],
        services=[service(f"S{x}", (x, 0), (x, 8)) for x in houses],
        customers=[
            customer(f"C{x}", (x, 8), service_id=f"S{x}", **({"priority": "care home"} if x == 60 else {}))
            for x in houses
        ],
        regulators=[station("R1", (-60, 0)), station("R2", (180, 0))],
    )
    renewal = renewal_of_street(network, "Long Row")
    request = replace(_request(network), hours=16.0)
    with pytest.raises(NoPlanError, match="has plans throughout") as caught:
        stage_renewal(request, renewal)
    assert "C60" in str(caught.value.reasons)
    found = stage_renewal(replace(request, own_supply=(network.customers.id.find("C60"),)), renewal)
    assert any(one.id == "C60" and one.effect == "off" for s in found.stages for one in s.option.customers)


def test_the_folder_holds_tables_and_a_map_and_plan_of_each_stage(staged: Staging, folder: Path) -> None:
    found, out = staged, folder
    table, days = pd.read_csv(out / "stages.csv"), pd.read_csv(out / "calendar.csv")
    assert table["burden"].sum() * 100 == pytest.approx(found.burden_minor)
    assert table["meters_off"].max() == found.most_off
    assert {name for name, _ in pyogrio.list_layers(out / "stages.gpkg")} >= {"work", "zones", "stops"}
    pages = sorted(path.name for path in out.glob("*.html"))
    assert pages == [f"stage-{k}.html" for k in range(1, len(found.stages) + 1)]
    # Thursday and Friday, then Monday: the crew has its weekend.
    assert days["date"].tolist()[:3] == ["2026-12-03", "2026-12-04", "2026-12-07"]
    for row, day in zip(table.to_dict("records"), days.to_dict("records"), strict=True):
        plan = read_plan(out / row["plan"])
        option = plan.options[row["option"] - 1]
        assert plan.conditions.start == day["start"]
        assert option.burden == pytest.approx(row["burden_alone"])
        off = pd.read_csv(out / row["plan"] / "notices.csv", dtype=str)
        assert (off["effect"] == "off").sum() == row["customers_off"]
        told = [one.on_by for one in option.customers if one.effect == "off"]
        assert day["all_on_by"] == max(filter(None, told))


def test_stages_with_a_log_of_the_day_are_not_written_over(folder: Path, tmp_path: Path) -> None:
    out = Path(shutil.copytree(folder, tmp_path / "stages"))
    assert check_stages_target(out, overwrite=True)
    (out / "stage-2" / "work_day_log_1.json").write_text("{}")
    with pytest.raises(BadInputError, match="stage-2: holds the log of a day's work"):
        check_stages_target(out, overwrite=True)
