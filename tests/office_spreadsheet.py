"""notices.xlsx of a plan opened by a general office program and read back, cell by cell.

python -m tests.office_spreadsheet [FOLDER]     needs soffice (Debian: libreoffice-calc-nogui)

The program gets the workbook without any result of a formula in it, so that it works them out itself, and with
some contacts filled in. What it saves is read back: every value, date, time and text as it was written, every
formula the same, its result that which the workbook came with, and the contacts counted.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, Final

import openpyxl

from netplan.network.work_part import WorkPart
from netplan.outputs.notice_workbook import MERGE_SHEET
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import make_plan
from tests.support.sample_plan import sample_request

WORK: Final = WorkPart("M0142", 158.0, 162.0)
START: Final = "2027-03-09T07:00"
_RESULT: Final = re.compile(rb"(</f>)<v>[^<]*</v>")
_MOST_S: Final = 300


def main(arguments: list[str]) -> int:
    """Hand a workbook to the office program; return 1 where anything comes back otherwise."""
    program = shutil.which("soffice")
    if program is None:
        sys.stdout.write("skipped: there is no soffice on this computer; on Debian: libreoffice-calc-nogui\n")
        return 0
    with tempfile.TemporaryDirectory() as home:
        folder = Path(arguments[0]) if arguments else _plan(Path(home) / "plan")
        found = list(check(folder / "notices.xlsx", Path(program), Path(home)))
    wrong = [line for line in found if not line.startswith("  ")]
    sys.stdout.write("\n".join([*found, f"{len(wrong)} differences\n"]))
    return int(bool(wrong))


def _plan(out: Path) -> Path:
    asked = sample_request(WORK, start=START, hours=9.0)
    return write_plan_folder(make_plan(asked), out, choices=Choices(papers=False))


def check(workbook: Path, program: Path, home: Path) -> Iterator[str]:
    """Yield each difference in a line, and what was counted in lines that begin with blanks."""
    told = _with_contacts(workbook, home / "told.xlsx")
    for name, source in (("as made", workbook), ("with contacts", home / "told.xlsx")):
        bare = home / "bare" / "notices.xlsx"
        bare.parent.mkdir(exist_ok=True)
        without = _without_results(source, bare)
        back = _saved_again(bare, program, home / "back")
        results = openpyxl.load_workbook(workbook, data_only=True)
        yield from _differences(source, back, results, name, told if name == "with contacts" else 0)
        yield f"  {name}: {without} results of formulas taken out first"


def _with_contacts(workbook: Path, out: Path) -> int:
    """Fill in every third meter point as told, every second of these without access; return how many."""
    book = openpyxl.load_workbook(workbook)
    sheet = book[MERGE_SHEET]
    at = {cell.value: cell.column for cell in sheet[1]}
    rows = range(2, sheet.max_row + 1, 3)
    for row in rows:
        sheet.cell(row, at["Told on"]).value = date(2027, 2, 20)
        sheet.cell(row, at["Told by"]).value = "A. Caller"
        sheet.cell(row, at["How"]).value = "in person"
        sheet.cell(row, at["No access"]).value = "yes" if row % 2 else "no"
    book.save(out)
    return len(rows)


def _without_results(source: Path, out: Path) -> int:
    count = 0
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            data, taken = _RESULT.subn(rb"\1", old.read(entry))
            count += taken
            new.writestr(entry, data)
    return count


def _saved_again(book: Path, program: Path, out: Path) -> Path:
    profile = out.parent / "profile"
    command = [str(program), "--headless", f"-env:UserInstallation=file://{profile}"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out), str(book)]
    subprocess.run(command, check=True, capture_output=True, timeout=_MOST_S)  # noqa: S603
    return out / book.name


def _differences(source: Path, back: Path, results: Any, name: str, told: int) -> Iterator[str]:
    written = openpyxl.load_workbook(source)
    saved, worked_out = openpyxl.load_workbook(back), openpyxl.load_workbook(back, data_only=True)
    if written.sheetnames != saved.sheetnames:
        yield f"{name}: sheets {saved.sheetnames} for {written.sheetnames}"
        return
    kinds: dict[str, int] = {}
    for sheet in written:
        other = saved[sheet.title]
        for row in sheet.iter_rows():
            for cell in row:
                place, twin = f"{name}: {sheet.title}!{cell.coordinate}", other[cell.coordinate]
                one, two = _plain(cell.value), _plain(twin.value)
                kind = "formula" if cell.data_type == "f" else type(cell.value).__name__
                kinds[kind] = kinds.get(kind, 0) + 1
                if one != two or type(one) is not type(two):
                    yield f"{place}: {two!r} for {one!r}"
                if kind == "formula":
                    result = worked_out[sheet.title][cell.coordinate].value
                    wanted = results[sheet.title][cell.coordinate].value
                    is_contact = sheet.title == "Totals" and cell.column in (7, 8)
                    if not is_contact and result != wanted:
                        yield f"{place}: {one} gives {result!r}, not {wanted!r}"
        if sheet.dimensions != other.dimensions and name == "as made":
            yield f"{name}: {sheet.title} reaches {other.dimensions}, not {sheet.dimensions}"
        rules = len(sheet.data_validations.dataValidation), len(other.data_validations.dataValidation)
        if rules[0] != rules[1]:
            yield f"{name}: {sheet.title} has {rules[1]} rules for what may be filled in, not {rules[0]}"
    totals = worked_out["Totals"]
    (line,) = (row for row in totals.iter_rows(values_only=True) if row[0] == MERGE_SHEET)
    if line[6] != told:
        yield f"{name}: {line[6]} told for {told}"
    yield f"  {name}: " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))


def _plain(value: Any) -> Any:
    """Return a value to compare: a formula without blanks and quotes of sheet names, times to the second."""
    if isinstance(value, str) and value.startswith("="):
        return value.replace(" ", "").replace("'", "").replace("$", "")
    if isinstance(value, datetime):
        return value.replace(microsecond=0)
    if isinstance(value, time):
        return value.replace(microsecond=0)
    return "" if value is None else value


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
