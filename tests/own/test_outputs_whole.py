"""Files and folders appear whole or not at all; what a killed run left is cleared by the next one."""

from __future__ import annotations

import builtins
import errno
import io
import os
import random
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from netplan.core.errors import BadInputError
from netplan.outputs.atomic_writes import clear_unfinished, write_error_line, write_file
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.plan_result import PlanResult
from tests.support.plans import hamlet_result

NOBODY = 2**22 + 12345
"""No process has this number: it is above the greatest that Linux gives."""


@pytest.fixture(scope="module")
def result() -> PlanResult:
    return hamlet_result()


def test_a_file_is_whole_or_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "findings.json"
    write_file(path, lambda part: part.write_text("first"))

    def broken(part: Path) -> None:
        part.write_text("half")
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(BadInputError, match="the disk is full; nothing was left there"):
        write_file(path, broken)
    assert path.read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["findings.json"]


@pytest.mark.parametrize(
    ("name", "says"), [("x.txt", r"does not end in \.gpkg"), ("none/x.gpkg", "is not a folder")]
)
def test_unfit_names_are_refused(tmp_path: Path, name: str, says: str) -> None:
    with pytest.raises(BadInputError, match=says):
        write_file(tmp_path / name, lambda part: part.write_text("x"), suffix=".gpkg")
    assert list(tmp_path.iterdir()) == []


def test_a_link_or_folder_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "target").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "target")
    (tmp_path / "folder").mkdir()
    for name in ("link", "folder"):
        with pytest.raises(BadInputError, match="choose another name"):
            write_file(tmp_path / name, lambda part: part.write_text("x"))
    assert (tmp_path / "target").read_text() == "mine"


def test_what_a_killed_run_left_goes_and_what_runs_on_stays(tmp_path: Path) -> None:
    dead, alive = tmp_path / f".plan.unfinished-{NOBODY}", tmp_path / ".plan.unfinished-1"
    others = [
        tmp_path / name for name in (".plan.unfinished-x", ".plan.notes-77", f".plan2.unfinished-{NOBODY}")
    ]
    for folder in (dead, alive, *others):
        folder.mkdir()
        (folder / "plan.json").write_text("{")
    clear_unfinished(tmp_path / "plan")
    assert not dead.exists()
    assert all(folder.is_dir() for folder in (alive, *others))


def test_a_leftover_that_is_a_link_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "sea.txt").write_text("sea")
    (tmp_path / f".plan.unfinished-{NOBODY}").symlink_to(tmp_path / "photos")
    clear_unfinished(tmp_path / "plan")
    assert (tmp_path / "photos" / "sea.txt").read_text() == "sea"


def test_killed_between_the_two_renames_the_earlier_plan_comes_back(
    tmp_path: Path, result: PlanResult
) -> None:
    out = write_plan_folder(result, tmp_path / "plan")
    before = (out / "plan.json").read_bytes()
    out.rename(tmp_path / f".plan.earlier-{NOBODY}")
    shutil.copytree(tmp_path / f".plan.earlier-{NOBODY}", tmp_path / f".plan.unfinished-{NOBODY}")
    with pytest.raises(BadInputError, match="holds a plan already"):
        check_target(out)
    assert (out / "plan.json").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["plan"]


def test_a_new_plan_is_not_put_back_by_an_earlier_one(tmp_path: Path, result: PlanResult) -> None:
    out = write_plan_folder(result, tmp_path / "plan")
    earlier = tmp_path / f".plan.earlier-{NOBODY}"
    earlier.mkdir()
    (earlier / "plan.json").write_text("old")
    check_target(out, overwrite=True)
    assert (out / "plan.json").stat().st_size > 100
    assert not earlier.exists()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[int], Path]]:
    """Return a maker of disks of so many kilobytes."""
    mounted: list[Path] = []

    def make(kilobytes: int) -> Path:
        place = tmp_path / f"disk-{len(mounted)}"
        place.mkdir()
        command = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(place)]
        done = subprocess.run(command, capture_output=True, check=False)  # noqa: S603
        if done.returncode:
            pytest.skip("mounting a small disk takes rights that are not given here")
        mounted.append(place)
        return place

    try:
        yield make
    finally:
        for place in mounted:
            subprocess.run(["umount", str(place)], check=True)  # noqa: S603, S607


@pytest.mark.parametrize("kilobytes", [4, 64, 200, 400, 700, 1000])
def test_a_disk_that_is_full_leaves_nothing(
    result: PlanResult, small_disk: Callable[[int], Path], kilobytes: int
) -> None:
    place = small_disk(kilobytes)
    with pytest.raises(BadInputError) as caught:
        write_plan_folder(result, place / "plan", choices=Choices())
    assert "the disk is full" in str(caught.value), caught.value
    assert "\n" not in str(caught.value)
    assert list(place.iterdir()) == []


def test_the_same_folder_fits_on_a_larger_disk(result: PlanResult, small_disk: Callable[[int], Path]) -> None:
    place = small_disk(20_000)
    write_plan_folder(result, place / "plan")
    assert [p.name for p in place.iterdir()] == ["plan"]


@pytest.mark.parametrize("seed", range(8))
def test_writing_that_fails_anywhere_leaves_nothing(
    result: PlanResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    # Python's own files fail at a random write; those of GDAL and SQLite are asked with small disks.
    left = random.Random(seed).randrange(12)  # noqa: S311
    plain = io.open
    target = str(tmp_path)

    class Failing:
        def __init__(self, file: Any) -> None:
            self._file = file

        def __getattr__(self, name: str) -> Any:
            return getattr(self._file, name)

        def __enter__(self) -> Failing:
            return self

        def __exit__(self, *_: object) -> None:
            self._file.close()

        def write(self, data: Any) -> int:
            nonlocal left
            left -= 1
            if left < 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return int(self._file.write(data))

    def opened(file: Any, mode: str = "r", *more: Any, **named: Any) -> Any:
        made = plain(file, mode, *more, **named)
        ours = any(letter in mode for letter in "wax") and str(file).startswith(target)
        return Failing(made) if ours else made

    said = ""
    with monkeypatch.context() as patched:
        patched.setattr(io, "open", opened)
        patched.setattr(builtins, "open", opened)
        try:
            write_plan_folder(result, tmp_path / "plan")
        except BadInputError as error:
            said = str(error)
    assert ("the disk is full" in said) == (left < 0), said
    assert [p.name for p in tmp_path.iterdir()] == ([] if said else ["plan"])


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (OSError(errno.EDQUOT, "Disk quota exceeded"), "the disk is full"),
        (OSError(errno.EACCES, "Permission denied"), "cannot be written (Permission denied)"),
        (OSError(errno.EFBIG, "File too large"), "larger than the system allows"),
        (BadInputError("x.gpkg: cannot be written (database or disk is full); check"), "the disk is full"),
    ],
)
def test_words_for_what_went_wrong(tmp_path: Path, error: Exception, says: str) -> None:
    assert says in write_error_line(tmp_path / "plan", error)
