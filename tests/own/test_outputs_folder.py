"""A plan folder is there whole or not at all, and the same each time."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from netplan.core.errors import BadInputError
from netplan.outputs import plan_folder as folder_module
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_deliverables_again, write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from tests.support.letters import WORDS
from tests.support.plans import hamlet_result


@pytest.fixture(scope="module")
def result() -> PlanResult:
    return hamlet_result()


def test_folder_holds_the_files_and_reads_back(result: PlanResult, tmp_path: Path) -> None:
    said: list[str] = []
    out = write_plan_folder(result, tmp_path / "plan", warn=said.append)
    assert {f.name for f in out.iterdir()} == {
        *("plan.json", "plan.gpkg", "map.html", "work_day.html", "notices.csv", "notices.xlsx"),
        *("tally_sheet.pdf", "call_sheet_restricted.pdf", "work_pack.pdf"),
    }
    assert len(said) == 1
    assert (
        "letters.pdf is not made: the words name no sender, phone, emergency; write words.en.toml" in said[0]
    )
    assert (out / "call_sheet_restricted.pdf").stat().st_mode & 0o077 == 0
    assert read_plan(out) == result.plan
    assert [p.name for p in tmp_path.iterdir()] == ["plan"]


def test_same_result_same_bytes(result: PlanResult, tmp_path: Path) -> None:
    chosen = Choices(words=WORDS)
    first = write_plan_folder(result, tmp_path / "a", choices=chosen)
    second = write_plan_folder(hamlet_result(), tmp_path / "b", choices=chosen)
    names = sorted(f.name for f in first.iterdir())
    assert "letters.pdf" in names
    assert names == sorted(f.name for f in second.iterdir())
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_broken_off_run_leaves_nothing(
    result: PlanResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    def break_off(_result: PlanResult, part: Path, *_: object) -> None:
        (part / "plan.json").write_text("{")
        raise error

    monkeypatch.setattr(folder_module, "write_plan_files", break_off)
    with pytest.raises(BadInputError if isinstance(error, OSError) else KeyboardInterrupt) as caught:
        write_plan_folder(result, tmp_path / "plan")
    if isinstance(error, OSError):
        assert "disk is full" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_broken_off_replacement_keeps_the_old_plan(
    result: PlanResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = write_plan_folder(result, tmp_path / "plan")
    before = (out / "plan.json").read_bytes()

    def break_off(_result: PlanResult, part: Path, *_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(folder_module, "write_plan_files", break_off)
    with pytest.raises(BadInputError):
        write_plan_folder(result, out, overwrite=True)
    assert (out / "plan.json").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["plan"]


def test_strange_folder_is_never_touched(result: PlanResult, tmp_path: Path) -> None:
    strange = tmp_path / "holiday"
    strange.mkdir()
    (strange / "photo.txt").write_text("sea")
    for overwrite in (False, True):
        with pytest.raises(BadInputError, match="is no plan folder"):
            write_plan_folder(result, strange, overwrite=overwrite)
    assert (strange / "photo.txt").read_text() == "sea"


def test_own_folder_only_when_asked(result: PlanResult, tmp_path: Path) -> None:
    out = write_plan_folder(result, tmp_path / "plan")
    with pytest.raises(BadInputError, match="holds a plan already"):
        check_target(out)
    (out / "left.txt").write_text("of the old plan")
    write_plan_folder(result, out, overwrite=True)
    assert not (out / "left.txt").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["plan"]


def test_impossible_targets_say_why(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInputError, match="is a file or link"):
        check_target(tmp_path / "file")
    with pytest.raises(BadInputError, match="is not a folder"):
        check_target(tmp_path / "none" / "plan")


def test_unknown_units_and_options_leave_nothing(result: PlanResult, tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="use metric or us"):
        write_plan_folder(result, tmp_path / "plan", choices=Choices(units="furlongs"))
    with pytest.raises(BadInputError, match="options 1 to 2"):
        write_plan_folder(result, tmp_path / "plan", choices=Choices(option=7))
    assert list(tmp_path.iterdir()) == []


def test_a_plan_folder_is_enough(result: PlanResult, tmp_path: Path) -> None:
    chosen = Choices(words=WORDS)
    first = write_plan_folder(result, tmp_path / "plan", choices=chosen)
    again = write_deliverables_again(first, tmp_path / "again", choices=chosen)
    assert (again / "letters.pdf").is_file()
    for path in again.iterdir():
        assert path.read_bytes() == (first / path.name).read_bytes(), path.name
    other = write_deliverables_again(first, tmp_path / "other", choices=Choices(option=2, units="us"))
    assert (other / "notices.csv").read_bytes() != (first / "notices.csv").read_bytes()
    assert "in. w.c." in (other / "map.html").read_text("utf-8")
    with pytest.raises(BadInputError, match="is no plan folder"):
        write_deliverables_again(first, other, choices=Choices())
