"""Who is on standby, and from when to when somebody is off: the same in every file of a plan folder."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import openpyxl
import pypdf
import pytest
from rich.console import Console

from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.outputs.terminal.plan_comparison import compare_plans
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planfile.plan_json import read_plan
from netplan.planning.make_plan import make_plan
from tests.support.letters import WORDS
from tests.support.sample_plan import sample_request

Row = dict[str, Any]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    request = sample_request(WorkPart("M0142", 158.0, 162.0), start="2027-03-02T07:00", hours=9.0)
    home = tmp_path_factory.mktemp("plan")
    return write_plan_folder(make_plan(request), home / "plan", choices=Choices(words=WORDS))


@pytest.fixture(scope="module")
def best(folder: Path) -> Row:
    option: Row = json.loads((folder / "plan.json").read_text("utf-8"))["options"][0]
    return option


@pytest.fixture(scope="module")
def standby(best: Row) -> set[str]:
    """Everybody on a fallback's list, collected from plan.json and not by the program."""
    return {who for fallback in best["fallback"] for who in fallback["standby"]}


def _text(path: Path) -> list[str]:
    with pypdf.PdfReader(path) as reader:
        return [re.sub(r"[\u200b\u00ad]", "", page.extract_text()) for page in reader.pages]


def _csv(folder: Path) -> list[Row]:
    return list(csv.DictReader(io.StringIO((folder / "notices.csv").read_text("utf-8-sig"))))


def _sheet(folder: Path, name: str) -> Iterator[Row]:
    head, *rows = openpyxl.load_workbook(folder / "notices.xlsx", data_only=True)[name].iter_rows(
        values_only=True
    )
    return (dict(zip(map(str, head), row, strict=True)) for row in rows)


def _map(folder: Path) -> Row:
    page = (folder / "map.html").read_text("utf-8")
    found = re.search(r'<script[^>]*id="page-data"[^>]*>(.*?)</script>', page, re.DOTALL)
    assert found
    option: Row = json.loads(found.group(1))["options"][0]
    return option


def test_twenty_kept_customers_and_the_care_home_are_on_standby(best: Row, standby: set[str]) -> None:
    assert len(standby) == 20
    kept = {c["id"]: c["priority"] for c in best["customers"] if c["effect"] == "kept"}
    assert standby <= set(kept)
    assert "care_home" in {kept[who] for who in standby}


def test_spreadsheet_and_list_name_them(folder: Path, standby: set[str]) -> None:
    rows = _csv(folder)
    assert {row["customer_id"] for row in rows if row["standby"] == "yes"} == standby
    assert len({row["customer_id"] for row in rows}) == len(rows), "everybody once"
    assert {row["Meter point"] for row in _sheet(folder, "Standby")} == standby
    assert {row["Meter point"] for row in _sheet(folder, "Kept") if row["Standby"] == "yes"} == standby
    book = openpyxl.load_workbook(folder / "notices.xlsx", data_only=True)
    totals = {row[0]: row for row in book["Totals"].iter_rows(min_row=6, values_only=True)}
    assert totals["Standby"][2] == len(standby)
    assert totals["Standby"][3] == totals["Standby"][5]


def test_map_and_layers_mark_them(folder: Path, best: Row, standby: set[str]) -> None:
    option = _map(folder)
    assert sum(thing["standby"] for thing in option["customers"]) == len(standby)
    assert ["customers on standby", str(len(standby))] in option["facts"]
    marked = [dict(thing["rows"]) for thing in option["customers"] if thing["standby"]]
    assert {row["meter point"] for row in marked} == standby
    assert all("fails" in row["standby"] for row in marked)
    shut = {u["feed_id"] for f in best["fallback"] for u in f["shut"]}
    assert any(f"shut bypass {one}" in dict(t["rows"])["use"] for one in shut for t in option["fallback"])
    customers = gpd.read_file(folder / "plan.gpkg", layer="customers")
    own = customers[customers.option == 1]
    assert set(own.loc[own.standby.astype(bool), "customer_id"]) == standby


def test_cover_and_pages_of_the_pack_count_them(folder: Path, best: Row, standby: set[str]) -> None:
    pages = _text(folder / "work_pack.pdf")
    assert re.search(rf"standby\s+{len(standby)} meter points", pages[0])
    pack = re.sub(r"\s+", " ", " ".join(pages))
    assert "no further stop needed" not in pack
    assert "at its live end on M0142 at" in pack
    assert "isolate, purge and relight all of it" in pack
    assert pages[1].startswith("Loss sheet: when something fails")
    (loss,) = (r for r in best["loss_sheet"] if r["items"] == ["B1"] and r["state"] == "main cut")
    sheet = re.sub(r"\s+", " ", pages[1])
    at = sheet.index("bypass B1 damaged")
    assert f"{len(loss['customers'])} meter points, {loss['meters']} meters" in sheet[at : at + 700]


def test_letters_tell_them(folder: Path, standby: set[str]) -> None:
    pages = [re.sub(r"\s+", " ", page) for page in _text(folder / "letters.pdf")]
    told = [page for page in pages if "your gas is planned to stay on" in page]
    rows = [row for row in _csv(folder) if row["customer_id"] in standby]
    assert len(told) == len({(row["address_no"], row["language"]) for row in rows})
    assert all("could your gas be interrupted" in page for page in told)
    assert not [page for page in pages if ": your gas stays on" in page]


def test_screen_and_comparison_count_them(folder: Path, standby: set[str]) -> None:
    plan = read_plan(folder)
    console = Console(file=io.StringIO(), width=200)
    print_summary(plan, console)
    printed = console.file.getvalue()  # type: ignore[attr-defined]
    assert f"Customers on standby: {len(standby)}, off only" in printed
    assert "If bypass B1 is lost: 20 customers fail" in printed
    assert compare_plans([("a", plan), ("b", plan)])[0].standby == len(standby)


def test_times_promised_follow_one_order_in_every_file(folder: Path, best: Row) -> None:
    off = [c for c in best["customers"] if c["effect"] == "off"]
    assert len(off) == 8
    by_place = sorted(off, key=lambda c: c["relit"])
    order = [c["id"] for c in by_place]
    assert [c["relit"] for c in by_place] == list(range(1, len(off) + 1))
    promised = [c["on_by"] for c in by_place]
    assert promised == sorted(promised), "nobody is promised gas before the one relit before"
    relit = [who for step in best["steps"] if step["stage"] == "relight" for who in step["uses"]]
    assert relit == order
    rows = [row for row in _csv(folder) if row["effect"] == "off"]
    assert [row["customer_id"] for row in rows] == order
    assert [row["on_by"] for row in rows] == promised
    sheet = list(_sheet(folder, "Off"))
    assert [row["Meter point"] for row in sheet] == order
    assert [f"{row['On date']:%Y-%m-%d}T{row['On by']:%H:%M}" for row in sheet] == promised
    tally = " ".join(_text(folder / "tally_sheet.pdf"))
    assert sorted(order, key=tally.index) == order
    found = re.findall(r"\b\d\d:\d\d\b", tally[tally.index(order[0]) :])
    assert found == [time[11:] for c in by_place for time in (c["off_from"], c["on_by"])]
    letters = [re.sub(r"\s+", " ", page) for page in _text(folder / "letters.pdf")]
    clock = Counter(
        time[11:] for time in {(r["address_no"], r["language"]): r["on_by"] for r in rows}.values()
    )
    for time, count in clock.items():
        assert sum(f", {time}" in page and "will be off" in page for page in letters) >= count
