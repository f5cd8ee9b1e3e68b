"""The emergency mode of the page: the command's answer in the words of its papers, saved as the command saves (own)."""

from __future__ import annotations

import html
import json
import re
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from netplan.cli.app import main as run_main
from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError
from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_on_main
from netplan.emergency.next_rings import EmergencyRequest
from netplan.outputs.emergency import answer_headings
from netplan.page.emergency_mode import EmergencyMode, PageHit
from netplan.page.planning_worker import NetworkSource
from netplan.readers import read_network, write_layers
from netplan.rules import default_rules
from tests.aside_towns import aside_layers
from tests.support.ring_towns import ring_town_layers

ROOT = Path(__file__).resolve().parents[2]


def _mode(network: str) -> EmergencyMode:
    planned = read_network(network, set_aside=True)
    return EmergencyMode(NetworkSource(network), planned, default_rules())


@pytest.fixture(scope="module")
def mode() -> EmergencyMode:
    return _mode(str(sample_network()))


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, one in value.items():
            if key not in ("id", "valve_id", "kind", "if_failed", "failed_valves", "letter"):
                yield from _strings(one)
    elif isinstance(value, list):
        for one in value:
            yield from _strings(one)
    elif isinstance(value, str) and value:
        yield value


def test_every_word_is_one_of_the_page_that_the_command_writes(mode: EmergencyMode, tmp_path: Path) -> None:
    _, later = mode.ask(PageHit(main="M0132", at_m=40.0, crews=2, is_new=True))
    *_, last = later
    saved = mode.save(tmp_path, "words")
    markup = Path(saved["page"]).read_text(encoding="utf-8")
    # A heading and its line, a name and what follows, stand beside each other there with marks between.
    said = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", markup)).split())
    parts = [*_strings(last)]
    assert len(parts) > 150
    for words in parts:
        for piece in re.split(r"; |: | priority", words):
            assert " ".join(piece.split()) in said, words


def test_the_sheet_names_the_parts_alike() -> None:
    template = (ROOT / "netplan/outputs/templates/emergency.typ").read_text(encoding="utf-8")
    for name in ("WHOM_TO_TELL", "PRIORITY", "ESCAPING", "IF_A_VALVE_FAILS", "WHO_IS_WITHOUT"):
        assert re.search(rf"^ *=+ {re.escape(getattr(answer_headings, name))}$", template, re.M), name


def test_no_word_of_the_answer_stands_in_the_script() -> None:
    static = ROOT / "netplan/page/static"
    script = "".join((static / name).read_text() for name in ("emergency.js", "emergency_answer.js"))
    for value in vars(answer_headings).values():
        if isinstance(value, str) and value.isprintable() and " " in value and value[0].isupper():
            assert value not in script, value
    for words in ("evacuation", "distances", "not solved", "network control", "proven", "No gas back"):
        assert words not in script, words


def test_pressures_follow_and_a_newer_question_ends_them(mode: EmergencyMode) -> None:
    first, later = mode.ask(PageHit(main="M0132", at_m=40.0, is_new=True))
    assert first["not_solved"]
    assert not first["next_rings"]["rows"]
    assert not first["inside"]
    drawn = next(later)
    assert drawn["inside"]["A"]
    ready = next(later)
    assert ready["inside"] == drawn["inside"]
    assert ready["not_solved"]
    assert ready["next_rings"]["rows"]
    newer, newer_later = mode.ask(PageHit(main="M0132", at_m=41.0, is_new=True))
    assert list(later) == []
    steps = list(newer_later)
    assert [bool(one["not_solved"]) for one in steps] == [True, True, False, False]
    assert newer["revision"] == 1
    solved = [one["heading"] for one in steps[-1]["lists"] if "ressures" in one["heading"]]
    assert solved


def test_a_ring_ready_is_the_one_found_once_the_valve_failed(mode: EmergencyMode) -> None:
    hit = PageHit(main="M0132", at_m=40.0, crews=1)
    _, later = mode.ask(hit.model_copy(update={"is_new": True}))
    next(later)
    ready = next(later)["next_rings"]["rows"]
    (valve,) = ready[0]["if_failed"]
    again, _ = mode.ask(hit.model_copy(update={"failed": (valve,)}))
    assert again["revision"] == 2
    assert len(again["log"]["lines"]) == 2
    assert f"failed: {valve}" in again["log"]["lines"][1]
    assert again["failed_valves"] == [valve]
    stops = [row["stop"][0] for row in again["rings"]["rows"][0]["stops"]]
    assert valve not in stops
    assert [line.split(", ")[0] for line in ready[0]["stops"]] == stops
    # It shut after all: asked again without it.
    back, _ = mode.ask(hit)
    assert valve in [row["stop"][0] for row in back["rings"]["rows"][0]["stops"]]
    assert back["revision"] == 3


def test_one_of_several_mains_is_confirmed_in_the_same_log(mode: EmergencyMode) -> None:
    network = read_network(sample_network())
    row = network.pipes.id.find("M0132")
    x, y = network.pipes.coords_m[network.pipes.coord_start[row]].tolist()
    several, _ = mode.ask(PageHit(x=x, y=y, is_new=True))
    rows = several["hits"]["rows"]
    assert len(rows) > 1
    assert several["hits"]["all_shut"]
    one, _ = mode.ask(PageHit(main=rows[0]["id"], at_m=rows[0]["at_m"]))
    assert [(row["id"], row["confirmed"]) for row in one["hits"]["rows"]] == [(rows[0]["id"], True)]
    assert (one["revision"], len(one["log"]["lines"])) == (2, 2)
    assert one["hits"]["all_shut"] == ""
    # Another place is another incident, with a log of its own.
    other, _ = mode.ask(PageHit(address="12 Almond Street"))
    assert (other["revision"], len(other["log"]["lines"])) == (1, 1)


