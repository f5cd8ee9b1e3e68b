"""A notice list that comes back filled in: read as office programs save it, recorded, added up, reviewed (own)."""

from __future__ import annotations

import csv
import io
import json
import random
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pytest
from pypdf import PdfReader

from netplan.core.errors import BadInputError
from netplan.outputs.contacts.contact_cells import day_in
from netplan.outputs.contacts.contact_state import ContactStatus, add_up, carried_over
from netplan.outputs.contacts.log_kind import returned_sheets
from netplan.outputs.contacts.returned_list import CONTACT_COLUMNS, ListContext, returned_entries
from netplan.outputs.contacts.spreadsheet_rows import sheets_of
from netplan.outputs.notice_list import notice_rows
from netplan.outputs.notice_workbook import CONTACTS, MERGE_SHEET
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.contact_log import ContactEntry, ContactLog, contact_logs_of, contacts_schema
from netplan.planfile.plan_json import plan_digest, read_plan
from netplan.planfile.revision import revision_code
from tests.support.command_line import run_command
from tests.support.plans import hamlet_result

DAY_ZERO = datetime(1899, 12, 30)
Fill = Callable[[Any, dict[str, int]], None]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan_folder(
        hamlet_result(), tmp_path_factory.mktemp("plan") / "plan", choices=Choices(papers=False)
    )


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    (tmp_path / "plan").mkdir()
    for name in ("plan.json", "plan.gpkg", "notices.xlsx", "notices.csv"):
        (tmp_path / "plan" / name).write_bytes((made / name).read_bytes())
    return tmp_path / "plan"


def filled(folder: Path, fill: Fill, name: str = "list.xlsx") -> Path:
    """Fill in the notice list of a folder and save it elsewhere."""
    book = openpyxl.load_workbook(folder / "notices.xlsx")
    sheet = book[MERGE_SHEET]
    fill(sheet, {str(cell.value): k for k, cell in enumerate(sheet[1], 1)})
    path = folder.parent / name
    book.save(path)
    return path


def told(
    sheet: Any, at: dict[str, int], row: int, day: object, by: str = "A. Miller", how: str = "letter"
) -> None:
    for name, value in (("Told on", day), ("Told by", by), ("How", how)):
        sheet.cell(row, at[name]).value = value


def some_told(sheet: Any, at: dict[str, int]) -> None:
    told(sheet, at, 2, datetime(2026, 4, 20))
    told(sheet, at, 3, "2026-05-06", "B. Jones", "")
    sheet.cell(4, at["No access"]).value = "yes"


def recorded(folder: Path, number: int = 1) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((folder / f"contacts_{number}.json").read_text(encoding="utf-8"))
    return data


def test_the_columns_are_those_of_the_notice_list() -> None:
    assert tuple(column.title for column in CONTACTS) == CONTACT_COLUMNS


def test_a_filled_in_list_becomes_a_new_file_and_changes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run_command("record", folder, filled(folder, some_told)) == 0
    said = capsys.readouterr().out
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert after.keys() - before.keys() == {"contacts_1.json"}
    assert all(after[name] == content for name, content in before.items())
    log = recorded(folder)
    jsonschema.Draft202012Validator(contacts_schema()).validate(log)
    plan = read_plan(folder)
    assert log["plan_sha256"] == plan_digest(plan)
    assert log["revision"] == revision_code(plan)
    listed = len({c.id for c in plan.options[0].customers} | set(plan.options[0].standby))
    assert len(log["entries"]) == listed
    first, second, third = log["entries"][:3]
    assert [first["told_on"], first["told_by"], first["how"]] == ["2026-04-20", "A. Miller", "letter"]
    assert [second["told_on"], second["how"], second["no_access"]] == ["2026-05-06", "", False]
    assert [third["told_on"], third["no_access"]] == [None, True]
    assert f"2 of {listed} meter points told" in said
    assert f"Not told yet: {listed - 2}" in said
    assert "No access: 1\n" in said
    with pytest.raises(BadInputError, match=r"log of who was told \(contacts_1\.json\)"):
        check_target(folder, overwrite=True)


