"""Customers in doubt are the same in every file of a plan folder, and on no list of those who go off."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import openpyxl
import pyogrio
import pypdf
import pytest
from rich.console import Console

from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_deliverables_again, write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.browser import chromium, opened
from tests.support.doubtful_town import EXPECTED, WORK, doubtful_town
from tests.support.letters import WORDS

HOSTILE = "=1+1 <script>alert(1)</script> #strong[x]"
PRIORITY = {"C-hospital": "hospital", "C-short": "care_home"}
ONE = {"valves": "valve", "mains": "main", "services": "service", "customers": "customer record"}
POINTS = {name for name, _, _ in EXPECTED}


@pytest.fixture(scope="module")
def result() -> PlanResult:
    frames = doubtful_town()
    customers = frames["customers"].copy()
    customers.loc[customers["id"] == "C-lost", "address"] = HOSTILE
    network = build_network({**frames, "customers": customers})
    return make_plan(
        PlanRequest(network, (WorkPart(*WORK),), read_rules(None), air_temp_c=8.0, options=2, weather=False)
    )


@pytest.fixture(scope="module")
def folder(result: PlanResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan_folder(result, tmp_path_factory.mktemp("doubt") / "plan", choices=Choices(words=WORDS))


@pytest.fixture(scope="module")
def option(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "plan.json").read_text(encoding="utf-8"))["options"][0]
    return found


def plain(path: Path) -> str:
    """Return the text of a PDF without blanks and the marks where long words may break."""
    pages = " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
    return re.sub(r"[\s\u200b-]+", "", pages)


def flat(text: str) -> str:
    return re.sub(r"[\s\u200b-]+", "", text)


def map_data(folder: Path) -> dict[str, Any]:
    page = (folder / "map.html").read_text(encoding="utf-8")
    text = page.split('id="page-data">', 1)[1].split("</script>", 1)[0]
    data: dict[str, Any] = json.loads(text)
    return data


def test_the_key_of_the_plan(option: dict[str, Any]) -> None:
    rows = option["in_doubt"]
    assert {(row["id"], row["layer"], row["record_id"]) for row in rows} == EXPECTED
    assert {row["id"]: row["priority"] for row in rows if row["priority"]} == PRIORITY
    assert not POINTS & {one["id"] for one in option["customers"]}
    for row in rows:
        assert row.keys() >= {"id", "address", "priority", "layer", "record_id", "why"}


def test_the_layer(folder: Path, option: dict[str, Any]) -> None:
    frame = pyogrio.read_dataframe(folder / "plan.gpkg", layer="in_doubt")
    assert pyogrio.read_info(folder / "plan.gpkg", layer="in_doubt")["geometry_type"] == "Point"
    own = frame[frame["option"] == 1]
    assert set(zip(own["id"], own["layer"], own["record_id"], strict=True)) == EXPECTED
    assert len(own) == len(EXPECTED)
    for kept, row in zip(own.to_dict("records"), option["in_doubt"], strict=True):
        assert {name: kept[name] for name in ("address", "priority", "why", "meters")} == {
            name: row[name] for name in ("address", "priority", "why", "meters")
        }
    homes = {c["id"]: c.geometry for _, c in doubtful_town()["customers"].iterrows()}
    for name, place in zip(own["id"], own.geometry, strict=True):
        assert place.distance(homes[name]) < 1e-3


def test_the_sheet_and_the_totals(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "notices.xlsx")
    head, *rows = book["In doubt"].iter_rows(values_only=True)
    place = {name: k for k, name in enumerate(head)}
    columns = ("Meter point", "Layer of the record", "Record")
    assert {tuple(row[place[name]] for name in columns) for row in rows} == EXPECTED
    assert HOSTILE in {row[place["Address"]] for row in rows}
    assert "f" not in {cell.data_type for row in book["In doubt"].iter_rows() for cell in row}
    totals = {row[0]: row for row in book["Totals"].iter_rows(min_row=6, values_only=True)}
    assert totals["In doubt"][2] == totals["In doubt"][3] == len(POINTS)
    assert totals["In doubt"][4] == len(PRIORITY)


def test_the_map(folder: Path) -> None:
    data = map_data(folder)
    marks = data["options"][0]["in_doubt"]
    points = {dict(map(tuple, mark["rows"]))["meter point"]: mark for mark in marks}
    assert set(points) == POINTS
    assert len(marks) == len(POINTS)
    assert {name for name, mark in points.items() if mark["priority"]} == set(PRIORITY)
    said = {
        (name, text.removeprefix("prove "))
        for name, mark in points.items()
        for text, _ in mark["rows"]
        if text.startswith("prove ")
    }
    assert said == {(name, f"{ONE[layer]} {record}") for name, layer, record in EXPECTED}
    assert dict(map(tuple, data["options"][0]["facts"]))["customers in doubt"] == str(len(POINTS))
    assert all(-90 <= mark["at"][0] <= 90 for mark in marks)


@pytest.mark.browser
def test_the_marks_and_the_list_of_the_map_in_a_browser(folder: Path) -> None:
    with chromium() as browser, opened(browser, folder / "map.html", "#layers input") as seen:
        page = seen.page
        marks = page.locator(".leaflet-doubt-pane .leaflet-marker-icon")
        assert marks.count() == len(POINTS)
        buttons = page.locator("#doubt-list button")
        assert buttons.count() == len(POINTS)
        first = buttons.first
        assert "C-hospital Example Row: prove valve V-H" in first.inner_text()
        first.focus()
        page.keyboard.press("Enter")
        page.locator(".leaflet-popup-content", has_text="prove valve V-H").wait_for()
        page.locator("input[data-layer=in_doubt]").uncheck()
        assert marks.count() == 0
        assert seen.complaints == []


def test_the_page_and_the_cover_of_the_work_pack(folder: Path, option: dict[str, Any]) -> None:
    text = plain(folder / "work_pack.pdf")
    assert text.count(flat("Customers in doubt")) >= 1
    for row in option["in_doubt"]:
        assert flat(f"{ONE[row['layer']]} {row['record_id']}: {row['why']}") in text
        assert flat(row["address"]) in text
    cover = flat(pypdf.PdfReader(folder / "work_pack.pdf").pages[0].extract_text())
    assert flat("Priority customers in doubt: hold") in cover
    assert flat("hospital, C-hospital Example Row: prove valve V-H before the first stop") in cover
    assert flat(f"{len(POINTS)} at {len(POINTS)} meter points") in cover


def test_warnings_and_steps_name_the_records(option: dict[str, Any]) -> None:
    lines = [line for line in option["warnings"] if "in doubt" in line]
    for name, layer, record in EXPECTED:
        assert any(record in line for line in lines), record
        held = [s for s in option["steps"] if record in s["uses"] and name in s["uses"] and s["hold"]]
        assert bool(held) == (name in PRIORITY or (layer, record) == ("valves", "V-H"))


def test_the_call_sheet_alone_holds_them_with_their_notes(folder: Path) -> None:
    sheet = plain(folder / "call_sheet_restricted.pdf")
    assert flat("ring the night desk") in sheet
    assert flat("C-hospital Example Row") in sheet
    assert flat("C-short Example Row") in sheet
    assert flat("off if otherwise: valve V-H") in sheet
    paths = sorted(folder.iterdir())
    assert {path.suffix for path in paths} >= {".json", ".html", ".csv", ".pdf"}
    for path in paths:
        if path.suffix in (".json", ".html", ".csv"):
            assert "night desk" not in path.read_text(encoding="utf-8"), path.name
        elif path.suffix == ".pdf" and "restricted" not in path.name:
            assert "nightdesk" not in plain(path), path.name


def test_nobody_in_doubt_is_told_that_the_gas_goes_off(folder: Path) -> None:
    with (folder / "notices.csv").open(encoding="utf-8-sig", newline="") as opened:
        listed = {row["customer_id"] for row in csv.DictReader(opened) if row["effect"] != "standby"}
    assert not listed & POINTS
    assert flat("C-h1 Example Row") not in plain(folder / "letters.pdf")
    assert flat("C-h1 Example Row") not in plain(folder / "tally_sheet.pdf")


def test_the_papers_made_again_from_the_folder_hold_the_same(folder: Path, tmp_path: Path) -> None:
    again = write_deliverables_again(folder, tmp_path / "again", choices=Choices(papers=False))
    assert map_data(again)["options"][0]["in_doubt"] == map_data(folder)["options"][0]["in_doubt"]
    assert (again / "notices.xlsx").read_bytes() == (folder / "notices.xlsx").read_bytes()
    second = write_deliverables_again(folder, tmp_path / "two", choices=Choices(papers=False, option=2))
    rows = list(openpyxl.load_workbook(second / "notices.xlsx")["In doubt"].iter_rows(values_only=True))
    assert len(rows) - 1 == len(read_plan(folder).options[1].in_doubt)


def test_hostile_text_and_the_screen(result: PlanResult, folder: Path) -> None:
    assert "<script>alert(1)" not in (folder / "map.html").read_text(encoding="utf-8")
    screen = io.StringIO()
    print_summary(result.plan, Console(file=screen, width=300))
    assert f"Customers in doubt: {len(POINTS)}, {len(PRIORITY)} priority" in screen.getvalue()
    assert "record in doubt, valve V-H: 3 more customers" in screen.getvalue()
