"""``compare --notices`` as the notice team runs it: what is written, what is refused, what the letters say (own)."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pyogrio
import pytest
from pypdf import PdfReader

from netplan.outputs.notice_workbook import MERGE_SHEET
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_json import plan_digest, read_plan
from tests.support.command_line import run_command
from tests.support.letters import WORDS
from tests.support.plans import hamlet_result

Row = dict[str, Any]
Change = Callable[[Row], None]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan_folder(
        hamlet_result(), tmp_path_factory.mktemp("plan") / "plan", choices=Choices(papers=False)
    )


@pytest.fixture
def pair(made: Path, tmp_path: Path) -> Callable[[Change], tuple[Path, Path]]:
    """Return a plan folder and another one whose plan.json was changed."""

    def folders(change: Change) -> tuple[Path, Path]:
        for name in ("old", "new"):
            shutil.copytree(made, tmp_path / name)
        path = tmp_path / "new" / "plan.json"
        data = json.loads(path.read_text(encoding="utf-8"))
        change(data)
        path.write_text(json.dumps(data), encoding="utf-8")
        return tmp_path / "old", tmp_path / "new"

    return folders


def best(plan: Row) -> Row:
    option: Row = plan["options"][0]
    return option


def off(plan: Row) -> list[Row]:
    return [row for row in best(plan)["customers"] if row["effect"] == "off"]


def one_of_each(plan: Row) -> None:
    """Take one customer off the list, keep one, put one on standby, and move the times of one."""
    first, second, third, fourth, *_ = off(plan)
    best(plan)["customers"].remove(first)
    second.update(effect="kept", kept_by="B1", off_from=None, on_by=None)
    best(plan)["customers"].remove(third)
    for row in best(plan)["fallback"]:
        row["standby"] = [*row["standby"], third["id"]]
    fourth.update(on_by="2026-05-12T18:30")


def day_moved(plan: Row) -> None:
    plan["conditions"]["start"] = "2026-05-14T08:00"
    for row in off(plan):
        row.update(
            off_from=row["off_from"].replace("05-12", "05-14"), on_by=row["on_by"].replace("05-12", "05-14")
        )


def undated(plan: Row) -> None:
    plan["conditions"]["start"] = None
    for row in off(plan):
        row.update(off_from=None, on_by=None)


def same(plan: Row) -> None:
    """Change nothing."""


def compare(*arguments: str | Path) -> int:
    return run_command("compare", *arguments, "--words", WORDS)


def pages(folder: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(folder / "letters.pdf").pages]


def lines(folder: Path, sheet: str) -> list[Row]:
    head, *rows = openpyxl.load_workbook(folder / "notice_differences.xlsx")[sheet].iter_rows(
        values_only=True
    )
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_one_of_each_has_its_sheet_and_its_letter(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(one_of_each)
    before = json.loads((old / "plan.json").read_text(encoding="utf-8"))
    first, second, third, fourth = off(before)[:4]
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    said = capsys.readouterr().out
    assert "no longer off: 3" in said
    assert "times changed: 1" in said
    assert "the old plan has no contact log" in said
    files = {path.name for path in (tmp_path / "d").iterdir()}
    assert files == {"notice_differences.xlsx", "notice_differences.csv", "letters.pdf", "call_sheet.pdf"}
    assert (tmp_path / "d" / "call_sheet.pdf").stat().st_mode & 0o077 == 0
    gone = {row["Meter point"]: row for row in lines(tmp_path / "d", "No longer off")}
    assert {id_: row["Letter"] for id_, row in gone.items()} == {
        first["id"]: "not affected (takes back off)",
        second["id"]: "kept (takes back off)",
        third["id"]: "standby (takes back off)",
    }
    assert all(row["Earlier letter"] == "not known: taken as delivered" for row in gone.values())
    (times,) = lines(tmp_path / "d", "Times changed")
    assert [times["Meter point"], str(times["On by before"])[:5], str(times["On by"])[:5]] == [
        *(fourth["id"], fourth["on_by"][11:], "18:30"),
    ]
    letters = pages(tmp_path / "d")
    assert len(letters) == 4
    of = {row["Meter point"]: letters[row["Letter no."] - 1] for row in (*gone.values(), times)}
    window = "on 12 May 2026, from 08:00 to 17:00"
    for row, title in (
        (first, "Your gas will not be turned off after all"),
        (second, "Your gas will not be turned off after all"),
        (third, "We no longer plan to turn your gas off"),
        (fourth, "New times. Your gas will be off on 12 May 2026"),
    ):
        assert title in of[row["id"]]
        assert window in of[row["id"]]
        assert row["address"] in of[row["id"]]
        assert "throw the earlier letter away" in of[row["id"]]
    assert "Your gas stays on as usual" in of[first["id"]]
    assert "temporary pipe" in of[second["id"]]
    assert "at short notice" in of[third["id"]]
    assert "The works are on 12 May 2026." in of[third["id"]]
    assert "Gas back by 12 May 2026, 18:30" in of[fourth["id"]]
    holding = {row["Meter point"] for row in lines(tmp_path / "d", "Still holds")}
    listed = {row["id"] for row in best(before)["customers"]} | set(best(before)["fallback"][0]["standby"])
    assert holding == listed - {first["id"], second["id"], third["id"], fourth["id"]}


def test_a_day_that_moved_is_told_to_everybody(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path
) -> None:
    old, new = pair(day_moved)
    plan = json.loads((old / "plan.json").read_text(encoding="utf-8"))
    listed = {row["id"] for row in best(plan)["customers"]} | set(best(plan)["fallback"][0]["standby"])
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    rows = [row for sheet in ("Times changed", "Day moved") for row in lines(tmp_path / "d", sheet)]
    assert {row["Meter point"] for row in rows} == listed
    for text in pages(tmp_path / "d"):
        english = "Our earlier letter named 12 May 2026 for these works." in text and "14 May 2026" in text
        german = "Tag der Arbeiten der 12. Mai 2026" in text and "14. Mai 2026" in text
        assert english != german
    assert compare(new, old, "--notices", tmp_path / "back") == 0
    assert lines(tmp_path / "back", "Still holds") == []


def test_plans_without_a_day_read_right(pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path) -> None:
    old, new = pair(undated)
    assert compare(old, new, "--notices", tmp_path / "open") == 0
    assert compare(new, old, "--notices", tmp_path / "set", "--language", "de") == 0
    for text in pages(tmp_path / "open"):
        english = "The day is not fixed yet." in text and "named 12 May 2026" in text
        german = "Der Tag steht noch nicht fest." in text and "der 12. Mai 2026" in text
        assert english != german
    for text in pages(tmp_path / "set"):
        assert "In unserem früheren Brief stand noch kein Tag" in text
        assert "12. Mai 2026" in text


def test_who_was_certainly_not_told_gets_no_letter_that_takes_one_back(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(one_of_each)
    first, second, third, *_ = off(json.loads((old / "plan.json").read_text(encoding="utf-8")))
    book = openpyxl.load_workbook(old / "notices.xlsx")
    sheet = book[MERGE_SHEET]
    at = {str(cell.value): k for k, cell in enumerate(sheet[1], 1)}
    for row in range(2, sheet.max_row + 1):
        point = sheet.cell(row, at["Meter point"]).value
        if point == second["id"]:
            sheet.cell(row, at["Told on"]).value = "2026-05-01"
        elif point == third["id"]:
            sheet.cell(row, at["No access"]).value = "yes"
    book.save(tmp_path / "list.xlsx")
    assert run_command("record", old, tmp_path / "list.xlsx") == 0
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    assert "nobody was told by contacts_1.json" in capsys.readouterr().out
    rows = {row["Meter point"]: row for row in lines(tmp_path / "d", "No longer off")}
    assert rows[first["id"]]["Letter"] == "none: nobody was told by contacts_1.json"
    assert rows[second["id"]]["Letter"] == "kept (takes back off)"
    assert rows[second["id"]]["Earlier letter"] == "told 2026-05-01"
    assert rows[third["id"]]["Letter"] == "standby (takes back off)"
    assert rows[third["id"]]["Earlier letter"] == "no access: a letter may lie there"
    (times,) = lines(tmp_path / "d", "Times changed")
    assert times["Letter"] == "off"
    assert "earlier letter" not in pages(tmp_path / "d")[times["Letter no."] - 1]
    # The list of the difference comes back for the new plan, what still holds among it, and who is let go: the
    # new plan of a large network may not know them.
    assert (tmp_path / "d" / "tally_sheet.pdf").is_file()
    frame = pyogrio.read_dataframe(new / "plan.gpkg", layer="customers")
    frame = frame[frame.customer_id != first["id"]]
    pyogrio.write_dataframe(frame, new / "plan.gpkg", layer="customers")
    assert run_command("record", new, tmp_path / "d" / "notice_differences.csv") == 0
    assert run_command("record", new, tmp_path / "d" / "notice_differences.xlsx") == 0


def test_a_corrected_address_is_written_to_anew_and_the_old_door_told(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path
) -> None:
    old, new = pair(same)
    point = off(json.loads((old / "plan.json").read_text(encoding="utf-8")))[0]
    frame = pyogrio.read_dataframe(new / "plan.gpkg", layer="customers")
    frame.loc[frame.customer_id == point["id"], ["address", "number"]] = ["99 Mill Close", "99"]
    pyogrio.write_dataframe(frame, new / "plan.gpkg", layer="customers")
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    (row,) = lines(tmp_path / "d", "Address changed")
    assert [row["Meter point"], row["Address"], row["Letter"]] == [point["id"], "99 Mill Close", "off"]
    assert point["address"] in row["Old address"]
    here, there = sorted(pages(tmp_path / "d"), key=lambda text: "99 Mill Close" not in text)
    assert "Your gas will be off on 12 May 2026" in here
    assert "Our earlier letter was not meant for you" in there
    assert point["address"] in there
    assert "Your gas" not in there


def test_nobody_is_told_that_gas_stays_on_at_a_meter_that_the_new_records_lack(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    point: Row = {}

    def gone(plan: Row) -> None:
        point.update(off(plan)[0])
        best(plan)["customers"].remove(off(plan)[0])

    old, new = pair(gone)
    frame = pyogrio.read_dataframe(new / "plan.gpkg", layer="customers")
    left = frame[frame.customer_id != point["id"]]
    pyogrio.write_dataframe(left, new / "plan.gpkg", layer="customers")
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"1 meter point is not in the records of the new plan ({point['id']}): no letter is made" in said
    (row,) = lines(tmp_path / "d", "No longer off")
    assert row["Letter"].startswith("none: not in the records of the new plan")
    assert not (tmp_path / "d" / "letters.pdf").exists()


def test_two_letters_to_one_address_name_their_meter_points(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def neighbours(plan: Row) -> None:
        first, second, *_ = off(plan)
        best(plan)["customers"].remove(first)
        second.update(on_by="2026-05-12T18:30")

    old, new = pair(neighbours)
    first, second, *_ = off(json.loads((old / "plan.json").read_text(encoding="utf-8")))
    for folder in (old, new):
        frame = pyogrio.read_dataframe(folder / "plan.gpkg", layer="customers")
        both = frame.customer_id.isin([first["id"], second["id"]])
        frame.loc[both, ["address", "street", "number"]] = ["7 Mill Close", "Mill Close", "7"]
        pyogrio.write_dataframe(frame, folder / "plan.gpkg", layer="customers")
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    assert "1 address gets several letters" in capsys.readouterr().out
    texts = pages(tmp_path / "d")
    assert sorted(first["id"] in text for text in texts) == [False, True]
    assert sorted(second["id"] in text for text in texts) == [False, True]


def test_without_a_sender_there_are_no_letters_and_one_line_says_so(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(one_of_each)
    assert run_command("compare", old, new, "--notices", tmp_path / "d") == 0
    said = capsys.readouterr().out
    assert said.count("letters.pdf is not made") == 1
    files = {path.name for path in (tmp_path / "d").iterdir()}
    assert files == {"notice_differences.xlsx", "notice_differences.csv", "call_sheet.pdf"}
    assert {row["Letter no."] for row in lines(tmp_path / "d", "No longer off")} == {0}


def test_where_nothing_changes_no_letter_is_needed(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(same)
    assert run_command("compare", old, new, "--notices", tmp_path / "d") == 0
    said = capsys.readouterr().out
    assert "No notice differs: for all 19 meter points the earlier letter holds" in said
    assert "No letter is needed" in said
    assert "Mind" not in said
    assert not (tmp_path / "d" / "letters.pdf").exists()


def other_main(plan: Row) -> None:
    plan["work"][0]["main_id"] = "M-H1"


def elsewhere(plan: Row) -> None:
    plan["work"][0].update(from_m=50.0, to_m=58.0)


@pytest.mark.parametrize("change", [other_main, elsewhere])
def test_plans_of_different_work_are_refused_unless_one_supersedes_the_other(
    pair: Callable[[Change], tuple[Path, Path]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    change: Change,
) -> None:
    old, new = pair(change)
    assert compare(old, new, "--notices", tmp_path / "d") == 2
    said = capsys.readouterr().err
    assert "the old plan works on M-TAIL 20.0 m to 48.0 m, the other does not" in said
    assert said.count("\n") == 1
    assert not (tmp_path / "d").exists()
    path = new / "plan.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    digest = plan_digest(read_plan(old))
    data["replaces"] = {"revision": "0000-0000", "plan_sha256": digest, "start": None}
    path.write_text(json.dumps(data), encoding="utf-8")
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    assert "because the new plan supersedes the old one" in " ".join(capsys.readouterr().out.split())


def test_a_section_that_grew_is_the_same_work(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(lambda plan: plan["work"][0].update(from_m=18.0))
    assert compare(old, new, "--notices", tmp_path / "d") == 0
    assert "differ in chainage: taken as one work" in capsys.readouterr().out
    assert "No notice differs" not in capsys.readouterr().out


def test_what_cannot_be_done_is_one_line(
    pair: Callable[[Change], tuple[Path, Path]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(one_of_each)
    out = tmp_path / "d"
    for arguments, says in (
        ((old, "--notices", out), "1 plan folders were given"),
        ((old, new, old, "--notices", out), "3 plan folders were given"),
        ((old, new, "--option", "2"), "--option needs --notices"),
        ((old, new, "--language", "de"), "--language needs --notices"),
        ((old, new, "--notices", out, "--option", "9"), "option 9: the plan has options 1 to 2"),
        ((old, new, "--notices", out, "--old-option", "7"), "option 7: the plan has options 1 to 2"),
        ((old, new, "--notices", out, "--language", "xx"), "there are no words for 'xx'"),
        ((old, new, "--notices", old), "exists and is no notices of a difference folder"),
    ):
        assert run_command("compare", *arguments) == 2
        said = capsys.readouterr().err
        assert says in said
        assert said.count("\n") == 1
    assert not out.exists()
    note = {"schema": "netplan/superseded/1", "revision": "A", "by_revision": "B", "by_sha256": "0" * 64}
    (new / "superseded.json").write_text(json.dumps({**note, "by_folder": "elsewhere"}), encoding="utf-8")
    assert run_command("compare", old, new, "--notices", out) == 2
    assert "superseded by plan B" in capsys.readouterr().err
    assert compare(new, old, "--notices", out) == 0
    assert "not by the new one" in capsys.readouterr().out


def test_without_notices_it_compares_as_before(
    pair: Callable[[Change], tuple[Path, Path]], capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = pair(one_of_each)
    assert run_command("compare", old, new) == 0
    assert "The best option of each plan" in capsys.readouterr().out