def test_lead_times_of_the_rules_are_checked_against_the_log(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with (folder / "notices.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["notice_by"] for row in rows if row["priority"]} == {"2026-04-28"}
    households = [row for row in rows if row["category"] == "household" and not row["priority"]]
    assert {row["notice_by"] for row in households} == {"2026-05-05"}

    def fill(sheet: Any, at: dict[str, int]) -> None:
        for row in range(2, sheet.max_row + 1):
            told(sheet, at, row, "2026-05-05")

    assert run_command("record", folder, filled(folder, fill)) == 0
    said = capsys.readouterr().out
    named = sum(bool(row["priority"]) for row in rows)
    assert (
        f"14 days for priority: {named} of {named} not told by 2026-04-28 ({named} later, 0 not at all)"
        in said
    )
    assert f"7 days for household: all {len(households)} told by 2026-05-05" in said


def as_csv(folder: Path, sign: str, encoding: str, day: Callable[[date], str], head: str = "") -> Path:
    book = openpyxl.load_workbook(filled(folder, some_told))
    buffer = io.StringIO()
    buffer.write(head)
    writer = csv.writer(buffer, delimiter=sign, lineterminator="\r\n")
    for row in book[MERGE_SHEET].iter_rows(values_only=True):
        writer.writerow([day(cell) if isinstance(cell, date) else cell for cell in row])
    path = folder.parent / "list.csv"
    path.write_bytes(buffer.getvalue().encode(encoding))
    return path


SAVED: dict[str, tuple[str, str, Callable[[date], str], str]] = {
    "iso": (",", "utf-8", lambda d: f"{d:%Y-%m-%d}", ""),
    "semicolons and dots": (";", "cp1252", lambda d: f"{d:%d.%m.%Y}", ""),
    "two digits": (";", "utf-8-sig", lambda d: f"{d:%d.%m.%y}", "sep=;\r\n"),
    "tabs and slashes": ("\t", "utf-16", lambda d: f"{d:%m/%d/%Y}", ""),
    "day numbers": (",", "utf-8-sig", lambda d: str((datetime(d.year, d.month, d.day) - DAY_ZERO).days), ""),
}


def test_a_csv_says_the_same_however_it_is_saved(folder: Path) -> None:
    points = {entry.customer_id for entry in notice_rows(hamlet_result().plan, hamlet_result().states[0])}
    context = ListContext(frozenset(points), "", None, "list")

    def said(path: Path) -> list[dict[str, Any]]:
        sheets = returned_sheets(path)
        assert sheets is not None
        return [entry.model_dump(exclude={"where"}) for entry in returned_entries(sheets, context)]

    wanted = said(filled(folder, some_told))
    assert [entry["told_on"] for entry in wanted[:3]] == ["2026-04-20", "2026-05-06", None]
    for name, (sign, encoding, day, head) in SAVED.items():
        assert said(as_csv(folder, sign, encoding, day, head)) == wanted, name


def test_notices_csv_filled_in_is_read_too(folder: Path) -> None:
    lines = (folder / "notices.csv").read_text(encoding="utf-8-sig").splitlines()
    head = lines[0].split(",")
    row = next(csv.reader(lines[1:2]))
    row[head.index("told_on")], row[head.index("told_by")] = "2026-04-20", "A"
    buffer = io.StringIO()
    csv.writer(buffer).writerow(row)
    path = folder.parent / "list.csv"
    path.write_text("\n".join([lines[0], buffer.getvalue().strip(), *lines[2:]]), encoding="utf-8")
    assert run_command("record", folder, path) == 0
    assert [entry["told_on"] for entry in recorded(folder)["entries"][:2]] == ["2026-04-20", None]


def cell(name: str, value: object, row: int = 3) -> Fill:
    def fill(sheet: Any, at: dict[str, int]) -> None:
        sheet.cell(row, at[name]).value = value

    return fill


def lost_column(sheet: Any, at: dict[str, int]) -> None:
    sheet.delete_cols(at["Told on"])


@pytest.mark.parametrize(
    ("fill", "says"),
    [
        (cell("Meter point", "C9999"), "the plan has no meter point 'C9999'"),
        (cell("Told on", "soon"), "'soon' is no day"),
        (cell("Told on", "2026-02-30"), "is no day of the calendar"),
        (cell("Told on", "4/5/2026"), "may be read as two days"),
        (cell("Told on", datetime(1926, 4, 20)), "is not within 2000 to 2099"),
        (cell("Told on", "2026-05-13"), "2026-05-13 is after the day of the work, 2026-05-12"),
        (cell("Told by", "A. Miller"), "was told by 'A. Miller', and no day stands here"),
        (cell("Plan", "0000-0000"), "the list is of plan '0000-0000'"),
    ],
)
def test_what_makes_no_sense_is_one_line_with_sheet_and_cell(
    folder: Path, capsys: pytest.CaptureFixture[str], fill: Fill, says: str
) -> None:
    path = filled(folder, fill)
    at = {str(c.value): c.column_letter for c in openpyxl.load_workbook(path)[MERGE_SHEET][1]}
    assert run_command("record", folder, path) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1
    column = (
        "Told on"
        if "told by" in said
        else next(n for n in ("Meter point", "Plan", "Told on") if f"cell {at[n]}3" in said)
    )
    assert f"sheet Mail merge, cell {at[column]}3" in said
    assert not list(folder.glob("contacts_*"))


def test_a_missing_column_and_other_files_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = filled(folder, lost_column)
    assert run_command("record", folder, path) == 2
    assert "sheet Mail merge, has no column 'Told on'" in capsys.readouterr().err
    for content, says in (
        (b"PK\x03\x04 nothing", "is no spreadsheet that can be opened"),
        (b"\xd0\xcf\x11\xe0 nothing", "is a spreadsheet of an older kind, or locked with a password"),
        (b"one,two\n1,2\n", "is not JSON"),
    ):
        path.write_bytes(content)
        assert run_command("record", folder, path) == 2
        said = capsys.readouterr().err
        assert says in said
        assert said.count("\n") == 1
    book = openpyxl.Workbook()
    book.save(path)
    assert run_command("record", folder, path) == 2
    assert "no sheet has the columns 'Meter point' and 'Told on'" in capsys.readouterr().err


def test_a_hostile_list_is_data(tmp_path: Path) -> None:
    result = hamlet_result(hostile=True)
    folder = write_plan_folder(result, tmp_path / "plan", choices=Choices(papers=False))
    assert run_command("record", folder, filled(folder, some_told)) == 0
    assert run_command("record", folder, folder / "notices.csv") == 0
    points = {entry["meter_point"] for entry in recorded(folder, 2)["entries"]}
    assert points == {entry["meter_point"] for entry in recorded(folder, 1)["entries"]}


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        (46132, date(2026, 4, 20)),
        (46132.0, date(2026, 4, 20)),
        ("46132", date(2026, 4, 20)),
        (datetime(2026, 4, 20, 13, 5), date(2026, 4, 20)),
        (date(2026, 4, 20), date(2026, 4, 20)),
        ("2026-04-20", date(2026, 4, 20)),
        ("2026-4-20 13:05", date(2026, 4, 20)),
        ("2026-04-20T00:00:00", date(2026, 4, 20)),
        ("20.4.2026", date(2026, 4, 20)),
        ("20/4/2026", date(2026, 4, 20)),
        ("4/20/26", date(2026, 4, 20)),
        ("4/4/2026", date(2026, 4, 4)),
        ("  ", None),
        (None, None),
    ],
)
def test_days_as_people_and_programs_write_them(value: object, wanted: date | None) -> None:
    assert day_in(value, DAY_ZERO) == wanted


