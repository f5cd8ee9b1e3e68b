"""Fallbacks prepared by the plan and paid, and hoses that move: minutes, steps, prices, ranking, states."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart, work_section
from netplan.planfile.model import Fallback, Option, Plan
from netplan.planning.context import PlanningContext
from netplan.planning.evaluate import price_cut
from netplan.planning.evaluated_option import RefusedCut
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.planning.prepared_fallbacks import least_fallbacks_minor, with_prepared_fallbacks
from netplan.planning.rank import isolation_problem, rank
from netplan.procedure.step_case import fallback_words
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, service, station, valve
from tests.support.plan_cases import HOURS, plan_case

TOWN = "sample_network/town.gpkg"
LOST = "lost during open work"


def _street() -> dict[str, Any]:
    """Lay a street of three mains between two stations, a valve in the third, houses between."""
    ends = [(20.0 + 45.0 * k, 8.0) for k in range(8) if k != 2]
    return {
        "mains": [
            main(f"M{k}", (100.0 * k, 0), (100.0 * (k + 1), 0), year=2005, surface="footway")
            for k in range(4)
        ],
        "services": [service(f"S{k}", (x, 0), (x, y)) for k, (x, y) in enumerate(ends)],
        "customers": [customer(f"C{k}", end, service_id=f"S{k}") for k, end in enumerate(ends)],
        "regulators": [station("R1", (0, 0)), station("R2", (400, 0))],
        "valves": [valve("V1", (250, 0))],
    }


@cache
def _plan(*, prepared: bool) -> Plan:
    rules = read_rules(overrides={"fallback": {"prepared": prepared}})
    work = WorkPart("M1", 40.0, 44.0)
    return make_plan(PlanRequest(build(**_street()), (work,), rules, weather=False, options=2)).plan


def _sample(rules: dict[str, Any]) -> Option:
    work = (WorkPart("M0142", 158.0, 162.0),)
    request = PlanRequest(read_network(TOWN), work, read_rules(overrides=rules), weather=False, options=1)
    return make_plan(request).plan.options[0]


def _of(option: Option, stop_id: str, failure: str = LOST) -> Fallback:
    return next(f for f in option.fallback if (f.stop_id, f.failure) == (stop_id, failure))


def test_with_nothing_prepared_the_full_minutes_stand() -> None:
    methods = {m.name: m for m in read_rules().method}
    plan, seen = _plan(prepared=False), 0
    for option in plan.options:
        assert option.prepared_fallbacks == ()
        assert option.burden_parts.fallbacks == 0
        for one in option.fallback:
            if not one.use:
                continue
            seen += one.failure == LOST
            assert one.minutes == sum(methods[use.method].minutes for use in one.use)
            assert not one.prepared
            assert "not prepared" in fallback_words(one)
    assert seen
    assert not any("15 min" in step.if_not for option in plan.options for step in option.steps)


def test_prepared_fallbacks_are_dug_tapped_proved_capped_and_paid_once() -> None:
    methods = {m.name: m for m in read_rules().method}
    excavation, options = read_rules().excavation, _plan(prepared=True).options
    assert options
    for option in options:
        places = option.prepared_fallbacks
        assert len({(p.main_id, p.chainage_m, p.work_side) for p in places}) == len(places) > 0
        assert option.burden_parts.fallbacks == pytest.approx(sum(p.price for p in places))
        parts = option.burden_parts.model_dump().values()
        assert option.burden == pytest.approx(sum(parts))
        for place in places:
            rule = methods[place.method]
            surface = getattr(rule.price_surface, place.surface)
            pit = excavation.price + getattr(excavation.price_surface, place.surface)
            price = rule.price + rule.price_per_mm_od * place.od_mm + surface
            assert place.price == pytest.approx(price + pit * (place.kind == "valve"))
            (hole,) = [one for one in option.excavations if one.id == place.hole_id]
            assert [(one.what, one.id) for one in hole.serves].count(("fallback", place.id)) == 1
            assert place.id in hole.included_in
        used: dict[str, set[str]] = {use.prepared_id: set() for one in option.fallback for use in one.use}
        for one in option.fallback:
            for use in one.use:
                used[use.prepared_id].add(one.stop_id)
            assert one.prepared == bool(one.use)
            assert one.minutes == sum(methods[use.method].minutes_fast for use in one.use)
        assert {p.id: set(p.serves) for p in places} == used
        _check_steps(option)


def _check_steps(option: Option) -> None:
    first = next(step.n for step in option.steps if step.stage == "stop in")
    for place in option.prepared_fallbacks:
        own = [(step.n, step.stage) for step in option.steps if place.id in step.uses]
        dug = ["records proved", "outlets fused and tested", "tappings drilled", "barriers proved"]
        assert [stage for n, stage in own if n < first] == dug
        assert [stage for n, stage in own if n > first] == ["fallback stood down", "tappings capped"]
        in_hole = {step.stage for step in option.steps if place.hole_id in step.uses}
        assert {*dug[:3], "tappings capped", "reinstate"} <= in_hole
    assert [step.n for step in option.steps] == list(range(1, len(option.steps) + 1))


def test_the_fallbacks_are_in_the_ranking() -> None:
    """Every cut priced in full with its fallbacks, none left out by a bound: the same options."""
    checked = unlike = 0
    for seed in (0, 1, 3, 5, 7, 8, 12):
        case = plan_case(seed)
        overrides = {"fallback": {"prepared": True}, "bypass": {"from_other_mains": False}}
        parts = tuple(
            WorkPart(case.network.pipes.id[int(pipe)], float(low), float(high))
            for pipe, low, high in zip(case.section.pipe, case.section.from_m, case.section.to_m, strict=True)
        )
        request = PlanRequest(case.network, parts, read_rules(overrides=overrides), hours=HOURS, options=3)
        context = PlanningContext.for_request(request)
        section = work_section(case.network, parts)
        try:
            ranking = rank(context, section, lambda _: None)
        except NoPlanError:
            continue
        problem = isolation_problem(context, section)
        best: dict[object, int] = {}
        plain: list[int] = []
        for count, cut in enumerate(context.cuts(problem)):
            if count == 60:
                break
            answer = price_cut(context, cut)
            for option in () if isinstance(answer, RefusedCut) else answer:
                paid = with_prepared_fallbacks(context, problem, option, None)
                least = least_fallbacks_minor(context, problem, cut, 10**12)
                assert 0 <= least <= paid.fallbacks_minor
                key = (frozenset((s.chain, s.method) for s in cut.stops), option.off.tobytes())
                best[key] = min(paid.burden_minor, best.get(key, paid.burden_minor))
                plain.append(option.burden_minor)
        found = [option.burden_minor for option in ranking.options]
        # Of a cut beyond the last one looked at no option is cheaper than its bound.
        known = [b for b in sorted(best.values()) if count < 60 or b <= cut.bound_minor][: len(found)]
        assert found[: len(known)] == known
        checked += len(known)
        unlike += any(option.fallbacks_minor for option in ranking.options)
        assert all(low <= high for low, high in pairwise(found))
    assert checked >= 6
    assert unlike >= 3


def test_a_bypass_cut_off_by_its_fallback_is_moved_to_the_new_tee() -> None:
    option = _sample({})
    (bypass,), rules = option.bypasses, read_rules()
    for failure in ("will not set", LOST):
        one = _of(option, "S2", failure)
        (use,), (move,) = one.use, one.moves
        offset = next(
            p.offset_m for m in rules.method if m.name == use.method for p in m.assembly if p.role == "bypass"
        )
        assert move.feed_id == bypass.id
        assert move.to.main_id == use.main_id
        assert move.to.chainage_m == pytest.approx(use.chainage_m + offset)
        straight = math.dist((move.to.x, move.to.y), (bypass.to.x, bypass.to.y))
        assert move.length_m >= straight
        assert move.length_m > bypass.length_m
        assert move.minutes == rules.bypass.minutes_move
        # Gas is off from the failure until the hose is moved: they stay on the standby list.
        assert set(move.off_meanwhile) == set(one.standby) != set()
        words = fallback_words(one)
        assert f"then couple bypass {bypass.id} at the bypass tee on main {use.main_id} instead" in words
        assert f"{len(one.standby)} of those on standby are off until then" in words


def test_a_move_beyond_reach_is_none() -> None:
    planned = _sample({}).bypasses[0].length_m
    option = _sample({"bypass": {"reach_m": planned + 0.5}})
    assert option.bypasses[0].length_m == planned
    one = _of(option, "S2")
    assert one.moves == ()
    assert [shut.feed_id for shut in one.shut] == ["B1"]
    assert one.standby


@pytest.mark.parametrize("length_m", [12.0, 20_000.0])
def test_a_move_that_does_not_hold_pressure_is_none(length_m: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # With 12 m in the planned size some of the twenty hold and others do not; with 20 km nobody does.
    monkeypatch.setattr("netplan.planning.feed_moves.hose_length_m", lambda *_args: length_m)
    one = _of(_sample({}), "S2")
    assert one.moves == ()
    assert len(one.standby) == 20
