"""Planting faults in copies of the tree and running the tests that should catch them."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import Final

from tests.planted.faults import ROOT, Fault, PlantError, package_texts, plant

__all__ = ["Copy", "Outcome", "failing_without_fault", "run_all", "tree_copies"]

LIMIT_S: Final = 600.0
"""After so long a run of tests is stopped, and the fault counts as not caught [s]."""
BASELINE_LIMIT_S: Final = 3600.0

LEFT_OUT: Final = shutil.ignore_patterns(
    ".*", "__pycache__", "*.pyc", "*.nbi", "*.nbc", "site", "dist", "build", "*.egg-info"
)
_SUMMARY: Final = re.compile(r"^(FAILED|ERROR) (\S+::.+?)(?: - .*)?$", re.MULTILINE)
_PASSED: Final = 0
_FAILED: Final = 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a fault.

    Parameters
    ----------
    fault : Fault
    caught_by : str
        Name of the first test that failed; empty when none did.
    seconds : float
        How long planting and testing took [s].
    remark : str
        Why it is not caught: tests passed, no answer in time, tests could not be run.
    """

    fault: Fault
    caught_by: str
    seconds: float
    remark: str = ""


class Copy:
    """A copy of the tree in which faults are planted one at a time.

    Parameters
    ----------
    folder : Path
        Where the copy is made; its parent is there.
    """

    def __init__(self, folder: Path) -> None:
        self.root = folder
        shutil.copytree(ROOT, folder, ignore=LEFT_OUT)
        (folder / "home").mkdir()

    @contextmanager
    def with_fault(self, fault: Fault) -> Iterator[None]:
        """Plant a fault, and take it out again."""
        change = plant(fault, package_texts(self.root))
        path = self.root / change.path
        path.write_text(change.after, encoding="utf-8")
        self._forget(path)
        try:
            yield
        finally:
            path.write_text(change.before, encoding="utf-8")
            self._forget(path)

    def _forget(self, path: Path) -> None:
        """Remove what was compiled from a file: its age is told to the second alone."""
        for old in path.parent.glob(f"__pycache__/{path.stem}.*"):
            old.unlink()
        for old in self.root.rglob("*.nb[ic]"):
            old.unlink()

    def pytest(self, tests: Sequence[str], *options: str, limit_s: float) -> tuple[int, str]:
        """Run tests in the copy; return pytest's exit code and what it wrote, -1 when it took too long."""
        command = [sys.executable, "-m", "pytest", "-q", "-rfEs", "--tb=no", "-p", "no:cacheprovider"]
        try:
            done = subprocess.run(
                [*command, *options, *tests],
                cwd=self.root,
                env=self._environment(),
                capture_output=True,
                text=True,
                timeout=limit_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return -1, ""
        return done.returncode, done.stdout + done.stderr

    def _environment(self) -> dict[str, str]:
        # CI: what is not installed is a failure instead of a skip, and random examples are the same each time.
        return os.environ | {
            "PYTHONPATH": str(self.root),
            "CI": "true",
            "COLUMNS": "300",
            "HOME": str(self.root / "home"),
        }

    def judge(self, fault: Fault) -> Outcome:
        """Plant one fault, run its tests and say which one catches it."""
        began = time.monotonic()
        with self.with_fault(fault):
            code, text = self.pytest(fault.tests, "-x", limit_s=LIMIT_S)
        seconds = time.monotonic() - began
        failed = _SUMMARY.search(text)
        if code == _FAILED and failed:
            return Outcome(fault, failed.group(2), seconds)
        if code == _PASSED:
            return Outcome(fault, "", seconds, "its tests pass")
        if code < 0:
            return Outcome(fault, "", seconds, f"no answer within {LIMIT_S:g} s")
        last = " ".join(text.strip().splitlines()[-3:])
        return Outcome(fault, "", seconds, f"its tests could not be run: {last[:300]}")


@contextmanager
def tree_copies(count: int) -> Iterator[list[Copy]]:
    """Make copies of the tree in a temporary folder, and remove them at the end."""
    with tempfile.TemporaryDirectory(prefix="planted-", ignore_cleanup_errors=True) as folder:
        yield [Copy(Path(folder) / f"copy{number}") for number in range(count)]


def failing_without_fault(copies: Sequence[Copy], chosen: Sequence[Fault]) -> list[str]:
    """Return the tests of some faults that fail, or are skipped, in a tree without any fault."""
    tests = list(dict.fromkeys(test for fault in chosen for test in fault.tests))
    shares = [tests[number :: len(copies)] for number in range(len(copies))]

    def run(copy: Copy, share: list[str]) -> list[str]:
        code, text = copy.pytest(share, limit_s=BASELINE_LIMIT_S) if share else (_PASSED, "")
        bad = [match.group(2) for match in _SUMMARY.finditer(text)]
        bad += [line for line in text.splitlines() if line.startswith("SKIPPED")]
        if code != _PASSED and not bad:
            bad = [" ".join(text.strip().splitlines()[-5:]) or "no answer in time"]
        return bad

    with ThreadPoolExecutor(len(copies)) as pool:
        return [bad for found in pool.map(run, copies, shares) for bad in found]


def run_all(copies: Sequence[Copy], chosen: Sequence[Fault]) -> Iterator[Outcome]:
    """Yield what became of each fault, in the order given; as many at a time as there are copies."""
    free: SimpleQueue[Copy] = SimpleQueue()
    for copy in copies:
        free.put(copy)

    def run(fault: Fault) -> Outcome:
        copy = free.get()
        try:
            return copy.judge(fault)
        except PlantError as error:
            return Outcome(fault, "", 0.0, str(error))
        finally:
            free.put(copy)

    with ThreadPoolExecutor(len(copies)) as pool:
        yield from pool.map(run, chosen)
