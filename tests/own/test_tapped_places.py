"""What a plan taps, on places of the sample town: fallbacks keep clear of it, dead ends and tees are used or left out."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.whole_plan.case import Case
from tests.whole_plan.check import read_raw
from tests.whole_plan.tapped import check_tapped

BESIDE_A_GAUGE = WorkPart("M0008", 45.7, 49.7)
BY_A_HOSE = WorkPart("M0160", 84.4, 88.4)
WITHOUT_GAS = WorkPart("M0190", 152.4, 156.4)
THROUGH_A_GAUGE = WorkPart("M0147", 30.9, 34.9)


@cache
def _plan(work: WorkPart, options: int = 1) -> dict[str, Any]:
    request = PlanRequest(
        read_network(sample_network()), (work,), read_rules(None), weather=False, options=options
    )
    plan: dict[str, Any] = json.loads(plan_to_json(make_plan(request).plan))
    return plan


def _deviations(plan: dict[str, Any]) -> list[str]:
    raw, found = read_raw(Path(sample_network())), []
    for option in plan["options"]:
        case = Case(raw, plan, option)
        check_tapped(case)
        found += [str(one) for one in case.found]
    return found


@pytest.mark.parametrize("work", [BESIDE_A_GAUGE, BY_A_HOSE, WITHOUT_GAS])
def test_what_is_tapped_is_clear_used_and_capped(work: WorkPart) -> None:
    assert _deviations(_plan(work)) == []


def test_a_fallback_on_a_gauge_or_a_tee_of_a_hose_is_found() -> None:
    """The check itself: each place of before is a deviation."""
    for work, main, at in ((BESIDE_A_GAUGE, "M0008", 7.802), (BY_A_HOSE, "M0160", 79.647)):
        plan = json.loads(json.dumps(_plan(work)))
        uses = [use for row in plan["options"][0]["fallback"] for use in row["use"] if use["main_id"] == main]
        moved = [use for use in uses if abs(use["chainage_m"] - at) < 2.0]
        assert moved
        for use in moved:
            use["chainage_m"] = at
        assert any("fallback on a tapping" in line for line in _deviations(plan))


def test_dead_ends_without_gas_behind_a_stop_are_purged_through_outlets_of_their_own() -> None:
    option = _plan(WITHOUT_GAS)["options"][0]
    feeds = [point for point in option["purge"]["points"] if point["role"] == "feed"]
    vents = [point for point in option["purge"]["points"] if point["role"] == "vent"]
    dug = [one for one in option["excavations"] if any(p["what"] == "dead end" for p in one["prices"])]
    assert len(feeds) == 1
    assert len(vents) == len(dug) == 2
    assert {served["id"] for one in dug for served in one["serves"]} == {point["id"] for point in vents}
    steps = option["steps"]
    assert not any("far end" in step["does"] for step in steps)
    assert not any("from the live side" in step["does"] for step in steps)
    assert option["purge"]["reached"] is False


def test_a_purge_point_on_the_work_section_says_so() -> None:
    words = "the new pipe gets an outlet there"
    for to_m, is_on_it in ((108.136, True), (89.0, False)):
        (point,) = [
            one
            for one in _plan(WorkPart("M0048", 85.0, to_m))["options"][0]["purge"]["points"]
            if one["role"] == "vent"
        ]
        assert point["chainage_m"] == 108.136
        assert (words in point["note"]) == is_on_it


def test_without_a_gauge_no_step_has_one_watched() -> None:
    option = _plan(WITHOUT_GAS)["options"][0]
    assert not option["gauges"]
    words = [step["does"] + step["if_not"] for step in option["steps"]]
    assert not any("watch the gauges" in text.lower() or "gauges watched" in text.lower() for text in words)
    assert not any("all gauges" in text or "every gauge" in text for text in words)


def test_a_stop_that_no_station_reaches_has_no_fault_pressure() -> None:
    stops = _plan(WITHOUT_GAS)["options"][0]["stops"]
    assert stops
    for stop in stops:
        assert stop["fault_pressure_mbar"] is None
        assert "no station reaches it" in stop["reason"]


def test_a_gauge_whose_outlet_feeds_the_purge_is_not_watched_meanwhile() -> None:
    options = _plan(THROUGH_A_GAUGE, 3)["options"]
    told = 0
    for option in options:
        for point in option["purge"]["points"]:
            if "outlet of the gauge" not in point["note"]:
                continue
            (stop,) = [
                one
                for one in option["stops"]
                for tap in one["tappings"]
                if tap["role"] == "zone_vent" and tap["chainage_m"] == point["chainage_m"]
            ]
            at = next(tap["chainage_m"] for tap in stop["tappings"] if tap["role"] == "gauge")
            (gauge,) = [
                one["id"] for one in option["gauges"] if one["chainage_m"] == at and not one["customer"]
            ]
            for step in option["steps"]:
                if step["stage"] == "purge in" and point["id"] in step["uses"]:
                    told += 1
                    assert gauge not in step["uses"]
                    assert f"takes the outlet of {gauge}" in step["does"]
    assert told


def test_a_hose_is_called_a_hose_and_its_ends_are_told_apart() -> None:
    option = _plan(BY_A_HOSE)["options"][0]
    (hose,) = option["bypasses"]
    assert hose["kind"] == "hose"
    serving = {served["what"] for one in option["excavations"] for served in one["serves"]}
    assert "hose" in serving
    assert "bypass" not in serving
    (built,) = [step for step in option["steps"] if step["stage"] == "feed laid"]
    assert "its live end" in built["does"]
    assert "its fed end" in built["does"]
    holes = [one["id"] for one in option["excavations"] if {"what": "hose", "id": "B1"} in one["serves"]]
    assert all(hole in built["uses"] and f"in {hole}, its" in built["does"] for hole in holes)


def test_an_excavation_says_its_lengths_by_main_and_surface() -> None:
    dug = [one for option in _plan(BY_A_HOSE)["options"] for one in option["excavations"]]
    assert len(dug) >= 2
    for one in dug:
        mains = [part["main_id"] for part in one["lengths"]]
        assert one["main_id"] in mains
        assert len(set(mains)) == len(mains)
        assert {part["surface"] for part in one["lengths"]} == set(one["surface"])
        assert all(part["from_m"] <= part["to_m"] for part in one["lengths"])
