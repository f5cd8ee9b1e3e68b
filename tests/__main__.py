"""Every check, in the order that fails fastest.

Run it as ``python -m tests``. Arguments are handed on to pytest, as in ``python -m tests -k bypass``.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

CHECKS = (
    ("lint", ["ruff", "check", "."]),
    ("layout of the code", ["ruff", "format", "--check", "."]),
    ("types", ["mypy"]),
    ("layers", ["importlinter"]),
    ("tests", ["pytest", "-n", "auto", "--durations=25"]),
)


def main(arguments: list[str]) -> int:
    """Run all checks and return 0 when every one passes, else 1."""
    failed = []
    for name, command in CHECKS:
        extra = arguments if command[0] == "pytest" else []
        print(f"== {name}: {' '.join(command)}", flush=True)
        # import-linter has no module to run: its command stands beside the interpreter.
        start = [sys.executable, "-m", command[0]]
        if command[0] == "importlinter":
            start = [str(Path(sys.executable).with_name("lint-imports"))]
        if subprocess.run([*start, *command[1:], *extra], cwd=ROOT, check=False).returncode:
            failed.append(name)
    print("all checks passed" if not failed else f"failed: {', '.join(failed)}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
