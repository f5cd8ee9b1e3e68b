"""A run that is killed leaves no half plan; fifty moments by `python -m tests.fuzz.killed 50`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_six_runs_killed_at_random_moments() -> None:
    # A process of its own: children are forked from it, which a test process with threads must not do.
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz.killed", "6"],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert done.stdout.startswith("6 runs of "), done.stdout
