"""What happens when a stop, a feed or a station fails, in plans that the program makes itself.

Who then has no way for gas is found by the independent walk over the raw layers (`tests.support.independent`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, write_layers
from netplan.planfile.model import Fallback, Option, Plan
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.procedure.step_case import fallback_words
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.feed_towns import town_layers, town_request
from tests.support.gpkg_flow import read, rebuild
from tests.support.independent import Outcome, Walker
from tests.support.networks import build, customer, layers, main, service, station, valve

WILL_NOT_SET, LOST = "will not set", "lost during open work"
TOWN = "sample_network/town.gpkg"
SEEDS = (0, 1, 5, 7, 8, 9, 10)
WITHOUT_RING = (0, 1, 7, 8, 9, 10)


def _after(walker: Walker, option: Option, work: WorkPart, fallback: Fallback) -> Outcome:
    """Walk the network after a fallback: the other stops in, the new ones in, its feeds shut."""
    failing = () if fallback.tail_lost else (fallback.stop_id,)
    places = [(s.main_id, s.chainage_m, s.valve_id) for s in option.stops if s.id not in failing]
    places += [(use.main_id, use.chainage_m, use.valve_id) for use in fallback.use]
    shut = {one.feed_id for one in fallback.shut}
    return walker.walk(
        [(main_id, chainage) for main_id, chainage, valve_id in places if valve_id is None],
        [(work.main_id, work.from_m, work.to_m)],
        closed=frozenset(valve_id for *_, valve_id in places if valve_id is not None),
        opened=frozenset(v.valve_id for v in option.opened_valves if v.valve_id not in shut),
        links=tuple(
            ((b.from_.main_id, b.from_.chainage_m), (b.to.main_id, b.to.chainage_m))
            for b in option.bypasses
            if b.id not in shut
        ),
    )


def _check(walker: Walker, option: Option, work: WorkPart, fallback: Fallback) -> int:
    """Check a fallback against the walk; return how many are on standby because of their pressure alone."""
    after = _after(walker, option, work, fallback)
    assert not after.section_fed, "gas still reaches the work"
    off = {one.id for one in option.customers if one.effect == "off"}
    dark_before = {who for who, _ in walker.walk([], []).dark}
    no_gas = (after.isolated | {who for who, _ in after.dark}) - off - dark_before
    assert no_gas <= set(fallback.standby)
    assert off.isdisjoint(fallback.standby)
    # Who still has a way for gas is on standby only where a lower pressure can be.
    return len(set(fallback.standby) - no_gas)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_walk_finds_everybody_who_loses_gas(seed: int) -> None:
    request = replace(town_request(seed), options=3, weather=False)
    walker, plan = Walker(town_layers(seed)), make_plan(request).plan
    checked = 0
    for option in plan.options:
        for fallback in option.fallback:
            if fallback.minutes is not None:
                _check(walker, option, request.parts[0], fallback)
                checked += bool(fallback.standby)
        for loss in option.losses:
            if loss.what in ("bypass", "hose"):
                kept = {c.id for c in option.customers if c.kept_by == loss.id and c.cause == "stranded"}
                assert kept <= set(loss.customers)
    assert checked


@pytest.mark.parametrize("seed", WITHOUT_RING)
def test_nobody_else_is_on_standby_where_nothing_runs_in_a_ring(seed: int) -> None:
    # Without a ring a larger zone takes load off whoever still has gas: nobody's pressure falls.
    layers_of = town_layers(seed)
    assert "M5" not in set(layers_of["mains"].id), "the main that closes a ring"
    request, walker = replace(town_request(seed), options=3, weather=False), Walker(layers_of)
    ready = [
        (option, fallback)
        for option in make_plan(request).plan.options
        for fallback in option.fallback
        if fallback.minutes is not None
    ]
    assert ready
    for option, fallback in ready:
        assert _check(walker, option, request.parts[0], fallback) == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_feed_stays_in_use_only_outside_the_larger_zone(seed: int) -> None:
    request = replace(town_request(seed), options=3, weather=False)
    walker, work = Walker(town_layers(seed)), request.parts[0]
    lost, options = 0, make_plan(request).plan.options
    for option in options:
        for fallback in option.fallback:
            if fallback.tail_lost or not fallback.shut:
                continue
            # With the feed in use all the same, gas would reach the zone or nobody who loses it.
            with_all = _after(walker, option, work, fallback.model_copy(update={"shut": ()}))
            assert with_all.section_fed or not (set(fallback.standby) & with_all.fed)
            lost += 1
            mains = {(b.id, e.main_id, e.chainage_m) for b in option.bypasses for e in (b.from_, b.to)}
            assert {(one.feed_id, one.main_id, one.chainage_m) for one in fallback.shut} <= mains
    assert bool(lost) == any(feed.kind == "bypass" for option in options for feed in option.bypasses)


@cache
def _sample(main_id: str, from_m: float, to_m: float) -> Plan:
    return make_plan(
        PlanRequest(
            read_network(TOWN), (WorkPart(main_id, from_m, to_m),), read_rules(None), weather=False, options=2
        )
    ).plan


@cache
def _walker() -> Walker:
    names = ("mains", "services", "customers", "regulators", "valves")
    network = read_network(TOWN)
    return Walker({name: gpd.read_file(TOWN, layer=name) for name in names}, network.scale)


def _of(option: Option, stop_id: str, failure: str) -> Fallback:
    return next(f for f in option.fallback if (f.stop_id, f.failure) == (stop_id, failure))


def test_a_fallback_beyond_a_bypass_tee_loses_the_bypass() -> None:
    best = _sample("M0142", 158.0, 162.0).options[0]
    (bypass,) = best.bypasses
    kept = {one.id for one in best.customers if one.effect == "kept"}
    care_home = {one.id for one in best.customers if one.priority == "care_home"}
    assert len(kept) == 20
    assert care_home & kept
    for failure in (WILL_NOT_SET, LOST):
        fallback = _of(best, "S2", failure)
        (use,) = fallback.use
        stop = next(one for one in best.stops if one.id == "S2")
        assert stop.chainage_m < bypass.from_.chainage_m < use.chainage_m
        assert set(fallback.standby) == kept
        assert [one.feed_id for one in fallback.shut] == ["B1"]
        _check(_walker(), best, WorkPart("M0142", 158.0, 162.0), fallback)
    assert set(best.standby) == kept


def test_the_feed_of_a_lost_tail_is_shut_at_its_live_end() -> None:
    best = _sample("M0142", 158.0, 162.0).options[0]
    (bypass,) = best.bypasses
    lost = _of(best, "S3", LOST)
    assert lost.tail_lost
    assert lost.use == ()
    (shut,) = lost.shut
    live = (bypass.id, bypass.from_.main_id, bypass.from_.chainage_m)
    assert (shut.feed_id, shut.main_id, shut.chainage_m) == live
    assert lost.minutes == read_rules(None).bypass.minutes_shut > 0
    assert len(lost.standby) == 20
    words = fallback_words(lost)
    assert "shut bypass B1 at its live end on main M0142" in words
    assert "isolate, purge and relight all of it" in words
    assert "on standby first" not in words
    order = " ".join(step.if_not for step in best.steps)
    assert words in order
    assert "no further stop needed" not in order
    _check(_walker(), best, WorkPart("M0142", 158.0, 162.0), lost)


def test_a_lost_bypass_and_a_lost_station_are_listed_apart() -> None:
    plan = _sample("M0142", 158.0, 162.0)
    best = plan.options[0]
    by_id = {one.id: one for one in best.losses}
    assert set(by_id["B1"].customers) == {one.id for one in best.customers if one.effect == "kept"}
    stations = [one for one in best.losses if one.what == "station"]
    assert stations
    off = {one.id for one in best.customers if one.effect == "off"}
    assert all(off.isdisjoint(one.customers) for one in best.losses)


@pytest.mark.parametrize(("main_id", "from_m"), [("M0123", 90.0), ("M0149", 50.0)])
def test_sections_of_the_sample_agree_with_the_walk(main_id: str, from_m: float) -> None:
    work = WorkPart(main_id, from_m, from_m + 4.0)
    ready = [
        (option, fallback)
        for option in _sample(main_id, from_m, from_m + 4.0).options
        for fallback in option.fallback
        if fallback.minutes is not None
    ]
    assert len(ready) >= 2
    for option, fallback in ready:
        _check(_walker(), option, work, fallback)


def _iron_town() -> dict[str, Any]:
    """Lay an iron main between two stations, and a street that the second one helps to feed.

    Iron takes valves alone: where V2 fails the next one outward is V3, the outlet of R2. What hangs on the
    far end of the street then has R1 alone, a long way off.
    """
    iron = {"material": "cast_iron", "od_mm": 170.0, "sdr": None, "wall_mm": 10.0}
    mains = [
        main("M1", (0, 0), (400, 0), **iron),
        main("M2", (0, 0), (0, 600), od_mm=63.0),
        main("M3", (0, 600), (390, 600), od_mm=63.0),
        main("M4", (390, 600), (390, 0), od_mm=110.0),
    ]
    services, customers = [], []

    def house(ident: str, tap: tuple[float, float], end: tuple[float, float], annual_kwh: float) -> None:
        services.append(service(f"S{ident}", tap, end))
        customers.append(customer(f"C{ident}", end, service_id=f"S{ident}", annual_kwh=annual_kwh))

    house("near", (0, 30), (8, 30), 20_000.0)
    house("iron", (200, 0), (200, 8), 20_000.0)
    for k in range(8):
        house(f"far{k}", (380.0 - 9 * k, 600), (380.0 - 9 * k, 608), 28_000.0)
    return {
        "mains": mains,
        "services": services,
        "customers": customers,
        "regulators": [station("R1", (0, 0)), station("R2", (400, 0))],
        "valves": [
            valve("V1", (50, 0)),
            valve("V2", (150, 0)),
            valve("V3", (395, 0)),
            valve("V4", (390, 5)),
        ],
    }


def test_a_fallback_at_the_outlet_of_a_station_is_solved(tmp_path: Path) -> None:
    rows, work = _iron_town(), WorkPart("M1", 98.0, 102.0)
    result = make_plan(PlanRequest(build(**rows), (work,), read_rules(None), weather=False, options=1))
    option = result.plan.options[0]
    assert {one.valve_id for one in option.stops} == {"V1", "V2"}
    assert not [one for one in option.customers if one.effect == "off"]
    place = next(one.id for one in option.stops if one.valve_id == "V2")
    fallback = _of(option, place, WILL_NOT_SET)
    assert "V3" in {one.valve_id for one in fallback.use}
    assert "station R2 is shut in" in fallback.note
    assert any("station R2 is shut in" in step.if_not for step in option.steps)
    walker = Walker(layers(**rows))
    by_pressure = _check(walker, option, work, fallback)
    after = _after(walker, option, work, fallback)
    far = {f"Cfar{k}" for k in range(8)}
    assert far <= after.fed, "the far houses have a way for gas, from R1"
    assert far <= set(fallback.standby), "but not enough of it"
    assert by_pressure >= len(far)
    assert "Cnear" not in fallback.standby

    # pandapipes on what plan.gpkg holds, with the iron main shut as far as V3 and V4.
    write_layers(plan_layers(result), tmp_path / "plan.gpkg")
    state = read(tmp_path / "plan.gpkg", 1)
    pipes = state["pipes"]
    dead = ((pipes.pipe_id == "M1") & (pipes.from_m >= 149.0)) | (pipes.pipe_id == "M4") & (
        pipes.to_m > 590.0
    )
    state["pipes"] = pipes.assign(state=pipes.state.mask(dead, "isolated"))
    state["stations"] = state["stations"][state["stations"].station_id == "R1"]
    solved = rebuild(state)
    node = state["customers"].set_index("customer_id").node
    assert solved.at(node[sorted(far)]).max() < 21.0
    assert solved.at(node[["Cnear"]]).min() > 21.0


def test_an_answer_without_a_fallback_says_why() -> None:
    rows = _iron_town()
    rows["valves"] = [one for one in rows["valves"] if one["id"] in ("V1", "V2")]
    plan = make_plan(
        PlanRequest(build(**rows), (WorkPart("M1", 98.0, 102.0),), read_rules(None), weather=False, options=1)
    ).plan
    option = plan.options[0]
    none = [one for one in option.fallback if one.minutes is None]
    assert none
    for one in none:
        assert len(one.note) > len("no fallback: ") + 20
        assert one.note.removeprefix("no fallback: ") in fallback_words(one)
        assert any(one.note in warning for warning in option.warnings)


def test_a_boundary_valve_that_feeds_a_lost_tail_is_shut_again() -> None:
    services, customers = [], []
    for k in range(6):
        x = 210.0 + 12 * k
        services.append(service(f"S{k}", (x, 0), (x, 8)))
        customers.append(
            customer(f"C{k}", (x, 8), service_id=f"S{k}", priority="hospital" if k == 5 else None)
        )
    services.append(service("S9", (20, 0), (20, 8)))
    customers.append(customer("C9", (20, 8), service_id="S9"))
    rows: dict[str, Any] = {
        "mains": [
            main("M1", (0, 0), (150, 0)),
            main("M2", (150, 0), (300, 0)),
            main("M3", (300, 0), (500, 0)),
        ],
        "services": services,
        "customers": customers,
        "regulators": [station("R1", (0, 0)), station("R2", (500, 0))],
        "valves": [valve("VB", (350, 0), state="closed")],
    }
    rules = read_rules(overrides={"price": {"bypass": 9000.0, "hose_per_m": 9000.0}})
    work = WorkPart("M1", 60.0, 66.0)
    option = make_plan(PlanRequest(build(**rows), (work,), rules, weather=False, options=1)).plan.options[0]
    assert [one.valve_id for one in option.opened_valves] == ["VB"]
    (lost,) = (one for one in option.fallback if one.tail_lost)
    assert [(one.feed_id, one.what, one.main_id) for one in lost.shut] == [("VB", "opened valve", "M3")]
    assert lost.minutes == next(m.minutes_fast for m in rules.method if m.kind == "valve")
    assert set(lost.standby) == {c.id for c in option.customers if c.effect == "kept"}
    assert "shut valve VB again" in fallback_words(lost)
    _check(Walker(layers(**rows)), option, work, lost)
    losses = {one.id: one for one in option.losses}
    assert losses["VB"].what == "opened valve"
    assert set(losses["VB"].customers) == set(lost.standby)
    assert set(losses["R2"].customers) == set(lost.standby)
    assert losses["R1"].customers == ("C9",)


def test_more_meters_on_standby_than_the_rules_allow_are_warned_of() -> None:
    work = (WorkPart("M0142", 158.0, 162.0),)
    for most, warned in ((19, True), (20, False), (0, False)):
        rules = read_rules(overrides={"choice": {"standby_meters_max": most}})
        request = PlanRequest(read_network(TOWN), work, rules, weather=False, options=1)
        warnings = make_plan(request).plan.options[0].warnings
        assert any("20 meters on standby" in text for text in warnings) is warned
