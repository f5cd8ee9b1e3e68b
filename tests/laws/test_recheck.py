"""Laws of the morning check: what is unchanged holds, every change is named, and what is told is set against it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import cache
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest

from netplan.cli.sample import sample_network
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import read_plan_layers
from netplan.planfile import read_state
from netplan.planfile.model import Option
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planfile.recheck_answer import RecheckAnswer
from netplan.planning.given_orders import orders_given
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, read_polygons
from netplan.recheck import IssuedPlan, recheck_plan, todays_request
from netplan.recheck.todays_option import todays_option
from netplan.rules import read_rules
from tests.support.networks import customer as customer_row
from tests.support.networks import fitting, keep_out, layers, main, service
from tests.support.sample_plan import sample_plan
from tests.support.small_town import small_town

Frames = dict[str, gpd.GeoDataFrame]
WORK = WorkPart("M9", 30.0, 34.0)
"""Two customers in the zone; the valve that is recorded shut is one of its stops."""


@cache
def _issued() -> PlanResult:
    return make_plan(_request(build_network(small_town())))


def _request(network: Network, **more: Any) -> PlanRequest:
    return PlanRequest(network, (WORK,), read_rules(None), weather=False, options=2, **more)


def _rechecked(frames: Frames, **window: Any) -> RecheckAnswer:
    issued = _issued()
    network = build_network(frames)
    plan = IssuedPlan(issued.plan, issued.states[0])
    return recheck_plan(plan, todays_request(issued.plan, network, **window))


def _figures(option: Option) -> dict[str, Any]:
    """Return an option as it is written, but for what is proven of its rank."""
    return option.model_dump(mode="json", by_alias=True, exclude={"proof"})


def test_an_unchanged_network_holds_with_every_list_and_figure_equal() -> None:
    folder = sample_plan()
    plan = read_plan(folder)
    option = next(one for one in plan.options if one.bypasses)
    issued = IssuedPlan(plan, read_state(read_plan_layers(folder), option.rank))
    request = todays_request(plan, read_network(sample_network()))
    answer = recheck_plan(issued, request)
    assert answer.holds
    assert answer.same_records
    assert (answer.against, answer.changes, answer.customers, answer.readings) == ((), (), (), ())
    today = todays_option(request, plan, option, lambda _: None)
    assert today.option is not None
    assert _figures(today.option) == _figures(option)


def test_options_are_the_same_on_the_same_records_though_places_are_stated_to_the_millimetre() -> None:
    # A fitting moves the first stop to a place with more digits than a plan states.
    frames = _with(small_town(), "fittings", fitting("F99", (80, 28.6003)))
    network = build_network(frames)
    plan = make_plan(_request(network)).plan
    request = todays_request(plan, network)
    assert len(plan.options) == 2
    for option in plan.options:
        today = todays_option(request, plan, option, lambda _: None)
        assert not today.against
        assert today.option is not None
        assert _figures(today.option) == _figures(option)


def _at(frames: Frames, layer: str, ident: str, **columns: Any) -> Frames:
    rows = frames[layer].copy()
    for name, value in columns.items():
        if name not in rows:
            rows[name] = None
        old = zip(rows["id"], rows[name], strict=True)
        rows[name] = [value if one == ident else was for one, was in old]
    return {**frames, layer: gpd.GeoDataFrame(rows, geometry="geometry", crs=frames[layer].crs)}


def _without(frames: Frames, layer: str, ident: str) -> Frames:
    return {**frames, layer: frames[layer][frames[layer]["id"] != ident].reset_index(drop=True)}


def _with(frames: Frames, layer: str, row: dict[str, Any]) -> Frames:
    rows_by_layer: dict[str, Any] = {layer: [row]}
    new = layers(**rows_by_layer)[layer]
    rows = pd.concat([frames[layer], new.to_crs(frames[layer].crs)], ignore_index=True)
    return {**frames, layer: gpd.GeoDataFrame(rows, geometry="geometry", crs=frames[layer].crs)}


def _new_house(frames: Frames) -> Frames:
    frames = _with(frames, "services", service("S99", (80, 32), (86, 32)))
    house = customer_row("C99", (86, 32), service_id="S99", street="Elm Bow", number="99")
    return _with(frames, "customers", house)


Edit = Callable[[Frames], Frames]
CHANGES: dict[str, tuple[Edit, tuple[str, str, str] | None, str | None]] = {
    "address": (
        lambda f: _at(f, "customers", "C13", address="the old forge"),
        ("customers", "C13", "address the old forge instead of"),
        None,
    ),
    "priority": (
        lambda f: _at(f, "customers", "C13", priority="hospital"),
        ("customers", "C13", "priority hospital instead of none"),
        "priority",
    ),
    "meters": (
        lambda f: _at(f, "customers", "C13", meters=40),
        ("customers", "C13", "40 meters instead of 1"),
        "order of work",
    ),
    "demand": (
        lambda f: _at(f, "customers", "C14", annual_kwh=30_000.0),
        ("customers", "C14", "yearly energy 30000 kWh instead of"),
        None,
    ),
    "new house": (_new_house, ("customers", "C99", "new: household"), "customers"),
    "new service in the zone": (_new_house, ("services", "S99", "new: 32 mm PE80"), "zone"),
    "customer gone": (
        lambda f: _without(f, "customers", "C14"),
        ("customers", "C14", "not in the records any more"),
        "customers",
    ),
    "valve opened": (
        lambda f: _at(f, "valves", "V2", state="open"),
        ("valves", "V2", "open instead of closed"),
        "stop",
    ),
    "valve closed": (
        lambda f: _at(f, "valves", "V1", state="closed"),
        ("valves", "V1", "closed instead of open"),
        None,
    ),
    "valve failed": (
        lambda f: _at(f, "valves", "V2", operable="no"),
        ("valves", "V2", "operable no instead of yes"),
        "stop",
    ),
    "valve gone": (
        lambda f: _without(f, "valves", "V2"),
        ("valves", "V2", "not in the records any more"),
        "stop",
    ),
    "other size": (
        lambda f: _at(f, "mains", "M9", od_mm=125.0),
        ("mains", "M9", "125 mm outside instead of 90 mm"),
        "stop",
    ),
    "other material": (
        lambda f: _at(f, "mains", "M1", material="steel", od_mm=110.0, wall_mm=10.0, sdr=None),
        ("mains", "M1", "steel now, another material before"),
        None,
    ),
    "moved": (
        lambda f: _at(f, "mains", "M1", geometry=main("M1", (160, 0), (164, 60), (160, 120.25))["geometry"]),
        ("mains", "M1", "moved by up to 4.0 m"),
        None,
    ),
    "main not live": (
        lambda f: _at(f, "mains", "M9", status="abandoned"),
        ("mains", "M9", "recorded as not live now"),
        "work section",
    ),
    "new main past the stops": (
        lambda f: _with(f, "mains", main("M99", (80, 31), (160, 31))),
        ("mains", "M99", "new: 110 mm PE100"),
        "stop",
    ),
    "new main in the zone": (
        lambda f: _with(f, "mains", main("M98", (80, 40), (90, 40))),
        ("mains", "M98", "new: 110 mm PE100"),
        "zone",
    ),
    "fitting at a stop": (
        lambda f: _with(f, "fittings", fitting("F99", (80, 28.6), "tapping_tee")),
        None,
        "stop",
    ),
    "keep-out at a stop": (
        lambda f: {
            **f,
            "keep_out": layers(keep_out=[keep_out("new wall", (78, 27), (82, 27), (82, 29), (78, 29))])[
                "keep_out"
            ],
        },
        None,
        "stop",
    ),
    "station with less capacity": (
        lambda f: _at(f, "regulators", "R1", capacity_m3h=300.0),
        ("regulators", "R1", "capacity 300 m³/h instead of 400.5 m³/h"),
        None,
    ),
    "station set lower": (
        lambda f: _at(_at(f, "regulators", "R1", outlet_mbar=19.5), "regulators", "R2", outlet_mbar=19.5),
        ("regulators", "R2", "set outlet 19.5 mbar instead of 27 mbar"),
        "reading",
    ),
    "station gone": (
        lambda f: _without(f, "regulators", "R2"),
        ("regulators", "R2", "not in the records any more"),
        None,
    ),
}
"""Kind of change: what is done, the record that must be named and how, and a subject that must not hold."""


@pytest.mark.parametrize("kind", CHANGES)
def test_each_kind_of_change_is_named_with_what_it_does(kind: str) -> None:
    edit, named, subject = CHANGES[kind]
    answer = _rechecked(edit(copy.deepcopy(small_town())))
    assert not answer.same_records
    if named is not None:
        layer, ident, words = named
        found = [one for one in answer.changes if (one.layer, one.feature_id) == (layer, ident)]
        assert len(found) == 1
        assert words in found[0].what
    subjects = {one.subject for one in answer.against}
    assert subject is None or subject in subjects
    assert answer.holds == (not answer.against)


def test_a_new_house_in_the_zone_is_told_as_off_with_its_address() -> None:
    answer = _rechecked(_new_house(small_town()))
    assert [(one.id, one.told, one.now) for one in answer.customers] == [("C99", (), ("off",))]
    assert answer.customers[0].address == "C99 Example Row"
    assert not answer.holds


def test_a_change_is_solved_by_itself_and_another_address_is_a_correction() -> None:
    frames = _at(small_town(), "customers", "C13", priority="hospital")
    frames = _at(frames, "regulators", "R1", capacity_m3h=300.0)
    answer = _rechecked(_at(frames, "customers", "C14", address="the old forge"))
    does = {one.feature_id: one.does for one in answer.changes}
    assert does["C13"].endswith("without it the plan would hold")
    assert does["R1"] == "by itself it changes nothing that the papers say"
    assert [one.subject for one in answer.corrections] == ["customers"]
    assert answer.corrections[0].what.startswith("C14: address the old forge instead of C14 Example Row")


def test_a_valve_that_has_failed_or_was_opened_is_put_back_to_see_what_it_does() -> None:
    for kind in ("valve failed", "valve opened"):
        does = [one.does for one in _rechecked(CHANGES[kind][0](small_town())).changes]
        assert len(does) == 1
        assert does[0].endswith("without it the plan would hold")


def test_gas_past_the_stops_names_the_main_it_comes_by() -> None:
    answer = _rechecked(CHANGES["new main past the stops"][0](small_town()))
    assert len(answer.against) == 1
    assert "gas reaches the work past the stops" in answer.against[0].what
    assert "main M99" in answer.against[0].what
    assert answer.customers_unknown == "all"
    assert answer.changes[0].does == answer.against[0].what


def test_a_stop_that_cannot_be_made_says_what_is_in_its_place() -> None:
    for kind, words in (("fitting at a stop", "F99"), ("keep-out at a stop", "new wall")):
        against = _rechecked(CHANGES[kind][0](small_town())).against
        assert any(
            one.subject == "stop" and one.what.startswith("S1") and words in one.what for one in against
        )


def test_a_main_of_another_size_is_said_whatever_else_would_fit() -> None:
    against = _rechecked(CHANGES["other size"][0](small_town())).against
    assert [one.what for one in against] == ["S1: main M9 has 125 mm outside now, the plan has 90 mm"]


def test_it_agrees_with_a_plan_made_anew_with_these_stops_ordered() -> None:
    issued = _issued()
    frames = _at(small_town(), "customers", "C14", annual_kwh=60_000.0)
    network = build_network(_at(frames, "regulators", "R1", outlet_mbar=26.5))
    option = issued.plan.options[0]
    today = todays_option(todays_request(issued.plan, network), issued.plan, option, lambda _: None)
    places = [stop.valve_id or f"{stop.main_id}:{stop.chainage_m!r}" for stop in option.stops]
    given = orders_given(force=places, forbid=[], keep_out=None, max_stops=len(places), keep_on=[])
    made = make_plan(_request(network, orders=given.on(network, read_polygons))).plan.options[0]
    assert today.option is not None
    mine, theirs = _figures(today.option), _figures(made)
    # Why no place nearer was taken is another matter where the place was ordered.
    for stop in (*mine["stops"], *theirs["stops"]):
        del stop["not_nearer"]
    assert mine == theirs


def test_colder_weather_moves_readings_and_the_rules_given_are_told() -> None:
    colder = _rechecked(small_town(), air_temp_c=-30.0)
    assert colder.same_records
    assert colder.conditions is not None
    assert colder.conditions.air_temp_c == -30.0
    assert colder.conditions.demand_total_m3h > colder.planned.demand_total_m3h
    rules = read_rules(None, overrides={"pressure": {"minimum_mbar": 26.0}})
    stricter = _rechecked(small_town(), rules=rules)
    assert stricter.rules_differ == ("rule pressure.minimum_mbar: 26.0 instead of 19.0",)


def test_a_superseded_plan_does_not_hold_whatever_the_records_say() -> None:
    issued = _issued()
    plan = IssuedPlan(issued.plan, issued.states[0], superseded_by="plan 0000-0000 (elsewhere)")
    answer = recheck_plan(plan, todays_request(issued.plan, build_network(small_town())))
    assert [one.subject for one in answer.against] == ["superseded"]
    assert not answer.holds
    assert answer.superseded_by == "plan 0000-0000 (elsewhere)"
