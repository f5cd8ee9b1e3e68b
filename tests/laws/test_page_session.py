"""What the page answers is what the plan is; what it saves is what the command makes; sessions come back whole."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from netplan.cli import plan as plan_command
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError, NoPlanError
from netplan.network.work_section import work_section
from netplan.page.page_orders import PageOrders, PageWork, equal_command, request_of
from netplan.page.planning_stages import CancelledError, PlanningStages
from netplan.page.session_file import PlanningSession, read_session
from netplan.page.session_model import MOST_NOTES
from netplan.page.stage_figures import figures_of_option
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.context import PlanningContext
from netplan.planning.excavations_of_cut import work_minor_of
from netplan.planning.make_plan import make_plan
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_context import contexts_kept
from netplan.readers import read_network
from netplan.rules import default_rules
from tests.support.page_cases import random_orders, run_command, saved_both_ways

WORKS = (("M0142", 150.0, 154.0, None), ("M0048", 85.0, 89.0, None), ("M0048", 85.0, 89.0, 9.0))


@pytest.fixture(scope="module")
def network() -> Any:
    return read_network(sample_network())


def test_random_orders_are_the_same_request_by_page_and_by_command(
    network: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from netplan.outputs.keep_out_file import KEEP_OUT_FILE, keep_out_text
    from netplan.page.page_orders import areas_of

    asked: list[PlanRequest] = []
    files: list[dict[str, str]] = []

    def take(request: Callable[[], PlanRequest], *_: Any, more_files: Any, **__: Any) -> None:
        asked.append(request())
        files.append(more_files())

    monkeypatch.setattr(plan_command, "run_plan", take)
    monkeypatch.setattr("netplan.readers.read_network", lambda *_, **__: network)
    rng = np.random.default_rng(23)
    for number in range(12):
        orders = random_orders(network, rng)
        out = tmp_path / str(number)
        out.mkdir()
        text = keep_out_text(areas_of(orders))
        (out / KEEP_OUT_FILE).write_text(text, encoding="utf-8")
        line = shlex.split(equal_command(str(sample_network()), orders, str(out)))
        run_command([*line[: line.index("--out")], "--out", str(tmp_path / "other")])
        by_page = request_of(orders, network, default_rules(), options=50, weather=True)
        by_command = asked[-1]
        assert by_page.parts == by_command.parts
        assert replace(by_page.orders, keep_out=()) == replace(by_command.orders, keep_out=())
        areas = zip(by_page.orders.keep_out, by_command.orders.keep_out, strict=True)
        assert all(one.wkb == other.wkb for one, other in areas)
        for name in ("start", "hours", "air_temp_c", "feeds_allowed", "own_supply", "weather"):
            assert getattr(by_page, name) == getattr(by_command, name), name
        assert by_page.wanted == by_command.wanted
        # What the command writes beside its plan is what it was given.
        assert files[-1] == {KEEP_OUT_FILE: text}


def test_a_saved_plan_is_that_of_the_equal_command(network: Any, tmp_path: Path) -> None:
    orders = random_orders(network, np.random.default_rng(5), mild=True)
    assert saved_both_ways(network, orders, tmp_path, "plan") == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan", "plan again"]


def test_the_last_answer_is_the_plan_whatever_was_ordered_before(network: Any) -> None:
    rules = default_rules()
    stages = PlanningStages(network, rules)
    stages.warm_up(lambda: None)
    for main_id, from_m, to_m, air_temp_c in WORKS:
        orders = PageOrders(
            work=(PageWork(main_id=main_id, from_m=from_m, to_m=to_m),),
            options=2,
            start="2027-03-09T07:00",
            air_temp_c=air_temp_c,
        )
        answers: list[tuple[str, dict[str, Any]]] = []

        def send(stage: str, answer: dict[str, Any], answers: list[Any] = answers) -> None:
            if stage != "progress":
                answers.append((stage, answer))
            elif answers[-1][0] == "options" and "before any stop" in answer["words"]:
                raise CancelledError  # the weather is left off

        with pytest.raises(CancelledError):
            stages.answer(orders, lambda: None, send)
        names = [stage for stage, _ in answers]
        assert names[:2] == ["bound", "option"]
        assert set(names[2:]) == {"options"}
        request = request_of(orders, network, rules, options=50, weather=False)
        plan = make_plan(request).plan
        told = [figures_of_option(request, option) for option in plan.options]
        last = answers[-1][1]["options"]
        assert [{key: one[key] for key in one if key != "words"} for one in last] == told
        assert answers[-1][1]["orders"] == list(plan.conditions.orders)
        _require_figures_of_plan(last[0], json.loads(plan_to_json(plan)))
        # A bound is never above what it bounds, and what was solved first stays as it was.
        bound, best = answers[0][1], told[0]
        assert bound["planner"]["burden"]["value"] <= best["planner"]["burden"]["value"]
        solved = [one["options"] for _, one in answers[1:-1]]
        found = [one for one in solved if one[0]["planner"]["excavations"]["value"] is None][-1]
        for early, late in zip(found, told, strict=True):
            for who in ("planner", "notices", "engineer"):
                for name, figure in early[who].items():
                    if figure["value"] is not None:
                        assert figure["value"] == late[who][name]["value"], name
            assert [stop["id"] for stop in early["stops"]] == [stop["id"] for stop in late["stops"]]
            assert early["zone"] == late["zone"]
            assert early["off"] == late["off"]


def _require_figures_of_plan(shown: dict[str, Any], plan: dict[str, Any]) -> None:
    """Check the figures of the best option against plan.json, read by hand."""
    best, needs = plan["options"][0], plan["rules"]["pressure"]
    off = [one for one in best["customers"] if one["effect"] == "off"]
    kept = [one for one in best["customers"] if one["effect"] == "kept"]
    days, priority_days = (
        plan["rules"]["notice"]["lead_days"],
        plan["rules"]["notice"]["lead_days"]["priority"],
    )
    lead = max(max(days[one["category"]], priority_days * bool(one["priority"])) for one in (*off, *kept))
    least_mbar = best["pressures"]["after"]["least_mbar"]
    standby = {name for fallback in best["fallback"] for name in fallback["standby"]}
    expected = {
        ("planner", "stops"): len(best["stops"]),
        ("planner", "excavations"): len(best["excavations"]),
        ("planner", "burden"): best["burden"],
        ("planner", "gap"): best["proof"]["gap"],
        ("notices", "meters_off"): sum(one["meters"] for one in off),
        ("notices", "meters_kept"): sum(one["meters"] for one in kept),
        ("notices", "standby"): len(standby - {one["id"] for one in off}),
        ("notices", "priority"): sum(bool(one["priority"]) for one in off),
        ("notices", "calls_due"): (date(2027, 3, 9) - timedelta(days=lead)).isoformat(),
        ("engineer", "flow_m3h"): pytest.approx(sum(one["flow_m3h"] for one in best["bypasses"]), abs=1e-3),
        ("engineer", "bores_mm"): [one["bore_mm"] for one in best["bypasses"]],
        ("engineer", "least_mbar"): least_mbar,
        ("engineer", "margin_mbar"): pytest.approx(
            least_mbar - needs["minimum_mbar"] - needs["margin_mbar"], abs=1e-3
        ),
        ("engineer", "worst_inlet"): best["pressures"]["after"]["at"],
    }
    told = {(who, name): shown[who][name]["value"] for who, name in expected}
    assert told == expected
    assert shown["planner"]["burden"]["label"] == ("proven" if best["proof"]["optimal"] else "solved")


def test_the_bound_is_that_of_the_whole_network_whatever_is_kept(
    network: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("netplan.planning.subnetwork_context.FIRST_NODES", 300)
    rules, kept, tried = default_rules(), 0, 0
    stages = PlanningStages(network, rules)
    pipes = network.pipes
    starts = pipes.coords_m[pipes.coord_start[: pipes.n_mains]]
    near = np.argsort(np.abs(starts - np.median(starts, axis=0)).max(axis=1), kind="stable")
    for row in near[pipes.length_m[near] > 12.0][:20].tolist():
        orders = PageOrders(work=(PageWork(main_id=pipes.id[row], from_m=5.0, to_m=8.0),))
        request = request_of(orders, network, rules, options=1, weather=False)
        whole = stages._context(request).with_request(request)
        section = work_section(network, request.parts)
        kept += len(list(contexts_kept(whole, section)))
        bounds: list[Any] = []

        def take(stage: str, answer: dict[str, Any], bounds: list[Any] = bounds) -> None:
            bounds.append((stage, answer))

        stages._send_bound(whole, take)
        fresh = PlanningContext.for_request(request)
        try:
            cut = next(fresh.cuts(isolation_problem(fresh, section)), None)
        except NoPlanError:
            cut = None
        if cut is None:
            assert bounds == []
            continue
        tried += 1
        ((stage, bound),) = bounds
        assert stage == "bound"
        expected = (cut.bound_minor + work_minor_of(fresh)) / 100.0
        assert bound["planner"]["burden"]["value"] == pytest.approx(expected, abs=1e-9)
    assert kept >= 5
    assert tried >= 15


def test_the_weather_is_that_of_the_plan_though_its_search_is_not_run_again(network: Any) -> None:
    orders, rules = (
        PageOrders(work=(PageWork(main_id="M0048", from_m=85.0, to_m=89.0),), options=1),
        default_rules(),
    )
    answers: dict[str, dict[str, Any]] = {}
    searches: list[str] = []

    def send(stage: str, answer: dict[str, Any]) -> None:
        answers[stage] = answer
        searches.extend(
            [answer["words"]] if stage == "progress" and "candidate 1 " in answer["words"] else []
        )

    PlanningStages(network, rules).answer(orders, lambda: None, send)
    request = request_of(orders, network, rules, options=1, weather=True)
    told = [figures_of_option(request, option) for option in make_plan(request).plan.options]
    assert [{key: one[key] for key in one if key != "words"} for one in answers["weather"]["options"]] == told
    assert told[0]["engineer"]["coldest_air_c"]["value"] is not None
    assert len(searches) == 1


ORDERS = PageOrders(
    work=(PageWork(main_id="M0048", from_m=85.0, to_m=89.0),),
    forbid=("M0142:10:20", "V012"),
    keep_on=("C00001",),
    own_supply=("C00068",),
)
HOSTILE = "<script>alert(1)</script>\u202e =cmd|' /C calc'!A0 \x07"


@pytest.fixture
def session(network: Any, tmp_path: Path) -> PlanningSession:
    return PlanningSession(network, default_rules(), tmp_path)


def _option(network: Any) -> dict[str, Any]:
    request = request_of(ORDERS, network, default_rules(), options=1, weather=False)
    return {**figures_of_option(request, make_plan(request).plan.options[0]), "words": "cheapest"}


def test_a_session_comes_back_whole_for_a_colleague(
    session: PlanningSession, network: Any, tmp_path: Path
) -> None:
    session.note("stop", "M0048:80.000", HOSTILE)
    session.note("option", "M0048:80.000 + V011", "ask the school first")
    session.pin(ORDERS, _option(network))
    session.save("monday", ORDERS)
    saved = (tmp_path / "monday.session.json").read_text(encoding="utf-8")
    assert json.loads(saved)["schema"] == "netplan/session/1"
    # A colleague's copy of the network lies elsewhere; what it holds is the same.
    assert session.pinned[0].name == "M0048 85 to 89 m, option 1: cheapest"
    colleague = PlanningSession(replace(network, source="elsewhere.gpkg"), default_rules(), tmp_path)
    assert colleague.names() == ["monday"]
    orders, changes = colleague.open("monday")
    assert orders == ORDERS
    assert changes == ()
    assert colleague.shown() == session.shown()
    assert colleague.notes[0].text == HOSTILE
    with pytest.raises(BadInputError, match="pinned already"):
        colleague.pin(ORDERS, _option(network))
    # Figures that come later are those of the option pinned: by its stops, under its orders alone.
    later = _option(network)
    later["engineer"]["coldest_air_c"] = {"value": -3.5, "label": "solved"}
    colleague.refresh(ORDERS.model_copy(update={"max_stops": 9}), [later])
    colleague.refresh(ORDERS, [{**later, "stops": later["stops"][1:]}])
    assert colleague.shown() == session.shown()
    colleague.refresh(ORDERS, [later])
    assert colleague.pinned[0].engineer["coldest_air_c"].value == -3.5
    assert colleague.pinned[0].pinned == session.pinned[0].pinned
    # Saved again under the same name it replaces the older one; nothing else is left beside it.
    colleague.drop_note(0)
    colleague.drop_note(9)
    colleague.unpin(0)
    colleague.save("monday", ORDERS)
    session.open("monday")
    assert [note.text for note in session.notes] == ["ask the school first"]
    assert session.pinned == []
    assert [path.name for path in tmp_path.iterdir()] == ["monday.session.json"]


def test_a_changed_network_and_changed_rules_say_what_changed(
    session: PlanningSession, network: Any, tmp_path: Path
) -> None:
    session.save("before", ORDERS)
    rows, pipes = network.pipes.id.find("M0048", 0, network.pipes.n_mains), network.pipes
    length_m, od_m = pipes.length_m.copy(), pipes.od_m.copy()
    length_m[rows] -= 1.0
    od_m[network.pipes.id.find("M0142", 0, network.pipes.n_mains)] = 0.2
    other = replace(
        network, content_sha256="0" * 64, pipes=replace(network.pipes, length_m=length_m, od_m=od_m)
    )
    rules = default_rules()
    dearer = rules.model_copy(update={"price": rules.price.model_copy(update={"bypass": 950.0})})
    _, changes = PlanningSession(other, dearer, tmp_path).open("before")
    assert changes[0] == "the network has changed since this session was saved"
    assert any(line.startswith("main M0048 is ") and "long instead of" in line for line in changes)
    assert any(line.startswith("main M0142 has 200 mm instead of") for line in changes)
    assert f"rule price.bypass: 950.0 instead of {rules.price.bypass}" in changes
    # Of a record that is no more its id is said, and of layers how many there are now.
    path = tmp_path / "before.session.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    data["network"]["content_sha256"] = "1" * 64
    data["network"]["counts"]["mains"] += 2
    data["network"]["ids_sha256"]["customers"] = "2" * 64
    for layer, ident, was in (
        ("mains", "M9999", [10.0, 63.0, "PE80"]),
        ("valves", "V999", "open"),
        ("customers", "C9", "1 Road"),
    ):
        data["network"]["named"][layer][ident] = was
    data["network"]["named"]["valves"]["V012"] = "closed"
    path.write_text(json.dumps(data), encoding="utf-8")
    _, changes = session.open("before")
    count = network.pipes.n_mains
    for line in (
        f"mains: {count} instead of {count + 2} (-2)",
        "customers: as many as before, but not the same ids",
        "main M9999, which the orders name, is no longer there",
        "valve V999, which the orders name, is no longer there",
        "customer C9, whom the orders name, is no longer there",
        "valve V012 is open instead of closed",
    ):
        assert line in changes
    assert not any("rule" in line for line in changes)


def test_notes_and_names_have_their_limits(session: PlanningSession, tmp_path: Path) -> None:
    for about, place, text in (
        ("stop", "M1:2", ""),
        ("stop", "M1:2", "x" * 2_001),
        ("stop", "", "x"),
        ("else", "M1:2", "x"),
        ("stop", 5, "x"),
        ("stop", "M1:2", None),
    ):
        with pytest.raises(BadInputError, match="note: "):
            session.note(about, place, text)
    for _ in range(MOST_NOTES):
        session.note("stop", "M1:2", "x")
    with pytest.raises(BadInputError, match="at most"):
        session.note("stop", "M1:2", "x")
    for name in ("", "../up", "a/b", ".hidden", "x" * 70, "con\n"):
        with pytest.raises(BadInputError, match="name: "):
            session.save(name, ORDERS)
        with pytest.raises(BadInputError, match="name: "):
            session.open(name)
    with pytest.raises(BadInputError, match="no such session"):
        session.open("nothing")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[" * 100_000,
        '{"schema": "netplan/plan/1"}',
        '{"schema": "netplan/session/1"}',
        '{"schema": "netplan/session/1", "more": 1e999}',
    ],
)
def test_what_is_no_session_is_refused_in_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "bad.session.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as refused:
        read_session(path)
    assert str(refused.value).startswith("bad.session.json: ")
    assert "\n" not in str(refused.value)
