"""The order of plans that the program made, followed from plan.json alone, and what must break each law.

The 33 laws are those of a work on a live low-pressure main as planned work is done (common practice, no source).
Three hundred random towns: ``NETPLAN_TOWNS=300 python -m pytest -n 2 tests/laws/test_whole_plan.py``.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest

from tests.support.outside_order import OutsideOrder
from tests.support.sample_plan import sample_plan

Row = dict[str, Any]
Steps = list[Row]


@pytest.fixture(scope="module")
def plan() -> Row:
    found: Row = json.loads((sample_plan() / "plan.json").read_text(encoding="utf-8"))
    return found


def test_every_option_of_the_sample_keeps_every_law(plan: Row) -> None:
    assert len(plan["options"]) > 1
    for option in plan["options"]:
        assert not OutsideOrder(plan, option["rank"]).breaches()


def _first(steps: Steps, holds: Callable[[Row], bool]) -> int:
    return next(k for k, one in enumerate(steps) if holds(one))


def _changes(kind: str, to: str) -> Callable[[Row], bool]:
    return lambda step: any(one["kind"] == kind and one["to"] == to for one in step["changes"])


def _move(steps: Steps, what: Callable[[Row], bool], before: Callable[[Row], bool]) -> None:
    step = steps.pop(_first(steps, what))
    steps.insert(_first(steps, before), step)


def _drop(steps: Steps, what: Callable[[Row], bool]) -> None:
    steps.pop(_first(steps, what))


def _drill_before_the_test(steps: Steps) -> None:
    _move(steps, _changes("tapping", "drilled"), _changes("tapping", "tested"))


def _no_baseline(steps: Steps) -> None:
    for step in steps[: _first(steps, _changes("feed", "purged"))]:
        step["readings"] = []


def _meters_before_proofs(steps: Steps) -> None:
    _move(steps, _changes("meter", "off"), _changes("barrier", "proved"))


def _purge_before_the_tightness_test(steps: Steps) -> None:
    _move(steps, _changes("feed", "purged"), _changes("feed", "tested"))


def _stop_before_the_bypass_is_accepted(steps: Steps) -> None:
    _move(steps, _changes("barrier", "set"), _changes("feed", "accepted"))


def _no_tally(steps: Steps) -> None:
    steps[_first(steps, lambda one: one["stage"] == "meters reconciled")]["hold"] = False


def _a_state_that_is_not_solved(steps: Steps) -> None:
    steps[_first(steps, _changes("barrier", "set"))]["state"] = "S9 in"


def _no_state_for_a_stop(steps: Steps) -> None:
    steps[_first(steps, _changes("barrier", "set"))]["state"] = ""


def _a_gauge_that_is_not_there(steps: Steps) -> None:
    steps[_first(steps, lambda one: one["readings"])]["readings"][0]["gauge_id"] = "G99"


def _let_by_with_the_zone_shut(steps: Steps) -> None:
    for step in steps:
        step["changes"] = [one for one in step["changes"] if (one["id"], one["to"]) != ("P1", "open")]


def _the_wrong_barrier(steps: Steps) -> None:
    tests = [one["let_by"] for one in steps if one["let_by"] and one["let_by"]["name"] == "T1"]
    tests[0]["barriers"], tests[1]["barriers"] = tests[1]["barriers"], tests[0]["barriers"]


def _a_sum_that_is_not_declared(steps: Steps) -> None:
    next(one for one in steps if one["let_by"] and one["let_by"]["is_sum"])["let_by"]["is_sum"] = False


def _a_coarse_meter(steps: Steps) -> None:
    next(one for one in steps if one["let_by"] and one["let_by"]["limit_l_min"])["let_by"][
        "resolution_l_min"
    ] = 9.0


def _a_raised_limit(steps: Steps) -> None:
    test = next(one for one in steps if one["let_by"] and one["let_by"]["name"] == "T2")["let_by"]
    test["limit_l_min"] *= 2.0


def _air_before_the_last_test(steps: Steps) -> None:
    _move(steps, _changes("part", "air"), lambda one: bool(one["let_by"]) and one["let_by"]["name"] == "T2")


def _entry_before_gas_free(steps: Steps) -> None:
    _move(steps, lambda one: one["trench"] == "occupied", _changes("part", "gas-free"))


def _a_vent_shut_while_people_work(steps: Steps) -> None:
    at = _first(steps, lambda one: one["trench"] == "occupied")
    vent = next(
        c["id"] for one in steps for c in one["changes"] if c["id"].endswith("-vent") and c["id"][0] == "S"
    )
    steps[at - 1]["changes"].append({"id": vent, "from": "open", "to": "shut", "kind": "vent"})


def _no_signed_exception(steps: Steps) -> None:
    for step in steps:
        if step["trench"] == "occupied":
            break
        step["hold"] = step["hold"] and step["stage"] not in ("exception signed", "let-by tested", "stop in")
        step["hold"] = step["hold"] and not step["stage"].startswith(
            ("barriers", "latest", "gas-free", "vent")
        )


def _gas_with_people_in_the_trench(steps: Steps) -> None:
    gas = _first(steps, lambda one: bool(one["purge"]) and one["stage"] == "purge in")
    steps[gas]["trench"] = "occupied"


def _in_and_out_at_one_place(steps: Steps) -> None:
    purge = next(one["purge"] for one in steps if one["stage"] == "purge out")
    purge["outlet"] = purge["inlet"]


def _through_a_meter(steps: Steps) -> None:
    meter = next(c["id"] for one in steps for c in one["changes"] if c["kind"] == "meter")
    next(one["purge"] for one in steps if one["stage"] == "purge out")["outlet"] = meter


def _a_branch_left_out(steps: Steps) -> None:
    _drop(steps, lambda one: one["stage"] == "purge in")


def _a_weak_strength_test(steps: Steps) -> None:
    for step in steps:
        for test in step["pressure_tests"]:
            if test["what"] == "new pipe":
                test["test_mbar"] = 100.0


def _tie_in_above_the_live_side(steps: Steps) -> None:
    for step in steps:
        for test in step["pressure_tests"]:
            if test["what"] == "tie-in":
                test["test_mbar"] = 100.0


def _no_second_tally(steps: Steps) -> None:
    _drop(steps, lambda one: one["stage"] == "meters reconciled again")


def _both_barriers_at_once(steps: Steps) -> None:
    at = [k for k, one in enumerate(steps) if _changes("barrier", "set")(one)]
    steps[at[0]]["changes"] += steps[at[1]]["changes"]
    steps.pop(at[1])


def _outer_before_inner(steps: Steps) -> None:
    inner = _first(
        steps, lambda one: _changes("barrier", "withdrawn")(one) and "-inner" in str(one["changes"])
    )
    outer = _first(
        steps, lambda one: _changes("barrier", "withdrawn")(one) and "-outer" in str(one["changes"])
    )
    steps[inner], steps[outer] = steps[outer], steps[inner]


def _feed_shut_before_through_flow(steps: Steps) -> None:
    _move(steps, _changes("feed", "shut"), lambda one: one["stage"] == "through-flow proved")


def _a_tapping_left_open(steps: Steps) -> None:
    steps[_first(steps, _changes("tapping", "capped"))]["changes"].pop()


def _a_meter_not_relit(steps: Steps) -> None:
    steps[_first(steps, _changes("meter", "relit"))]["changes"].pop()


def _bags_alone(steps: Steps) -> None:
    next(one for one in steps if one["trench"] == "occupied")["manned"] = []


def _a_hole_left_open(steps: Steps) -> None:
    steps[_first(steps, _changes("place", "filled"))]["changes"].pop()


def _set_again_after_its_test(steps: Steps) -> None:
    at = _first(steps, _changes("barrier", "accepted"))
    tested = next(one for one in steps[at]["changes"] if one["kind"] == "barrier")
    accepted = steps[at]["changes"].pop(steps[at]["changes"].index(tested))
    again = [{**tested, "from": "set", "to": "proved"}, {**tested, "from": "proved", "to": "set"}]
    steps[at + 1]["changes"] += again
    steps[at + 2]["changes"].append(accepted)
    for n, step in enumerate(steps, 1):
        step["n"] = n


def _a_meter_on_when_gas_comes_back(steps: Steps) -> None:
    at = _first(steps, lambda one: one["stage"] == "purge in")
    meter = next(c for one in steps for c in one["changes"] if (c["kind"], c["to"]) == ("meter", "sealed"))
    steps[at - 1]["changes"].append({**meter, "from": "sealed", "to": "relit"})


BROKEN: dict[str, tuple[str, Callable[[Steps], None]]] = {
    "drilled before tested": ("law 1", _drill_before_the_test),
    "no baseline": ("law 2", _no_baseline),
    "meters off before proofs": ("law 3", _meters_before_proofs),
    "bypass purged before its test": ("law 4", _purge_before_the_tightness_test),
    "stop before the bypass is accepted": ("law 5", _stop_before_the_bypass_is_accepted),
    "no tally": ("law 6", _no_tally),
    "state not solved": ("law 7", _a_state_that_is_not_solved),
    "no state": ("law 7", _no_state_for_a_stop),
    "no such gauge": ("law 9", _a_gauge_that_is_not_there),
    "zone shut while let-by is read": ("law 11", _let_by_with_the_zone_shut),
    "the wrong barrier": ("law 11", _the_wrong_barrier),
    "a sum not declared": ("law 11", _a_sum_that_is_not_declared),
    "coarse meter": ("law 12", _a_coarse_meter),
    "raised limit": ("law 12", _a_raised_limit),
    "set again after its test": ("law 13", _set_again_after_its_test),
    "a meter on when gas comes back": ("law 33", _a_meter_on_when_gas_comes_back),
    "air before the last test": ("law 14", _air_before_the_last_test),
    "entry before gas-free": ("law 15", _entry_before_gas_free),
    "vent shut": ("law 16", _a_vent_shut_while_people_work),
    "no exception": ("law 16", _no_signed_exception),
    "gas with people in the trench": ("law 18", _gas_with_people_in_the_trench),
    "in and out at one place": ("law 19", _in_and_out_at_one_place),
    "a branch left out": ("law 20", _a_branch_left_out),
    "through a meter": ("law 21", _through_a_meter),
    "weak strength test": ("law 22", _a_weak_strength_test),
    "tie-in too high": ("law 23", _tie_in_above_the_live_side),
    "no second tally": ("law 24", _no_second_tally),
    "two barriers at once": ("law 25", _both_barriers_at_once),
    "outer first": ("law 26", _outer_before_inner),
    "feed shut too early": ("law 27", _feed_shut_before_through_flow),
    "tapping left": ("law 28", _a_tapping_left_open),
    "meter not relit": ("law 29", _a_meter_not_relit),
    "bags alone": ("law 31", _bags_alone),
    "hole left open": ("end", _a_hole_left_open),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_changed_order_breaks_its_law(name: str, plan: Row) -> None:
    law, change = BROKEN[name]
    changed = copy.deepcopy(plan)
    change(changed["options"][0]["steps"])
    found = OutsideOrder(changed).breaches()
    assert any(line.startswith(f"{law}:") for line in found), found


def test_a_state_that_is_too_low_breaks_its_law(plan: Row) -> None:
    changed = copy.deepcopy(plan)
    used = next(one["state"] for one in changed["options"][0]["steps"] if one["state"].endswith(" in"))
    state = next(one for one in changed["options"][0]["states"] if one["after_step"] == used)
    state["least_mbar"] = changed["rules"]["pressure"]["minimum_mbar"] - 1.0
    assert any(line.startswith("law 8:") for line in OutsideOrder(changed).breaches())


def test_a_part_without_a_vent_breaks_its_law(plan: Row) -> None:
    changed = copy.deepcopy(plan)
    part = next(one for one in changed["options"][0]["parts"] if one["role"] == "cut part")
    part["vents"] = []
    assert any(line.startswith("law 17:") for line in OutsideOrder(changed).breaches())


def test_zone_gauges_that_differ_before_the_cut_break_their_law(plan: Row) -> None:
    changed = copy.deepcopy(plan)
    option = changed["options"][0]
    gauge = option["zone_gauges"][0]
    option["zone_gauges"].append({**gauge, "id": "other"})
    step = next(s for s in option["steps"] if any(r["gauge_id"] == gauge["id"] for r in s["readings"]))
    reading = next(one for one in step["readings"] if one["gauge_id"] == gauge["id"])
    step["readings"].append({**reading, "gauge_id": "other", "expect_mbar": reading["expect_mbar"] + 1.0})
    assert any(line.startswith("law 10:") for line in OutsideOrder(changed).breaches())


def test_a_fallback_that_cuts_off_a_feed_breaks_its_law(plan: Row) -> None:
    changed = copy.deepcopy(plan)
    beyond = [one for one in changed["options"][0]["fallback"] if one["shut"] and one["use"]]
    assert beyond
    for one in beyond:
        one["shut"], one["moves"] = [], []
    assert any(line.startswith("law 30:") for line in OutsideOrder(changed).breaches())
