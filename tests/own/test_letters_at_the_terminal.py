"""What commands say of letters: no sender, languages without words, words that cannot be read (own)."""

from __future__ import annotations

import inspect
from dataclasses import replace
from pathlib import Path

import openpyxl
import pypdf
import pytest

from netplan.cli import demo
from netplan.network.text_column import TextColumn
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_result import PlanResult
from tests.support.command_line import run_command
from tests.support.letters import WORDS
from tests.support.plans import hamlet_result

SENDER = '[sender]\nsender = "Quexby Gas"\nphone = "0000 1"\nemergency = "0000 2"\n'


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the hamlet's plan folder: a third of the customers record est, a third de-AT."""
    result = hamlet_result()
    languages = TextColumn([("est", "de-AT", "")[k % 3] for k in range(len(result.states[0].customers))])
    states = tuple(
        replace(state, customers=replace(state.customers, language=languages)) for state in result.states
    )
    home = tmp_path_factory.mktemp("told")
    return write_plan_folder(
        PlanResult(result.plan, result.network, states), home / "plan", choices=Choices(papers=False)
    )


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "1000")


def _said(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return capsys.readouterr().out.splitlines()


def _notes(folder: Path) -> list[str]:
    sheet = openpyxl.load_workbook(folder / "notices.xlsx")["Totals"]
    return [str(row[0]) for row in sheet.iter_rows(min_row=12, values_only=True) if row[0]]


def test_without_a_sender_everything_but_the_letters_is_made(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_command("papers", plan, "--out", tmp_path / "out") == 0
    said = _said(capsys)
    (line,) = (line for line in said if line.startswith("letters.pdf is not made"))
    assert "write words.en.toml with sender = " in line
    assert not (tmp_path / "out" / "letters.pdf").exists()
    assert {"notices.xlsx", "notices.csv", "tally_sheet.pdf", "work_pack.pdf"} <= {
        path.name for path in (tmp_path / "out").iterdir()
    }
    assert line in _notes(tmp_path / "out")


def test_a_language_without_words_is_told_with_its_customers_and_the_run_goes_on(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "words.en.toml").write_text(SENDER, encoding="utf-8")
    (tmp_path / "words" / "words.fr.toml").write_text("[", encoding="utf-8")
    out = tmp_path / "out"
    assert run_command("papers", plan, "--words", tmp_path / "words", "--out", out) == 0
    said = _said(capsys)
    rows = list(openpyxl.load_workbook(out / "notices.xlsx")["Mail merge"].iter_rows(values_only=True))
    place = rows[0].index("Language")
    count = sum(row[place] == "est" for row in rows[1:])
    assert count > 1
    missing = f"language 'est': no words for it, so the letters of {count} customers are in en"
    assert sum(line.startswith(missing) for line in said) == 1
    assert sum("words.fr.toml: cannot be read" in line for line in said) == 1
    assert sum(note.startswith(missing) for note in _notes(out)) == 1
    with pypdf.PdfReader(out / "letters.pdf") as reader:
        pages = [page.extract_text() for page in reader.pages]
    assert any("An die Bewohner" in page for page in pages)
    assert all("Quexby Gas" in page for page in pages)


def test_words_that_a_customer_needs_must_be_readable(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "words.de.toml").write_text("[", encoding="utf-8")
    assert run_command("papers", plan, "--words", tmp_path, "--out", tmp_path / "out") == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    assert "words.de.toml: cannot be read" in lines[0]
    assert not (tmp_path / "out").exists()


def test_with_a_sender_nothing_is_said(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = ("--words", WORDS, "--language", "EN-gb", "--out", tmp_path / "out")
    assert run_command("papers", plan, *more) == 0
    assert not [line for line in _said(capsys) if "letters.pdf" in line]
    assert (tmp_path / "out" / "letters.pdf").is_file()


def test_the_demo_takes_words() -> None:
    assert "words" in inspect.signature(demo.command).parameters
