"""Laws of the revision code: it follows from what a plan says, stands on every paper, and old papers are void."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import openpyxl
import pypdf
import pytest

from netplan.cli.sample import sample_network
from netplan.planfile.plan_json import plan_digest, plan_from_json, read_plan
from netplan.planfile.revision import revision_code
from netplan.planfile.superseded import read_superseded, superseded_schema
from tests.support.command_line import run_command
from tests.support.letters import WORDS

PAPERS = ("work_pack.pdf", "tally_sheet.pdf", "call_sheet_restricted.pdf")
PAGES = ("map.html", "work_day.html")


def _plan(out: Path, *more: str, to: str = "162") -> list[str]:
    work = ["plan", str(sample_network()), "--main", "M0142", "--from", "158", "--to", to]
    return [*work, "--no-weather", "--options", "1", "--out", str(out), *more]


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Make an earlier plan and the one that supersedes it with the command."""
    base = tmp_path_factory.mktemp("revisions")
    old, new = base / "old", base / "new"
    assert run_command(*_plan(old)) == 0
    assert run_command(*_plan(new, "--start", "2027-03-03T08:00", "--replaces", str(old), to="163")) == 0
    return old, new


def _pages(path: Path) -> list[str]:
    with pypdf.PdfReader(io.BytesIO(path.read_bytes())) as reader:
        return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]


def test_the_code_is_the_start_of_the_digest_that_no_clock_touches(folders: tuple[Path, Path]) -> None:
    plan = read_plan(folders[0])
    digest = plan_digest(plan)
    assert revision_code(plan).replace("-", "").lower() == digest[:8]
    data = json.loads((folders[0] / "plan.json").read_text(encoding="utf-8"))
    data["provenance"]["created"] = "2031-01-01T00:00:00"
    assert revision_code(plan_from_json(json.dumps(data), "later")) == revision_code(plan)


def test_whatever_a_plan_says_is_in_its_code(folders: tuple[Path, Path]) -> None:
    text = (folders[0] / "plan.json").read_text(encoding="utf-8")
    codes = {revision_code(plan_from_json(text, "as it is"))}
    changes: tuple[tuple[tuple[str | int, ...], str | float], ...] = (
        (("options", 0, "stops", 0, "chainage_m"), 158.77),
        (("options", 0, "customers", 0, "on_by"), "2027-03-03T18:00"),
        (("conditions", "air_temp_c"), -3.0),
        (("network", "content_sha256"), "0" * 64),
        (("rules", "notice", "lead_days", "priority"), 15),
    )
    for (*path, last), value in changes:
        data = place = json.loads(text)
        for key in path:
            place = place[key]
        place[last] = value
        codes.add(revision_code(plan_from_json(json.dumps(data), "changed")))
    assert len(codes) == 1 + len(changes)


@pytest.mark.parametrize("which", [0, 1])
def test_every_page_of_every_paper_carries_the_code(folders: tuple[Path, Path], which: int) -> None:
    folder = folders[which]
    code = revision_code(read_plan(folder))
    pages = [page for name in PAPERS for page in _pages(folder / name)]
    assert len(pages) > len(PAPERS)
    assert [page for page in pages if f"Revision {code}" not in page] == []
    assert [name for name in PAGES if code not in (folder / name).read_text(encoding="utf-8")] == []
    book = openpyxl.load_workbook(folder / "notices.xlsx")
    assert [sheet.title for sheet in book if code not in str(sheet.oddFooter.right.text)] == []


def test_the_new_plan_says_what_it_replaces_and_the_old_folder_by_what(folders: tuple[Path, Path]) -> None:
    old, new = (read_plan(folder) for folder in folders)
    assert new.replaces is not None
    assert new.replaces.plan_sha256 == plan_digest(old)
    assert f"replaces {revision_code(old)}" in _pages(folders[1] / "work_pack.pdf")[0]
    note = read_superseded(folders[0])
    assert note is not None
    assert (note.revision, note.by_revision) == (revision_code(old), revision_code(new))
    assert note.by_sha256 == plan_digest(new)
    assert Path(note.by_folder) == folders[1].resolve()
    assert set(json.loads((folders[0] / "superseded.json").read_text())) == set(
        superseded_schema()["properties"]
    )
    assert read_superseded(folders[1]) is None


def test_papers_of_a_superseded_plan_are_void_and_hold_no_letters(
    folders: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "again"
    assert run_command("papers", folders[0], "--words", WORDS, "--out", out) == 0
    code = revision_code(read_plan(folders[1]))
    assert f"superseded by plan {code}" in " ".join(capsys.readouterr().out.split())
    for name in ("work_pack.pdf", "tally_sheet.pdf"):
        assert all(f"VOID: superseded by plan {code}" in page for page in _pages(out / name)), name
    assert f"VOID: superseded by plan {code}" in (out / "map.html").read_text(encoding="utf-8")
    assert not (out / "letters.pdf").exists()
    assert run_command("papers", folders[1], "--words", WORDS, "--out", tmp_path / "stands") == 0
    assert (tmp_path / "stands" / "letters.pdf").is_file()


@pytest.mark.parametrize(
    ("replaces", "work", "said"),
    [
        ("old", "M0142", "already; give the folder of that plan, or remove superseded.json"),
        ("new", "M0175", "is a plan for M0142, not for M0175"),
        ("none", "M0142", "none"),
        ("out", "M0142", "is also --out"),
    ],
)
def test_what_cannot_be_replaced_is_refused_in_one_line(
    folders: tuple[Path, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    replaces: str,
    work: str,
    said: str,
) -> None:
    places = {"old": folders[0], "new": folders[1], "none": tmp_path / "none", "out": folders[1]}
    out = folders[1] if replaces == "out" else tmp_path / "made"
    asked = [word if word != "M0142" else work for word in _plan(out, "--replaces", str(places[replaces]))]
    asked[asked.index("--from") + 1], asked[asked.index("--to") + 1] = "20", "24"
    assert run_command(*asked, *(["--overwrite"] if replaces == "out" else [])) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1
    assert said in lines[0]
    assert not (tmp_path / "made").exists()
