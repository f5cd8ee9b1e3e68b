"""Let-by tests of real plans: each shows its difference across one barrier or a declared sum, by the items' states."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest

from netplan.planfile.model import Option, Step, Stop
from netplan.procedure import Stage
from netplan.rules import read_rules
from tests.support.order_plans_made import made_option, states_through
from tests.support.station_street import street_layers, street_plan

KINDS = ("stops of all kinds", "two valves", "squeeze alone", "two sections", "beside a station")


@cache
def option(name: str) -> Option:
    if name == "beside a station":
        return street_plan(street_layers(inlet={}, inlet_valve="VI", vent_between="yes")).options[0]
    return made_option(name)


def _tests(one: Option) -> Iterator[tuple[Step, dict[tuple[str, str], str]]]:
    """Yield every step with a let-by test, and the states of all items while it is read."""
    for step, _, during in states_through(one):
        if step.let_by is not None:
            yield step, during


def _live(stop: Stop) -> float:
    return stop.shuts_in[0].outlet_mbar if stop.shuts_in and stop.barriers == 2 else stop.pressure_mbar or 0.0


def _space(one: Option, stop: Stop, during: dict[tuple[str, str], str]) -> float:
    """Return the pressure between the barriers of a double stop [mbar gauge]."""
    vents = [i.id for i in one.items if i.kind == "vent" and i.role == "between" and i.of == stop.id]
    hoses = [i.id for i in one.items if i.kind == "valve" and i.role == "test hose" and i.of == stop.id]
    assert len(vents) == 1
    is_open, is_fed = during["vent", vents[0]] == "open", any(during["valve", h] == "open" for h in hoses)
    assert is_open != is_fed, "a space is either on its vent or held by its hose"
    return 0.0 if is_open else _live(stop)


def _shown(one: Option, meter_at: str, during: dict[tuple[str, str], str]) -> dict[str, float]:
    """Return the barriers that gas passes on its way to a meter, with the difference across each [mbar]."""
    (vent,) = [i for i in one.items if i.kind == "vent" and i.id == meter_at]
    assert during["vent", meter_at] == "open"
    zone = [p for p in one.parts if p.role == "zone"]
    at = {i.id: i.tapping_id for i in one.items if i.kind == "vent" and during["vent", i.id] == "open"}
    for part in zone:
        assert set(at.values()) & set(part.vents), "the zone is on its stack"
    found = {}
    for stop in one.stops:
        if stop.barriers == 1:
            if vent.role != "between":
                found[f"{stop.id}-single"] = _live(stop)
            continue
        space = _space(one, stop, during)
        if vent.role == "between" and vent.of == stop.id:
            found[f"{stop.id}-outer"] = _live(stop) - space
        elif vent.role != "between":
            found[f"{stop.id}-inner"] = space
    return {key: value for key, value in found.items() if value > 0.0}


@pytest.mark.parametrize("name", KINDS)
def test_each_reading_shows_one_barrier_or_a_declared_sum(name: str) -> None:
    one = option(name)
    shown: set[str] = set()
    for step, during in _tests(one):
        test = step.let_by
        assert test is not None
        assert step.trench == "empty"
        assert step.hold
        if test.name == "T0":
            assert not any(state == "open" for (kind, _), state in during.items() if kind == "vent")
            assert not any(
                i.role == "test hose" and during["valve", i.id] == "open"
                for i in one.items
                if i.kind == "valve"
            )
            continue
        loaded = _shown(one, test.meter_at, during)
        assert set(test.barriers) == set(loaded)
        assert test.is_sum == (len(loaded) > 1)
        assert test.across_mbar == pytest.approx(min(loaded.values()), abs=1e-3)
        shown.update(test.barriers)
    assert shown == {i.id for i in one.items if i.kind == "barrier" and i.of in {s.id for s in one.stops}}


@pytest.mark.parametrize("name", KINDS)
def test_a_barrier_is_accepted_where_its_test_is_read_and_before_any_air(name: str) -> None:
    one = option(name)
    accepted: dict[str, int] = {}
    tested: set[str] = set()
    for step, _, during in states_through(one):
        tested.update(step.let_by.barriers if step.let_by else ())
        for change in step.changes:
            if change.kind == "barrier" and change.to == "accepted":
                assert change.id in tested
                assert step.let_by is not None
                assert change.id == step.let_by.barriers[0] or step.let_by.name == "T3"
                accepted[change.id] = step.n
            if change.kind == "part" and change.to in ("air", "gas-free"):
                hoses = [i.id for i in one.items if i.kind == "valve" and i.role == "test hose"]
                assert all(during["valve", hose] == "shut" for hose in hoses)
                assert len(accepted) == sum(stop.barriers for stop in one.stops)
    assert len(accepted) == sum(stop.barriers for stop in one.stops)


@pytest.mark.parametrize("name", KINDS)
def test_what_is_coupled_for_a_test_is_off_again_in_a_hold(name: str) -> None:
    one = option(name)
    hoses = {i.id for i in one.items if i.kind == "valve" and i.role == "test hose"}
    coupled = [
        (step, change)
        for step in one.steps
        if step.stage == Stage.LET_BY
        for change in step.changes
        if change.id in hoses
    ]
    for on, off in zip(coupled[::2], coupled[1::2], strict=True):
        assert (on[1].to, off[1].to) == ("open", "shut")
        assert on[1].id == off[1].id
        assert off[0].hold
        assert off[0].who == "competent person"
        assert off[0].n == on[0].n + 2
    assert len(coupled) == 2 * sum(stop.barriers == 2 for stop in one.stops)


def test_limits_are_those_of_the_rules_and_a_fifth_of_them_is_read() -> None:
    base = option("stops of all kinds")
    found = {step.let_by.name: step.let_by for step in base.steps if step.let_by}
    rules = read_rules(None).let_by
    assert (found["T1"].limit_l_min, found["T1"].limit_mbar) == (rules.outer_l_min, rules.space_mbar)
    assert found["T2"].limit_l_min == rules.inner_l_min
    assert found["T3"].limit_l_min == rules.single_l_min
    for name in ("T1", "T2", "T3"):
        limit, resolution = found[name].limit_l_min, found[name].resolution_l_min
        assert limit is not None
        assert resolution == pytest.approx(0.2 * limit)
    finer = made_option(
        "stops of all kinds", (("let_by", "outer_l_min", 3.0), ("let_by", "resolution_share", 0.1))
    )
    (test, *_) = [step.let_by for step in finer.steps if step.let_by and step.let_by.name == "T1"]
    assert test.limit_l_min == 3.0
    assert test.resolution_l_min == pytest.approx(0.3)


def test_the_fall_of_t0_is_what_a_pilot_takes_from_the_zone() -> None:
    one = option("stops of all kinds")
    (test,) = [step.let_by for step in one.steps if step.let_by and step.let_by.name == "T0"]
    (part,) = [part for part in one.parts if part.role == "zone"]
    assert part.volume_m3 is not None
    # 0.4 l/min from the zone's own volume, at the pressure of the air.
    assert test.limit_mbar == pytest.approx(
        1013.25 * 0.4 * test.minutes / (1000.0 * part.volume_m3), abs=0.01
    )


def test_a_bag_is_reset_once_a_squeeze_tightened_and_that_voids_the_tests() -> None:
    one = option("stops of all kinds")
    kinds = {stop.id: stop.kind for stop in one.stops}
    assert set(kinds.values()) == {"bag", "squeeze", "valve"}
    once = {
        "bag": "reset it once (this voids",
        "squeeze": "without releasing it (this voids",
        "valve": "work it shut once more (this voids",
    }
    for step in (s for s in one.steps if s.let_by and s.let_by.name != "T0"):
        assert step.let_by is not None
        stop = step.let_by.barriers[0].split("-")[0]
        assert once[kinds[stop]] in step.if_not


def test_a_single_barrier_takes_a_signed_exception() -> None:
    for name, count in (("stops of all kinds", 1), ("two valves", 2), ("squeeze alone", 0)):
        signed = [step for step in option(name).steps if step.stage == Stage.EXCEPTION]
        assert len(signed) == count
        for step in signed:
            assert step.hold
            assert step.who == "competent person"
            assert [need.state for need in step.needs] == ["accepted"]
