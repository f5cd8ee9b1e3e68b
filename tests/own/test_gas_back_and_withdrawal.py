"""Purging, the cut, gas back, withdrawal and relighting in real plans, followed by the states of the items."""

from __future__ import annotations

from functools import cache

import pytest

from netplan.planfile.model import Option, Step
from netplan.procedure import Stage
from netplan.rules import default_rules
from tests.support.order_plans_made import made_option, states_through
from tests.support.station_street import street_layers, street_plan

KINDS = ("stops of all kinds", "two valves", "squeeze alone", "two sections", "beside a station")
ZONE_VENTS = ("zone", "purge", "part")


@cache
def option(name: str) -> Option:
    if name == "beside a station":
        return street_plan(street_layers(inlet={}, inlet_valve="VI", vent_between="yes")).options[0]
    return made_option(name)


def _of(one: Option, *stages: Stage) -> list[Step]:
    return [step for step in one.steps if step.stage in stages]


@pytest.mark.parametrize("name", KINDS)
def test_a_purge_of_a_zone_has_one_way_in_and_one_way_out(name: str) -> None:
    one = option(name)
    zones = {part.id: part for part in one.parts if part.role == "zone"}
    purged: dict[str, list[str]] = {}
    for step, _, during in states_through(one):
        purge = step.purge
        if purge is None or purge.part_id not in zones:
            continue
        vents = [
            i
            for i in one.items
            if i.kind == "vent" and i.role in ZONE_VENTS and i.tapping_id in zones[purge.part_id].vents
        ]
        assert [vent.id for vent in vents if during["vent", vent.id] == "open"] == [purge.outlet]
        assert purge.inlet != purge.outlet
        into = {
            i.id
            for i in one.items
            if i.kind == "valve" and i.role in ("gas inlet", "air inlet") and during["valve", i.id] == "open"
        }
        (item,) = [i for i in one.items if i.kind == "valve" and i.id in into]
        assert (item.of, item.role) == (purge.inlet, "gas inlet" if purge.medium == "gas" else "air inlet")
        assert step.trench == "empty"
        purged.setdefault(purge.medium, []).append(purge.outlet)
    ends = sorted(point.id for point in one.purge.points if point.role == "vent")
    assert sorted(purged["air"]) == sorted(purged["gas"]) == ends


@pytest.mark.parametrize("name", KINDS)
def test_gas_comes_back_through_an_outlet_that_is_no_gauges(name: str) -> None:
    one = option(name)
    items = {(i.kind, i.id): i for i in one.items}
    at_gauges = {(gauge.main_id, gauge.chainage_m) for gauge in one.gauges if not gauge.customer}
    inlets = [i for i in one.items if i.kind == "valve" and i.role == "gas inlet"]
    assert inlets
    for inlet in inlets:
        tapping = items["tapping", inlet.tapping_id]
        assert tapping.role in ("bypass", "purge_in")
        assert (tapping.main_id, tapping.chainage_m) not in at_gauges
        # It is drilled for this, and capped at the end, like every other.
        states = [
            c.to for step in one.steps for c in step.changes if c.id == tapping.id and c.kind == "tapping"
        ]
        assert states == ["tested", "drilled", "capped"]
        hole = next(h for h in one.excavations if h.id == tapping.hole_id)
        assert any(
            tapping.chainage_m is not None
            and length.main_id == tapping.main_id
            and length.from_m - 1e-3 <= tapping.chainage_m <= length.to_m + 1e-3
            for length in hole.lengths
        )
    for step in _of(one, Stage.PURGE_IN):
        assert {reading.gauge_id for reading in step.readings} >= {gauge.id for gauge in one.gauges}
        assert step.state in {state.after_step for state in one.states}
        assert step.state.startswith("purge in at ")


@pytest.mark.parametrize("name", KINDS)
def test_the_new_pipe_is_tested_apart_and_the_tie_in_below_every_live_pressure(name: str) -> None:
    one = option(name)
    (new,) = [test for step in _of(one, Stage.NEW_PIPE) for test in step.pressure_tests]
    assert new.test_mbar >= 3450.0
    assert new.against == ()
    tests = [test for step in _of(one, Stage.JOINTS) for test in step.pressure_tests]
    assert tests
    live = [stop.pressure_mbar for stop in one.stops if stop.pressure_mbar is not None]
    ratings = {method.name: method.reverse_rating_mbar for method in default_rules().method}
    most = [*live, *(r for stop in one.stops if (r := ratings[stop.method]) is not None)]
    inner = {i.id for i in one.items if i.kind == "barrier" and i.role in ("inner", "single")}
    for test in tests:
        assert test.test_mbar == pytest.approx(min(most), abs=1e-3)
        assert test.against
        assert set(test.against) <= inner


