"""The feeds of an issued plan on today's network: same ends, length and bore, or why not (own)."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from netplan.network.model import Network
from netplan.outputs.layers import read_plan_layers
from netplan.planfile import read_state
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import read_plan
from netplan.readers import read_network
from netplan.recheck import IssuedPlan, recheck_plan, todays_request
from netplan.recheck.todays_option import TodaysOption, todays_option
from netplan.recheck.told_customers import BELOW, lists_of, lists_without_option
from tests.support.sample_plan import sample_plan


@cache
def _town() -> Network:
    return read_network(sample_network())


@cache
def _plan() -> Plan:
    return read_plan(sample_plan())


def _today(option: Option, **window: Any) -> TodaysOption:
    return todays_option(todays_request(_plan(), _town(), **window), _plan(), option, lambda _: None)


def _with_bypass(**update: Any) -> Option:
    option = next(one for one in _plan().options if one.bypasses)
    first, *others = option.bypasses
    return option.model_copy(update={"bypasses": (first.model_copy(update=update), *others)})


def test_weather_colder_than_a_bypass_holds_for_fails_by_its_pressures() -> None:
    option = next(one for one in _plan().options if one.bypasses)
    today = _today(option, air_temp_c=-30.0)
    subjects = {one.subject for one in today.against}
    assert {"feed", "pressure"} <= subjects
    assert today.below
    now = lists_without_option(today.off, today.kept_by, today.below)
    assert all(BELOW in now[name] for name in today.below)
    kept = {c.id for c in option.customers if c.effect == "kept"}
    assert kept == set(today.kept_by)


@pytest.mark.parametrize(
    ("update", "words"),
    [
        ({"length_m": 0.5}, "its route is blocked: the shortest is"),
        ({"bore_mm": 300.0}, "does not go through its outlet"),
        ({"parallel": 9}, "tees at one of its ends today, 9 are planned"),
    ],
)
def test_a_bypass_that_cannot_be_laid_as_planned_says_why(update: dict[str, Any], words: str) -> None:
    option = _with_bypass(**update)
    today = _today(option)
    said = [one.what for one in today.against if one.subject == "feed"]
    assert len(said) == 1
    assert said[0].startswith(f"bypass {option.bypasses[0].id}: ")
    assert words in said[0]
    # Whom it kept goes off: nothing else feeds them.
    lost = {c.id for c in option.customers if c.kept_by == option.bypasses[0].id and c.cause == "stranded"}
    assert lost <= set(today.off)


def test_what_is_told_of_a_customer_is_off_kept_standby_and_in_doubt() -> None:
    seen = 0
    for option in _plan().options:
        told = lists_of(option)
        for name in option.standby:
            assert "standby" in told[name]
        for row in option.in_doubt:
            assert told[row.id].count("in doubt") == 1
        assert set(told) == {c.id for c in option.customers} | set(option.standby) | {
            r.id for r in option.in_doubt
        }
        bare = lists_of(option, whole=False)
        assert set(bare) == {c.id for c in option.customers}
        seen += len(option.standby)
    assert seen


def test_on_a_milder_morning_the_plan_holds_and_higher_readings_are_corrections() -> None:
    plan = _plan()
    option = next(one for one in plan.options if one.bypasses)
    issued = IssuedPlan(plan, read_state(read_plan_layers(sample_plan()), option.rank))
    milder = recheck_plan(issued, todays_request(plan, _town(), air_temp_c=8.0))
    assert milder.holds
    assert milder.readings
    assert all(one.by_milder_weather and one.today_mbar > one.planned_mbar for one in milder.readings)
    assert any(one.subject == "reading" for one in milder.corrections)
    assert all(one.told != one.now and one.by_milder_weather for one in milder.customers)
