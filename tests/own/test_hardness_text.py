"""Text from the data is data: on the screen, in every file of a plan, and in what can be read back."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from rich.table import Table
from rich.text import Text

from netplan.cli.exit_codes import run
from netplan.cli.terminal import PlainConsole
from netplan.core.errors import BadInputError, NoPlanError
from netplan.network.build import build_network
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planfile.plan_json import read_plan
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import write_layers
from netplan.rules import read_rules
from tests.fuzz.damage import TEXTS
from tests.fuzz.districts import district

HOSTILE = "\x1b[2J\x1b]0;title\x07\x1b[31mred\x00 \u202eturned\u2066 \x9b31m \r\x08 [red]markup[/red] <b>"


def shown(width: int = 200) -> tuple[PlainConsole, io.StringIO]:
    screen = io.StringIO()
    return PlainConsole(file=screen, width=width, force_terminal=True, color_system="truecolor"), screen


@pytest.mark.parametrize("kind", ["text", "string", "table"])
def test_nothing_in_a_text_moves_or_colours_the_screen(kind: str) -> None:
    console, screen = shown()
    if kind == "table":
        table = Table()
        table.add_column("what")
        table.add_row(Text(HOSTILE))
        console.print(table)
    else:
        console.print(Text(HOSTILE) if kind == "text" else HOSTILE, markup=False)
    out = screen.getvalue()
    # What the console itself writes for style is all that may be left of escape sequences.
    plain = re.sub(r"\x1b\[[0-9;]*m", "", out)
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", plain)
    assert "\\u001b[2J" in plain
    assert "\\u202e" in plain
    assert kind == "table" or "[red]markup[/red]" in plain
    assert "\x1b[31m" not in out


def test_styles_of_our_own_stay() -> None:
    console, screen = shown()
    console.print(Text("bold", style="bold"))
    assert "\x1b[1m" in screen.getvalue()


def test_the_one_line_is_one_line(capfd: pytest.CaptureFixture[str]) -> None:
    def job() -> None:
        raise BadInputError(f"layer mains: {HOSTILE}\nsecond line\x85third; correct it")

    assert run(job) == 2
    said = capfd.readouterr().err
    assert said.count("\n") == 1
    assert "\x1b" not in said
    assert "second line" in said


def test_reasons_are_one_line_each(capfd: pytest.CaptureFixture[str]) -> None:
    def job() -> None:
        raise NoPlanError("no set of stops", (f"side \x1b[31m{HOSTILE}", "line\nbreak"))

    assert run(job) == 3
    said = capfd.readouterr().err
    assert said.count("\n") == 3
    assert "\x1b" not in said


def test_a_terminal_of_few_letters_brings_no_fault(tmp_path: Path) -> None:
    layers, work = district("close")
    layers = {name: frame.copy() for name, frame in layers.items()}
    layers["mains"]["street"] = "Größe – Ø 180 \U0001f525"
    network = write_layers(layers, tmp_path / "network.gpkg")
    for arguments in (
        ["check", network],
        ["plan", network, "--main", work.main_id, "--from", "50", "--to", "54", "--out", tmp_path / "plan"],
        ["plan", network, "--main", "Größe", "--from", "50", "--to", "54", "--out", tmp_path / "none"],
    ):
        done = subprocess.run(  # noqa: S603
            [sys.executable, "-m", "netplan", *map(str, arguments)],
            env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"},
            capture_output=True,
            check=False,
            timeout=200,
        )
        said = (done.stdout + done.stderr).decode("ascii")
        assert done.returncode == (2 if "Größe" in map(str, arguments) else 0), said[-2000:]
        assert "fault in the program" not in said
        assert "Traceback" not in said


def test_a_whole_plan_of_hostile_texts_is_written_and_read_back(tmp_path: Path) -> None:
    layers, work = district("close")
    layers = {name: frame.copy() for name, frame in layers.items()}
    customers = layers["customers"]
    some = [TEXTS[k % len(TEXTS)] for k in range(len(customers))]
    for column in ("address", "street", "number", "postcode", "language", "priority_note"):
        customers[column] = some
    # A null character in every address: whoever loses gas has one.
    customers["address"] = [f"{text} a\x00b" for text in some]
    customers["priority"] = ["medical" if k % 9 == 3 else "" for k in range(len(customers))]
    layers["mains"]["street"] = (TEXTS * 20)[: len(layers["mains"])]
    layers["mains"]["record_date"] = (TEXTS * 20)[3 : 3 + len(layers["mains"])]
    layers["streets"]["name"] = (TEXTS * 20)[: len(layers["streets"])]
    layers["keep_out"]["reason"] = (TEXTS * 20)[: len(layers["keep_out"])]
    network = build_network(layers)
    assert "unreadable-text" in {finding.code for finding in network.findings}
    result = make_plan(
        PlanRequest(network, (work,), read_rules(None), air_temp_c=4.0, options=2, weather=False)
    )
    out = write_plan_folder(result, tmp_path / "plan")
    plan = read_plan(out)
    assert plan == result.plan
    off = {customer.address for customer in plan.options[0].customers}
    assert off
    assert all("a\ufffdb" in address for address in off)  # what was a null character
    assert "\\u0000" not in json.dumps(plan.model_dump(mode="json"))
    book = openpyxl.load_workbook(out / "notices.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    formulas = [cell for cell in cells if cell.data_type == "f"]
    assert {cell.parent.title for cell in formulas} == {"Totals"}
    assert not {str(cell.value) for cell in formulas} & set(TEXTS)
    console, screen = shown()
    print_summary(result.plan, console)
    assert "\x1b[2J" not in screen.getvalue()
