"""Fifteen faults that a crew would find in the papers of a work, each looked for in plans that the program made.

What the right behaviour is: common practice of planned work on live low-pressure mains, no published source.
Facts are read from plan.json and the printed pages; the layers of the sample network are the outside of it.
"""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pypdf
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.letters import WORDS
from tests.support.outside_order import OutsideOrder
from tests.support.sample_plan import sample_request

Row = dict[str, Any]
FIGURE_MBAR = 2e-3
_CLOCK = re.compile(r"\b(?:[01]\d|2[0-3]):[0-5]\d\b")


def _folder(home: Path, work: WorkPart, **more: Any) -> Path:
    asked = replace(sample_request(work, start="2027-03-02T07:00", hours=9.0), options=1, **more)
    return write_plan_folder(make_plan(asked), home / "plan", choices=Choices(words=WORDS))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plan a work with a bag stop, a squeeze and a valve, and a bypass to a fed tail."""
    return _folder(tmp_path_factory.mktemp("bypass"), WorkPart("M0142", 158.0, 162.0), weather=True)


@pytest.fixture(scope="module")
def wide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plan a work on a main of 315 mm."""
    return _folder(tmp_path_factory.mktemp("wide"), WorkPart("M0096", 143.66, 149.66))


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plan a work right beside a regulator station, in mild weather: other stations carry all."""
    rules = read_rules(None, {"station": {"inlet_shut_counts": True}})
    home = tmp_path_factory.mktemp("station")
    return _folder(home, WorkPart("M0185", 10.0, 11.5), air_temp_c=16.0, rules=rules)


def _plan(folder: Path) -> Row:
    found: Row = json.loads((folder / "plan.json").read_text("utf-8"))
    return found


def _best(folder: Path) -> Row:
    option: Row = _plan(folder)["options"][0]
    return option


def _pages(folder: Path, name: str = "work_pack.pdf") -> list[str]:
    with pypdf.PdfReader(folder / name) as reader:
        return [" ".join(page.extract_text().split()) for page in reader.pages]


def _words(option: Row) -> str:
    return " ".join(f"{step['does']} {step['if_not']}" for step in option["steps"])


def _customers(option: Row, *ids: str) -> list[Row]:
    return [one for one in option["customers"] if one["id"] in ids]


def test_1_a_fallback_keeps_moves_or_counts_the_feed_it_cuts_off(folder: Path) -> None:
    option = _best(folder)
    assert not [line for line in OutsideOrder(_plan(folder)).breaches() if line.startswith("law 30")]
    fed = {one["id"] for one in option["customers"] if one["kept_by"] == "B1"}
    assert {"care_home"} <= {one["priority"] for one in _customers(option, *fed)}
    cuts_off = [one for one in option["fallback"] if any(shut["feed_id"] == "B1" for shut in one["shut"])]
    assert cuts_off
    for one in cuts_off:
        assert fed <= set(one["standby"])


def test_2_a_fed_tail_that_is_lost_is_shut_at_the_live_end_and_isolated(folder: Path) -> None:
    option = _best(folder)
    fed = {one["id"] for one in option["customers"] if one["kept_by"] == "B1"}
    lost = [
        row
        for row in option["loss_sheet"]
        if row["state"] == "main cut"
        and row["what"].startswith("both barriers")
        and "B1-from" in row["act_on"]
    ]
    assert lost
    for row in lost:
        assert row["leave"]
        assert row["act_on"][0] == "B1-from"
        assert fed <= set(row["customers"])
    what = {row["what"].split()[0] for row in option["loss_sheet"] if row["state"] == "main cut"}
    assert {"bypass", "station", "both", "outer", "inner"} <= what
    opened = [row for row in option["loss_sheet"] if row["state"] == "main cut" and row["customers"]]
    assert all("on standby first" not in f"{row['action']} {row['note']}" for row in opened)


def test_3_beside_a_station_inlet_and_outlet_are_shut_and_the_cover_says_no_fallback(beside: Path) -> None:
    option = _best(beside)
    shut_in = [stop for stop in option["stops"] if stop["shuts_in"]]
    assert shut_in
    cover = _pages(beside)[0]
    for stop in shut_in:
        station = stop["shuts_in"][0]["station_id"]
        inlets = [
            one["id"]
            for one in option["items"]
            if one["role"] == "station inlet" and station in f"{one['of']} {one['id']}"
        ] or [one["inlet_valve_id"] for one in stop["shuts_in"]]
        turned = [
            change
            for step in option["steps"]
            for change in step["changes"]
            if change["id"] in inlets and change["to"] == "shut"
        ]
        assert turned, f"the inlet of {station} is never shut"
        none = [one for one in option["fallback"] if one["stop_id"] == stop["id"] and one["minutes"] is None]
        assert not none or "no fallback" in cover.lower()
        (check,) = [step for step in option["steps"] if step["stage"] == "stations checked"]
        assert not re.search(rf"\b{station}\b", check["does"].partition(" that carry")[0])


def test_4_every_let_by_test_can_show_what_it_is_for(folder: Path) -> None:
    option = _best(folder)
    assert not [
        line for line in OutsideOrder(_plan(folder)).breaches() if line.startswith(("law 11", "law 12"))
    ]
    shown = {b for step in option["steps"] if step["let_by"] for b in step["let_by"]["barriers"]}
    assert shown == {one["id"] for one in option["items"] if one["kind"] == "barrier" and one["of"][0] == "S"}
    assert "about half" not in _words(option)


def test_5_every_purge_point_is_a_drilled_tapping_in_a_hole(folder: Path, wide: Path) -> None:
    for option in (_best(folder), _best(wide)):
        items = {(one["kind"], one["id"]): one for one in option["items"]}
        holes = {one["id"] for one in option["excavations"]}
        for point in option["purge"]["points"]:
            tapping = items["tapping", items["vent", point["id"]]["tapping_id"]]
            assert tapping["main_id"] == point["main_id"]
            assert tapping["chainage_m"] == pytest.approx(point["chainage_m"], abs=2e-3)
            assert tapping["hole_id"] in holes
        assert "opened a little" not in _words(option)


def test_6_a_bypass_is_accepted_by_readings_of_its_own_state(folder: Path) -> None:
    option = _best(folder)
    (accepted,) = [
        step
        for step in option["steps"]
        if any(change["id"] == "B1" and change["to"] == "accepted" for change in step["changes"])
    ]
    assert accepted["state"] == "B1 open"
    assert accepted["readings"]
    last = [step for step in option["steps"] if any(c["to"] == "accepted" for c in step["changes"])][-1]
    then = {one["gauge_id"]: one["expect_mbar"] for one in last["readings"]}
    now = {one["gauge_id"]: one["expect_mbar"] for one in accepted["readings"]}
    assert max(abs(now[gauge] - then[gauge]) for gauge in now.keys() & then.keys()) > 1.0


def test_7_every_gauge_has_readings_by_weather_and_limits_of_its_own(folder: Path) -> None:
    option = _best(folder)
    gauges = {one["id"] for one in option["gauges"]}
    read = [one for step in option["steps"] for one in step["readings"] if one["gauge_id"] in gauges]
    assert {one["gauge_id"] for one in read} == gauges
    for one in read:
        rows = one["by_weather"]
        assert len({row["air_temp_c"] for row in rows}) > 2
        assert len({row["hour"] for row in rows}) >= option["timeline"]["window_min"] / 60.0
        same = [row for row in rows if (row["air_temp_c"], row["hour"]) == (one["air_temp_c"], one["hour"])]
        assert [row["expect_mbar"] for row in same] == [pytest.approx(one["expect_mbar"], abs=FIGURE_MBAR)]
    assert len({one["abort_mbar"] for one in read}) > len(gauges)


def test_8_fast_minutes_hold_only_for_what_is_prepared(folder: Path) -> None:
    plan = _plan(folder)
    methods = {one["name"]: one for one in plan["rules"]["method"]}
    assert sum(len(one["use"]) for one in plan["options"][0]["fallback"]) > 0
    for one in plan["options"][0]["fallback"]:
        for use in one["use"]:
            method = methods[use["method"]]
            ready = bool(use["prepared_id"] or use["valve_id"])
            assert one["minutes"] >= method["minutes_fast" if ready else "minutes"]


def test_9_the_day_holds_and_every_paper_has_the_same_times(folder: Path) -> None:
    option = _best(folder)
    line = option["timeline"]
    assert line["gas_back_min"] <= line["window_min"]
    assert line["relit_min"] <= line["day_end_min"]
    assert {bar["n"] for bar in line["bars"]} == {step["n"] for step in option["steps"]}
    off = {
        one["id"]: (one["off_from"], one["on_by"]) for one in option["customers"] if one["effect"] == "off"
    }
    assert off
    rows = list(csv.DictReader(io.StringIO((folder / "notices.csv").read_text("utf-8-sig"))))
    told = {row["customer_id"]: row for row in rows if row["customer_id"] in off}
    assert set(told) == set(off)
    for ident, (start, end) in off.items():
        assert {start, end} <= set(told[ident].values())
    clock = {at[11:16] for pair in off.values() for at in pair}
    for name in ("letters.pdf", "tally_sheet.pdf"):
        assert clock <= set(_CLOCK.findall(" ".join(_pages(folder, name)))), name


def test_10_every_outlet_fits_its_main(folder: Path, wide: Path) -> None:
    roles = {
        "gauge": "gauge_mm",
        "vent": "vent_mm",
        "zone_vent": "zone_vent_mm",
        "bypass": "bypass_mm",
        "barrier": "bag_mm",
        "purge_in": "bypass_mm",
    }
    for place in (folder, wide):
        plan = _plan(place)
        assert len(plan["options"][0]["stops"]) > 0
        for stop in plan["options"][0]["stops"]:
            (row,) = [r for r in plan["rules"]["outlet"] if r["od_min_mm"] <= stop["od_mm"] <= r["od_max_mm"]]
            for tapping in stop["tappings"]:
                if tapping["main_id"] in ("", stop["main_id"]):
                    assert tapping["size_mm"] <= row[roles[tapping["role"]]] + 1e-6


def test_11_the_order_is_one_in_which_the_work_can_be_done(folder: Path, wide: Path, beside: Path) -> None:
    for place in (folder, wide, beside):
        assert not OutsideOrder(_plan(place)).breaches()


def test_12_a_slow_purge_is_on_the_cover_with_another_way_and_the_hold_says_what_is_possible(
    wide: Path,
) -> None:
    option = _best(wide)
    short = [one for one in option["purge"]["points"] if one["slug_m3"] is not None]
    assert short
    assert all(one["flow_in_m3h"] < one["least_m3h"] for one in short)
    cover = _pages(wide)[0]
    assert "gas back in stays below" in cover
    assert "nitrogen" in cover
    holds = [step for step in option["steps"] if step["stage"] == "purge in"]
    assert holds
    assert all("not slower than the least flow" not in step["does"] for step in holds)
    assert any(step["stage"] == "nitrogen in" for step in option["steps"])


def test_13_every_thing_that_is_dug_for_is_in_a_hole(folder: Path) -> None:
    plan = _plan(folder)
    option = plan["options"][0]
    served = {(one["what"], one["id"]) for hole in option["excavations"] for one in hole["serves"]}
    wanted = {("stop", one["id"]) for one in option["stops"]}
    wanted |= {("work", one["main_id"]) for one in plan["work"]}
    wanted |= {(one["kind"], one["id"]) for one in option["bypasses"]}
    wanted |= {("gauge", one["id"]) for one in option["gauges"] if not one["customer"]}
    wanted |= {("purge point", one["id"]) for one in option["purge"]["points"]}
    assert wanted <= served
    merge = plan["rules"]["excavation"]["merge_m"]
    outlines = [shapely.Polygon(hole["outline"]) for hole in option["excavations"]]
    for k, one in enumerate(outlines):
        assert all(shapely.distance(one, other) > merge - 1e-2 for other in outlines[:k])


def test_14_no_hose_runs_through_a_house_or_beyond_its_reach(folder: Path) -> None:
    plan = _plan(folder)
    houses = gpd.read_file(sample_network(), layer="buildings").to_crs(plan["network"]["crs"])
    assert len(plan["options"][0]["bypasses"]) > 0
    for one in plan["options"][0]["bypasses"]:
        route = shapely.LineString(one["route"])
        assert not houses.geometry.buffer(-0.05).intersects(route).any()
        assert one["length_m"] <= plan["rules"]["bypass"]["reach_m"]
        assert one["length_m"] >= route.length / plan["network"]["length_scale"] - 1e-3


def test_15_a_refusal_names_every_order_that_lifted_alone_gives_a_plan() -> None:
    network = read_network(sample_network())
    parts = (WorkPart("M0142", 158.0, 162.0),)
    asked: Row = {"network": network, "parts": parts, "rules": read_rules(), "weather": False, "options": 1}
    with pytest.raises(NoPlanError) as told:
        make_plan(PlanRequest(**asked, feeds_allowed=False))
    reasons = list(told.value.reasons)
    assert len(reasons) == len(set(reasons))
    assert not any("assembly" in line for line in reasons[:1])
    words = " ".join(
        [str(told.value), *reasons, *(f"{one.kind} {' '.join(one.names)}" for one in told.value.lifted)]
    )
    own = [row for row in range(len(network.customers)) if network.customers.id[row] in words]
    assert own
    assert make_plan(PlanRequest(**asked, feeds_allowed=False, own_supply=tuple(own))).plan.options
    assert make_plan(PlanRequest(**asked)).plan.options