@pytest.mark.parametrize("name", KINDS)
def test_stops_come_out_last_set_first_inner_before_outer_by_their_solved_difference(name: str) -> None:
    one = option(name)
    withdrawn = [
        c.id for step in one.steps for c in step.changes if c.kind == "barrier" and c.to == "withdrawn"
    ]
    set_in = [c.id for step in one.steps for c in step.changes if c.kind == "barrier" and c.to == "set"]
    assert sorted(withdrawn) == sorted(set_in)
    by_stop = [
        key.split("-")[0] for key in withdrawn if not (name == "beside a station" and key == "S1-outer")
    ]
    order = list(dict.fromkeys(key.split("-")[0] for key in set_in))
    assert list(dict.fromkeys(by_stop)) == order[::-1]
    stops = {stop.id: stop for stop in one.stops}
    # Nothing feeds the zone before the first is out: its hose leaves no difference.
    levelled = order[-1]
    for step, before, _ in states_through(one):
        for change in step.changes:
            if change.kind != "barrier" or change.to != "withdrawn":
                continue
            stop, role = change.id.split("-")
            if role == "inner" and not stops[stop].shuts_in:
                assert before["part", f"{stop}-space"] == "gas"
                assert before["vent", f"{stop}-vent"] == "shut"
            if role == "outer" and not stops[stop].shuts_in:
                assert before["barrier", f"{stop}-inner"] == "withdrawn"
        if step.stage == Stage.STOP_OUT:
            own = stops[step.uses[0]]
            assert step.across_mbar == (0.0 if own.id == levelled else own.withdraw_mbar)
            assert step.state == f"{step.uses[0]} out"
    for step in _of(one, Stage.EQUALISE):
        own = stops[step.uses[0]]
        assert own.withdraw_mbar is not None
        controlled = own.withdraw_mbar > default_rules().let_by.withdraw_mbar and own.kind != "valve"
        assert ("controlled release" in step.does) == (controlled and own.id != levelled)
        zone_gauges = {gauge.id for gauge in one.zone_gauges}
        assert not (own.id == levelled and zone_gauges & {reading.gauge_id for reading in step.readings})


@pytest.mark.parametrize("name", KINDS)
def test_every_service_with_gas_in_it_is_purged_before_anybody_works_there(name: str) -> None:
    one = option(name)
    named = [key for step in _of(one, Stage.SERVICES_PURGED) for key in step.uses]
    in_zone = sorted({pipe.pipe_id for zone in one.zones for pipe in zone.pipes if pipe.layer == "services"})
    assert sorted(named) == in_zone
    cut = min(step.n for step in _of(one, Stage.WORK))
    assert all(step.n < cut and step.hold for step in _of(one, Stage.SERVICES_PURGED))


@pytest.mark.parametrize("name", KINDS)
def test_a_hold_names_the_latest_time_to_cut_and_people_go_in_only_after_gas_free(name: str) -> None:
    one = option(name)
    (hold,) = _of(one, Stage.LATEST_CUT)
    assert hold.hold
    assert "latest time to cut" in hold.does
    (cut,) = _of(one, Stage.WORK)
    free = [step for step in _of(one, Stage.GAS_FREE) if step.hold]
    assert max(step.n for step in free) < hold.n < cut.n
    assert cut.trench == "occupied"
    assert all(step.trench != "occupied" for step in one.steps if step.n < cut.n)
    back = min(step.n for step in _of(one, Stage.PURGE_IN))
    (tally,) = _of(one, Stage.METERS_AGAIN)
    assert tally.hold
    assert tally.trench == "empty"
    assert cut.n < tally.n < back


@pytest.mark.parametrize("name", KINDS)
def test_meters_go_off_sealed_purged_and_relit_once(name: str) -> None:
    one = option(name)
    off = {customer.id for customer in one.customers if customer.effect == "off"}
    assert bool(off) == (name != "beside a station")  # there no main that anybody hangs on is shut in
    for ident in off:
        states = [c.to for step in one.steps for c in step.changes if (c.kind, c.id) == ("meter", ident)]
        assert states == ["off", "sealed", "purged", "relit"]
    through = max(step.n for step in _of(one, Stage.THROUGH_FLOW))
    assert all(step.n > through for step in _of(one, Stage.SERVICE_BACK, Stage.RELIGHT))
    assert all(step.n > through for step in _of(one, Stage.FEED_CLOSED))


def test_through_flow_is_read_in_the_state_with_the_feed_shut() -> None:
    one = option("stops of all kinds")
    (step,) = _of(one, Stage.THROUGH_FLOW)
    assert step.hold
    assert step.state == f"{one.bypasses[0].id} shut"
    assert step.readings
    assert f"{one.bypasses[0].id}-to" in step.does


def test_a_valve_that_was_shut_before_the_work_is_never_opened() -> None:
    one = made_option("a shut valve")
    (stop,) = [stop for stop in one.stops if stop.stays_shut]
    (item,) = [i for i in one.items if i.kind == "valve" and i.id == stop.valve_id]
    assert (item.first, item.last) == ("shut", "shut")
    assert not [c for step in one.steps for c in step.changes if (c.kind, c.id) == ("valve", stop.valve_id)]
    barrier = [c.to for step in one.steps for c in step.changes if c.id == f"{stop.id}-single"]
    assert barrier == ["proved", "set", "accepted", "withdrawn"]
    words = " ".join(step.does for step in one.steps if stop.id in step.uses)
    assert f"Leave valve {stop.valve_id} shut" in words
    assert f"pen valve {stop.valve_id}" not in words
    assert f"lose valve {stop.valve_id}" not in words
