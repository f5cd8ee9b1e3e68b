"""The command of the morning check: exit codes, new files beside the old ones, page and terminal (own)."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import pypdf
import pytest

from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_json import read_plan
from netplan.planfile.recheck_answer import RecheckAnswer, recheck_schema
from netplan.planfile.revision import revision_code
from netplan.planfile.superseded import SUPERSEDED_FILE, Superseded
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.command_line import run_command
from tests.support.small_town import small_town
from tests.whole_plan.making import write_layers

COLUMNS = 80


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a plan folder of a small town, and today's records with a new priority customer in the zone."""
    base = tmp_path_factory.mktemp("recheck")
    town = small_town()
    write_layers(town, base / "then.gpkg")
    customers = town["customers"].copy()
    customers["priority"] = [
        "hospital" if one == "C13" else was
        for one, was in zip(customers["id"], customers["priority"], strict=True)
    ]
    write_layers({**town, "customers": customers}, base / "today.gpkg")
    request = PlanRequest(
        read_network(base / "then.gpkg"), (WorkPart("M9", 30.0, 34.0),), read_rules(None), options=1
    )
    write_plan_folder(make_plan(request), base / "plan", choices=Choices(papers=False))
    return base


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def _page(path: Path) -> str:
    with pypdf.PdfReader(io.BytesIO(path.read_bytes())) as reader:
        assert len(reader.pages) <= 2
        return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_a_plan_that_holds_is_exit_code_0_and_its_page_says_so(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    before = _files(home / "plan")
    assert run_command("recheck", home / "plan", home / "then.gpkg") == 0
    after = _files(home / "plan")
    assert set(after) - set(before) == {"recheck_1.json", "recheck_1.pdf"}
    assert {name: after[name] for name in before} == before
    printed = capsys.readouterr().out
    code = revision_code(read_plan(home / "plan"))
    assert f"Morning check of plan {code}, option 1" in printed
    assert "HOLDS" in printed
    assert "DOES NOT HOLD" not in printed
    lines = [line for line in printed.splitlines() if not line.startswith("Written:")]
    assert max(map(len, lines)) <= COLUMNS
    page = _page(home / "plan" / "recheck_1.pdf")
    assert f"Morning check of plan {code}" in page
    assert f"Revision {code}" in page
    assert "It is no permit to start" in page


def test_a_plan_that_does_not_hold_is_exit_code_3_and_names_who_is_touched(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    number = len(list((home / "plan").glob("recheck_*.json"))) + 1
    assert run_command("recheck", home / "plan", home / "today.gpkg", "--units", "us") == 3
    assert "DOES NOT HOLD" in capsys.readouterr().out
    path = home / "plan" / f"recheck_{number}.json"
    text = path.read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(recheck_schema()).validate(json.loads(text))
    answer = RecheckAnswer.model_validate_json(text)
    assert not answer.holds
    assert "priority" in {one.subject for one in answer.against}
    assert [one.feature_id for one in answer.changes] == ["C13"]
    page = _page(path.with_suffix(".pdf"))
    assert "DOES NOT HOLD" in page
    assert "customer C13 must stay on (hospital) and would be off" in page
    assert "without it the plan would hold" in page


def test_papers_are_left_out_and_a_forecast_needs_a_start(
    home: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    before = set(_files(home / "plan"))
    assert run_command("recheck", home / "plan", home / "then.gpkg", "--no-papers") == 0
    (new,) = set(_files(home / "plan")) - before
    assert new.endswith(".json")
    forecast = tmp_path / "forecast.csv"
    forecast.write_text("time,air_temp_c\n2027-03-09T07:00,3.0\n", encoding="utf-8")
    assert run_command("recheck", home / "plan", home / "then.gpkg", "--forecast", forecast) == 2
    assert "give --start" in capsys.readouterr().err


def test_a_superseded_folder_says_by_what(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = revision_code(read_plan(home / "plan"))
    note = Superseded(revision=code, by_revision="ABCD-0123", by_sha256="0" * 64, by_folder="/plans/new")
    path = home / "plan" / SUPERSEDED_FILE
    path.write_text(note.model_dump_json(by_alias=True), encoding="utf-8")
    try:
        assert run_command("recheck", home / "plan", home / "then.gpkg") == 3
    finally:
        path.unlink()
    printed = " ".join(capsys.readouterr().out.split())
    assert "superseded by plan ABCD-0123 (/plans/new)" in printed
    pages = sorted((home / "plan").glob("recheck_*.pdf"), key=lambda one: one.stat().st_mtime_ns)
    assert "VOID: superseded by plan ABCD-0123" in _page(pages[-1])


def test_another_network_is_refused_in_one_line(
    home: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    town = small_town()
    mains = town["mains"].copy()
    mains["id"] = ["X" + one for one in mains["id"]]
    write_layers({**town, "mains": mains}, tmp_path / "other.gpkg")
    assert run_command("recheck", home / "plan", tmp_path / "other.gpkg") == 2
    assert "has none of the plan's mains (M9)" in capsys.readouterr().err
