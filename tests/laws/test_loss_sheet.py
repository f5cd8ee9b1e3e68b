"""The loss sheet: every figure solved again by a program of its own, every action possible where it stands."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from netplan.cli.sample import sample_network
from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, write_layers
from netplan.planfile.model import LossRow, Option, Plan
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.readers import write_layers as write_network
from netplan.rules import read_rules
from tests.support.case_counts import cases
from tests.support.feed_towns import town_request
from tests.support.gpkg_flow import read
from tests.support.loss_rows import check_rows
from tests.support.sample_plan import sample_plan
from tests.support.schutterwald import MILD_C, pinned_rules
from tests.support.schutterwald import layers as schutterwald_layers
from tests.support.station_street import WORK, street_layers

SEEDS = tuple(range(cases(7)))


@cache
def _town(seed: int) -> PlanResult:
    return make_plan(replace(town_request(seed), options=2, weather=False))


@cache
def _sample() -> Plan:
    return read_plan(sample_plan())


def _solved_again(result: PlanResult, folder: Path) -> int:
    write_layers(plan_layers(result), folder / "plan.gpkg")
    return sum(
        len(check_rows(result.plan, option, read(folder / "plan.gpkg", option.rank)))
        for option in result.plan.options
    )


@pytest.mark.parametrize("rank", [1, 3])
def test_rows_of_the_sample_are_solved_alike(rank: int) -> None:
    option = _sample().options[rank - 1]
    checked = check_rows(_sample(), option, read(sample_plan() / "plan.gpkg", rank))
    stops = [line for line in checked if "fail" in line and "station" not in line]
    assert len(stops) >= 2 * sum(stop.barriers == 2 for stop in option.stops)
    assert sum("damaged" in line for line in checked) == 3 * len(option.bypasses)
    assert any("fails open" in line for line in checked)


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_of_random_towns_are_solved_alike(seed: int, tmp_path: Path) -> None:
    assert _solved_again(_town(seed), tmp_path) > 5


@pytest.mark.parametrize("work", [("M0", 5.0, 10.0), ("M1083", 60.0, 66.0), ("M75", 18.0, 21.0)])
def test_rows_of_schutterwald_are_solved_alike(work: tuple[str, float, float], tmp_path: Path) -> None:
    write_network(schutterwald_layers(), tmp_path / "network")
    request = PlanRequest(
        read_network(tmp_path / "network"),
        (WorkPart(*work),),
        pinned_rules(),
        air_temp_c=MILD_C,
        weather=False,
        options=1,
    )
    assert _solved_again(make_plan(request), tmp_path) >= 4


def _options() -> list[Option]:
    found = [*_sample().options, *(option for seed in SEEDS for option in _town(seed).plan.options)]
    assert len(found) > len(SEEDS)
    assert all(option.loss_sheet for option in found)
    return found


def _ids(option: Option) -> set[str]:
    """Return everything that a row may name: items, fallbacks, valves of fallbacks, stations."""
    found = {item.id for item in option.items} | {one.id for one in option.prepared_fallbacks}
    found |= {use.valve_id for one in option.fallback for use in one.use if use.valve_id}
    return found | {loss.id for loss in option.losses} | {gauge.id for gauge in option.gauges}


def test_an_action_names_what_is_there() -> None:
    for option in _options():
        known = _ids(option)
        for row in option.loss_sheet:
            assert set(row.items) | set(row.act_on) | set(row.feeds_again) <= known, row
            # What is acted on is named in the words, or is the meters of a list.
            if row.what not in ("a meter left on", "the day runs out, main cut", "a gauge at abort"):
                assert all(one in row.action for one in row.act_on), row


def test_everybody_leaves_first_while_the_pipe_is_open() -> None:
    for option in _options():
        for row in option.loss_sheet:
            if row.state == "main cut":
                assert row.leave == (row.what != "the day runs out, main cut"), row
            # Papers put "leave" before any action that does not begin with it: none may mean a valve.
            assert row.what == "gas in the trench" or not row.action.startswith("leave"), row


def test_nothing_is_said_in_numbers_that_was_not_solved() -> None:
    unsolved = 0
    for option in _options():
        for row in option.loss_sheet:
            if not row.solved:
                unsolved += "cannot be solved" in row.note
                assert (row.flow_m3h, row.least_mbar, row.barrier_mbar, row.seconds) == (None,) * 4, row
            assert row.at_once == (bool(row.customers) and not (row.seconds or 0.0) > 60.0)
    assert unsolved


def test_ids_run_on_and_each_state_has_its_rows() -> None:
    for option in _options():
        rows = option.loss_sheet
        assert [row.id for row in rows] == [f"L{n}" for n in range(1, len(rows) + 1)]
        for stop in option.stops:
            own = {
                (row.what, row.state) for row in rows if row.items and row.items[0].startswith(f"{stop.id}-")
            }
            assert len(own) == (6 if any(f"{stop.id}-outer" == i.id for i in option.items) else 2)
        for feed in option.bypasses:
            states = [row.state for row in rows if row.items == (feed.id,)]
            assert states == ["before the cut", "main cut", "gas back in"]


def test_those_off_by_plan_are_no_news() -> None:
    for option in _options():
        off = {one.id for one in option.customers if one.effect == "off"}
        for row in option.loss_sheet:
            assert off.isdisjoint(row.customers)


def test_no_part_that_fell_is_fed_again_before_its_meters_are_shut() -> None:
    feeding = 0
    for option in _options():
        for row in option.loss_sheet:
            assert set(row.meters_first) == set(row.customers)
            feeding += bool(row.feeds_again and row.meters_first)
            for feed in option.bypasses:
                if row.items == (feed.id,) and row.customers:
                    assert row.feeds_again == (feed.id,)
                    kept = {c.id for c in option.customers if (c.kept_by, c.cause) == (feed.id, "stranded")}
                    assert kept <= set(row.meters_first)
    assert feeding


def _lost(option: Option) -> dict[str, LossRow]:
    """Return the rows of all barriers of a stop lost with the main cut, by stop."""
    found: dict[str, LossRow] = {}
    for stop in option.stops:
        barriers = tuple(item.id for item in option.items if item.kind == "barrier" and item.of == stop.id)
        for row in option.loss_sheet:
            if row.state == "main cut" and set(row.items) == set(barriers):
                found[stop.id] = row
    return found


def test_a_lost_tail_is_shut_at_the_live_end_of_its_bypass_first() -> None:
    tails = 0
    for option in _options():
        rows = _lost(option)
        assert set(rows) == {stop.id for stop in option.stops}
        for fallback in option.fallback:
            if fallback.failure != "lost during open work" or not fallback.tail_lost:
                continue
            row = rows[fallback.stop_id]
            (shut,) = fallback.shut
            feed = next((one for one in option.bypasses if one.id == shut.feed_id), None)
            if feed is None:
                assert row.act_on == (shut.feed_id,)
                continue
            is_from = feed.from_.chainage_m == shut.chainage_m and feed.from_.main_id == shut.main_id
            live, far = ("from", "to") if is_from else ("to", "from")
            assert row.act_on == (f"{feed.id}-{live}", f"{feed.id}-{far}")
            assert (row.main_id, row.chainage_m) == (shut.main_id, shut.chainage_m)
            assert row.minutes == fallback.minutes
            assert set(fallback.standby) <= set(row.customers)
            assert row.flow_m3h is None or row.flow_m3h > 0.0, "the bypass feeds the trench until then"
            tails += 1
    assert tails


def test_a_stop_without_a_fallback_says_so_and_names_no_control() -> None:
    lost = 0
    for option in _options():
        for stop, row in _lost(option).items():
            fallback = next(
                one
                for one in option.fallback
                if (one.stop_id, one.failure) == (stop, "lost during open work")
            )
            lost += 1
            if fallback.minutes is None:
                assert row.act_on == ()
                assert "no control is planned" in row.action
                assert row.minutes is None
    assert lost >= len(_options())


def _sample_at(work: WorkPart, rules: dict[str, Any]) -> PlanResult:
    network = read_network(sample_network())
    return make_plan(PlanRequest(network, (work,), read_rules(overrides=rules), weather=False, options=1))


def test_a_prepared_fallback_is_the_control_that_is_named(tmp_path: Path) -> None:
    result = _sample_at(WorkPart("M0142", 158.0, 162.0), {"fallback": {"prepared": True}})
    (option,) = result.plan.options
    prepared = {one.id for one in option.prepared_fallbacks}
    named = {one for row in _lost(option).values() for one in row.act_on}
    assert prepared
    assert prepared <= named
    for stop, row in _lost(option).items():
        fallback = next(
            one for one in option.fallback if (one.stop_id, one.failure) == (stop, "lost during open work")
        )
        assert row.minutes == fallback.minutes
        if not fallback.tail_lost:
            assert (
                row.note.startswith("add the time for digging and tapping the fallback") != fallback.prepared
            )
    assert _solved_again(result, tmp_path) > 10


@pytest.mark.parametrize("recorded", [{}, {"inlet": {}, "inlet_valve": "VI", "vent_between": "yes"}])
def test_rows_beside_a_station_are_solved_alike(recorded: dict[str, Any], tmp_path: Path) -> None:
    network = build_network(street_layers(**recorded), strict=False)
    rules = read_rules(None, {"gas": {"name": "methane"}})
    result = make_plan(PlanRequest(network, WORK, rules, weather=False, options=1))
    (option,) = result.plan.options
    beside = [stop for stop in option.stops if stop.shuts_in]
    assert beside
    for stop in beside:
        row = _lost(option)[stop.id]
        assert len(row.items) == (2 if recorded else 1)
        assert "no control is planned" in row.action
        assert row.act_on == ()
        assert row.flow_m3h is not None
        assert row.flow_m3h > 0.0, "the station feeds the trench"
    assert _solved_again(result, tmp_path) >= 3


def test_a_network_that_is_too_large_is_not_solved_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    solved = [row for row in _town(0).plan.options[0].loss_sheet if row.solved]
    assert solved
    monkeypatch.setattr("netplan.planning.loss_sheet.loss_network.MOST_NODES", 10)
    option = make_plan(replace(town_request(0), weather=False)).plan.options[0]
    by_id = {row.id: row for row in option.loss_sheet}
    for row in solved:
        other = by_id[row.id]
        assert (other.what, other.state, other.action) == (row.what, row.state, row.action)
        assert not other.solved
        assert "not solved" in other.note
        assert (other.flow_m3h, other.least_mbar, other.barrier_mbar, other.seconds) == (None,) * 4
