"""The order of real plans on the sample town: every id exists, every stop in and out once, gas back before anybody."""

from __future__ import annotations

import json
from collections import Counter
from functools import lru_cache

import pytest

from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Plan
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.procedure import Stage
from netplan.readers import read_network
from netplan.rules import default_rules

SECTIONS = ("M0149", "M0007", "M0029")


@lru_cache(maxsize=1)
def _town() -> Network:
    return read_network("sample_network/town.gpkg")


@pytest.fixture(scope="module", params=SECTIONS)
def plan(request: pytest.FixtureRequest) -> Plan:
    town = _town()
    length = float(town.pipes.length_m[town.pipes.id.find(request.param)])
    part = WorkPart(request.param, 0.4 * length, min(0.4 * length + 6.0, length))
    rules = default_rules()
    # With one of these sections so many meters are off that the last is relit after the crew's day.
    crew = rules.crew.model_copy(update={"day_end": "22:00"})
    long_day = rules.model_copy(update={"crew": crew})
    return make_plan(PlanRequest(town, (part,), long_day, options=1)).plan


def _options(plan: Plan) -> tuple[Option, ...]:
    found = plan.options
    assert len(found) == 1
    return found


def test_every_id_of_the_order_stands_elsewhere_in_the_plan(plan: Plan) -> None:
    data = json.loads(plan_to_json(plan))
    assert len(data["options"]) == 1
    for option in data["options"]:
        steps = option.pop("steps")
        assert len(steps) >= 20
        # Keys count too: stations are named by the keys of the states' flows.
        known = set(json.dumps({**option, "work": data["work"]}, ensure_ascii=False).split('"'))
        for step in steps:
            assert set(step["uses"]) <= known, step


def test_every_stop_is_in_once_and_out_once_and_every_meter_comes_back(plan: Plan) -> None:
    for option in _options(plan):
        steps = option.steps
        of = {stage: [s for s in steps if s.stage == stage] for stage in Stage}
        stops = Counter(stop.id for stop in option.stops)
        barriers = Counter({stop.id: stop.barriers for stop in option.stops})
        assert Counter(step.uses[0] for step in of[Stage.STOP_IN]) == barriers
        assert Counter(step.uses[0] for step in of[Stage.STOP_OUT]) == stops
        assert Counter(step.uses[0] for step in of[Stage.EQUALISE]) == stops
        off = Counter(c.id for c in option.customers if c.effect == "off")
        assert Counter(key for step in of[Stage.METERS_OFF] for key in step.uses) == off
        assert Counter(key for step in of[Stage.RELIGHT] for key in step.uses) == off
        last_purge = max(step.n for step in of[Stage.PURGE_IN])
        assert all(step.n > last_purge for step in of[Stage.RELIGHT])
        (through,) = of[Stage.THROUGH_FLOW]
        first_in = min(step.n for step in of[Stage.STOP_IN])
        assert all(step.n < first_in for step in of[Stage.FEED_PROVED])
        assert all(step.n > through.n for step in of[Stage.FEED_CLOSED])
        feeds = len(option.bypasses) + len(option.opened_valves)
        assert len(of[Stage.FEED_PROVED]) == feeds
        # Each end of a bypass is shut in a step of its own.
        assert len(of[Stage.FEED_CLOSED]) == feeds + len(option.bypasses)


def test_every_stop_carries_the_pressure_of_its_solved_state(plan: Plan) -> None:
    for option in _options(plan):
        states = {state.after_step: state for state in option.states}
        for step in (s for s in option.steps if s.stage == Stage.STOP_IN):
            state = states[f"{step.uses[0]} in"]
            assert (step.expect_mbar, step.expect_at) == (state.least_mbar, state.at)


def test_people_are_relit_in_the_order_they_were_promised(plan: Plan) -> None:
    for option in _options(plan):
        relit = [key for step in option.steps if step.stage == Stage.RELIGHT for key in step.uses]
        flags = {c.id: bool(c.priority) for c in option.customers}
        assert [flags[key] for key in relit] == sorted((flags[key] for key in relit), reverse=True)