def test_a_service_that_was_hit_names_its_valve_or_main(mode: EmergencyMode) -> None:
    network = read_network(sample_network())
    name = network.pipes.id[network.pipes.n_mains]
    shown, _ = mode.ask(PageHit(main=name, at_m=0.0))
    assert [row["id"] for row in shown["hits"]["services"]] == [name]
    assert "curb valve" in shown["hits"]["services"][0]["words"]


def test_saved_is_what_the_command_shown_makes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    town = tmp_path / "town.gpkg"
    write_layers(ring_town_layers(6), town)
    network, mode = read_network(str(town)), _mode(str(town))
    row = network.pipes.id.find("M05")
    x, y = network.pipes.coords_m[network.pipes.coord_start[row]].tolist()
    hit = PageHit(x=x, y=y, crews=2, is_new=True)
    _, later = mode.ask(hit)
    next(later)
    valve = next(later)["next_rings"]["rows"][0]["if_failed"][0]
    _, later = mode.ask(hit.model_copy(update={"failed": (valve,), "is_new": False}))
    *_, _ = later
    saved = mode.save(tmp_path, "by page")
    assert sorted(one.name for one in (tmp_path / "by page").iterdir()) == [
        "emergency.html",
        "emergency.json",
        "emergency.pdf",
    ]
    line = shlex.split(saved["command"])
    assert line[:2] == ["gas-netplan", "emergency"]
    out = tmp_path / "by command"
    monkeypatch.setattr(sys, "argv", [*line[: line.index("--out")], "--out", str(out)])
    with pytest.raises(SystemExit) as left:
        run_main()
    assert not left.value.code
    one, other = (
        json.loads((folder / "emergency.json").read_text(encoding="utf-8"))
        for folder in (tmp_path / "by page", out)
    )
    for answer in (one, other):
        for key in ("log", "revision", "provenance"):
            del answer[key]
    assert one == other


def test_an_answer_is_saved_in_the_folder_of_plans_alone(mode: EmergencyMode, tmp_path: Path) -> None:
    mode.ask(PageHit(main="M0132", at_m=40.0, is_new=True))
    for name in ("", "..", "../up", "a/b", "/tmp/x", ".hidden", "a\0b", "x" * 80):  # noqa: S108
        with pytest.raises(BadInputError, match="name"):
            mode.save(tmp_path, name)
    mode.save(tmp_path, "one")
    mode.ask(PageHit(main="M0132", at_m=40.0, crews=3))
    mode.save(tmp_path, "one")  # a later answer of the same incident
    assert json.loads((tmp_path / "one" / "emergency.json").read_text())["revision"] > 1
    mode.ask(PageHit(main="M0142", at_m=1.0))
    with pytest.raises(BadInputError, match="another answer"):
        mode.save(tmp_path, "one")
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "plan.json").write_text("{}")
    with pytest.raises(BadInputError, match="other things"):
        mode.save(tmp_path, "plan")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["one", "plan"]


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {"x": 1.0},
        {"x": 1.0, "y": 2.0, "main": "M1"},
        {"main": "M1", "address": "1 Long Row"},
        {"x": "nan", "y": 1.0},
        {"x": 1e9, "y": 1.0},
        {"main": "M1", "at_m": -1.0},
        {"main": "M1", "crews": 0},
        {"main": "M1", "crews": 101},
        {"main": "x" * 201},
        {"main": "M1", "failed": ["V"] * 1001},
        {"main": "M1", "more": 1},
    ],
)
def test_a_place_that_is_none_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        PageHit.model_validate(wrong)


def test_pipes_that_planning_sets_aside_carry_gas(tmp_path: Path) -> None:
    network = tmp_path / "town.gpkg"
    write_layers(aside_layers({"B2": {"od_mm": None, "wall_mm": None, "sdr": None}}), network)
    planned = read_network(str(network), set_aside=True)
    assert len(planned.set_aside) == 1
    tables = EmergencyTables(planned, default_rules())
    as_planned = first_answer(
        tables, hits_on_main(planned, "T08", 50.0), EmergencyRequest("--main T08 --at-m 50.0", 1, 10.0)
    )
    assert "C91" not in [one.id for one in as_planned.customers]
    mode = _mode(str(network))
    shown, _ = mode.ask(PageHit(main="B2", at_m=20.0))
    assert [row["id"] for row in shown["hits"]["rows"]] == ["B2"]
    # Who hangs on it loses gas, and a ring of the trunk reaches into it.
    with_gas, _ = mode.ask(PageHit(main="T08", at_m=50.0))
    whole = _mode(_written(tmp_path / "whole.gpkg", {}))
    as_recorded, _ = whole.ask(PageHit(main="T08", at_m=50.0))
    assert _off(with_gas) == _off(as_recorded)
    assert "1 Side Row" in str(with_gas["lists"])


def _written(path: Path, changed: dict[str, dict[str, Any]]) -> str:
    write_layers(aside_layers(changed), path)
    return str(path)


def _off(shown: dict[str, Any]) -> int:
    return max(len(places) for places in shown["off"].values())
