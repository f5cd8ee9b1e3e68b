"""Every check, in the order that fails fastest.

Run it as ``python -m tests``. Arguments are handed on to pytest, as in ``python -m tests -k bypass``.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

CHECKS = (
    ("lint", ["ruff", "check", "."]),
    ("layout of the code", ["ruff", "format", "--check", "."]),
    ("layers", ["importlinter"]),
    # Each worker takes tests in order, so that what the tests of a file share is made once.
    ("tests", ["pytest", "-n", "auto", "--dist", "worksteal", "--durations=25"]),
)
BESIDE = ("types", ["mypy"])
"""Runs beside the tests: it takes one processor, and the tests leave one idle at their ends."""


def main(arguments: list[str]) -> int:
    """Run all checks and return 0 when every one passes, else 1."""
    failed = []
    beside = subprocess.Popen(
        _call(BESIDE[1]), cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    for name, command in CHECKS:
        extra = arguments if command[0] == "pytest" else []
        print(f"== {name}: {' '.join(command)}", flush=True)
        if subprocess.run([*_call(command), *extra], cwd=ROOT, check=False).returncode:
            failed.append(name)
    said = beside.communicate()[0]
    print(f"== {BESIDE[0]}: {' '.join(BESIDE[1])}\n{said}", end="", flush=True)
    if beside.returncode:
        failed.append(BESIDE[0])
    print("all checks passed" if not failed else f"failed: {', '.join(failed)}", flush=True)
    return 1 if failed else 0


def _call(command: Sequence[str]) -> list[str]:
    """Return what starts a check; import-linter has no module to run: its command stands beside the interpreter."""
    if command[0] == "importlinter":
        return [str(Path(sys.executable).with_name("lint-imports")), *command[1:]]
    return [sys.executable, "-m", *command]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