def log(**entries: tuple[str | None, bool]) -> ContactLog:
    rows = tuple(
        ContactEntry(meter_point=point, told_on=day, told_by="A", no_access=no_access)
        for point, (day, no_access) in entries.items()
    )
    return ContactLog(plan_sha256="0" * 64, revision="", source="list", entries=rows)


def test_logs_add_up_and_what_differs_is_said() -> None:
    first = log(
        A=("2026-04-01", False),
        B=(None, True),
        C=(None, False),
        D=("2026-04-02", False),
        F=("2026-04-05", True),
        G=("2026-04-09", False),
    )
    second = log(
        A=("2026-04-03", False),
        B=("2026-04-04", False),
        C=(None, True),
        D=(None, False),
        G=("2026-04-02", False),
    )
    both = add_up([("one", first), ("two", second)])
    found = {point: (both.of(point).status, both.of(point).day, both.of(point).log) for point in "ABCDEFG"}
    assert found == {
        "A": (ContactStatus.TOLD, "2026-04-03", "two"),
        "B": (ContactStatus.TOLD, "2026-04-04", "two"),
        "C": (ContactStatus.NO_ACCESS, "", "two"),
        "D": (ContactStatus.TOLD, "2026-04-02", "one"),
        "E": (ContactStatus.UNKNOWN, "", ""),
        "F": (ContactStatus.NO_ACCESS, "2026-04-05", "one"),
        "G": (ContactStatus.TOLD, "2026-04-09", "one"),
    }
    assert [line.split(":")[0] for line in both.differing] == ["A", "B", "G"]
    over = carried_over(both, add_up([("new", log(C=("2026-04-09", False)))]), ["A", "B", "D"], ["C", "F"])
    assert [over.of(point).day for point in "ABCDF"] == [
        "2026-04-03",
        "2026-04-04",
        "2026-04-09",
        "2026-04-02",
        "",
    ]
    assert over.of("F").status is ContactStatus.NOT_TOLD


def test_a_log_of_another_plan_in_the_folder_is_refused(folder: Path) -> None:
    assert run_command("record", folder, filled(folder, some_told)) == 0
    with pytest.raises(BadInputError, match="is the contact log of another plan"):
        contact_logs_of(folder, "1" * 64)
    (folder / "contacts_2.json").write_text("{}", encoding="utf-8")
    with pytest.raises(BadInputError, match=r"contacts_2\.json: schema is None"):
        contact_logs_of(folder, plan_digest(read_plan(folder)))


def test_the_next_tally_begins_with_open_doors_and_calls_are_marked(folder: Path, tmp_path: Path) -> None:
    plan = read_plan(folder)
    off = [c for c in plan.options[0].customers if c.effect == "off"]
    named = {c.id for c in plan.options[0].customers if c.priority}
    assert len(off) > 2
    assert named
    spoken = {off[0].id, off[2].id, *named}

    def fill(sheet: Any, at: dict[str, int]) -> None:
        for row in range(2, sheet.max_row + 1):
            if sheet.cell(row, at["Meter point"]).value in spoken:
                told(sheet, at, row, "2026-04-20")

    assert run_command("papers", folder, "--out", tmp_path / "before") == 0
    assert not (tmp_path / "before" / "call_sheet.pdf").exists()
    assert run_command("record", folder, filled(folder, fill)) == 0
    assert run_command("papers", folder, "--out", tmp_path / "after") == 0
    text = text_of_pdf(tmp_path / "after" / "tally_sheet.pdf")
    first, told_part = text.split("Told (")
    still_open = [c.id for c in off if c.id not in spoken]
    assert f"Open doors: not told yet, or no access ({len(still_open)})" in first
    assert all(id_ in first for id_ in still_open)
    assert all(id_ in told_part and id_ not in first for id_ in spoken & {c.id for c in off})
    assert sorted(id_ for c in off for id_ in [c.id] * text.count(c.id)) == sorted(c.id for c in off)
    calls = text_of_pdf(tmp_path / "after" / "call_sheet.pdf")
    assert calls.count("told 2026-04-20") == len(named)
    assert all(id_ in calls for id_ in named)
    assert "a plan folder holds none" in calls
    assert "secret" not in calls
    assert (tmp_path / "after" / "call_sheet.pdf").stat().st_mode & 0o077 == 0


def text_of_pdf(path: Path) -> str:
    return " ".join("\n".join(page.extract_text() for page in PdfReader(path).pages).split())


def test_a_damaged_list_is_read_or_refused_in_one_line(folder: Path, tmp_path: Path) -> None:
    draw = random.Random(24)  # noqa: S311 - no secret
    whole = [filled(folder, some_told).read_bytes(), (folder / "notices.csv").read_bytes()]
    points = frozenset(
        row["customer_id"] for row in csv.DictReader(io.StringIO(whole[1].decode("utf-8-sig")))
    )
    context = ListContext(points, "", None, "list")
    said = []
    for number in range(80):
        held = bytearray(whole[number % 2])
        for _ in range(draw.randint(1, 12)):
            held[draw.randrange(len(held))] = draw.randrange(256)
        if number % 5 == 0:
            del held[draw.randrange(len(held)) :]
        try:
            returned_entries(sheets_of(bytes(held), "list"), context)
        except BadInputError as error:
            said.append(str(error))
    assert 20 < len(said) < 80
    assert not [line for line in said if "\n" in line]
