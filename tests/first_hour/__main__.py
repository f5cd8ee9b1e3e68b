"""The first hour with each export: what it took, as a table for the page.

``python -m tests.first_hour [SEED]``
"""

from __future__ import annotations

import sys
import tempfile
import warnings
from pathlib import Path

from tests.first_hour import EXPORTS
from tests.first_hour.walk import Hour, first_hour


def row(name: str, hour: Hour) -> str:
    """Return a line of the table."""
    drafted = sum(bool(line.strip()) and not line.startswith("#") for line in hour.draft.splitlines())
    last = hour.findings["check again"]
    warned = sum(finding["severity"] == "warning" for finding in last)
    times = (hour.steps["draft"], hour.steps["check again"], hour.steps["plan"])
    seconds = " | ".join(f"{step.seconds:.1f} s" for step in times)
    edits = " + ".join(str(number) for number in hour.edits)
    return f"| {name} | {drafted} | {hour.asked} | {edits} | {warned} | {seconds} |"


def main(seed: int) -> None:
    """Print the table."""
    heads = ("export", "lines drafted", "with a question", "edited before, after the check", "warnings left")
    print(f"| {' | '.join((*heads, 'draft', 'check', 'plan'))} |")
    print(f"| {' | '.join(['---'] * 8)} |")
    for name in EXPORTS:
        with tempfile.TemporaryDirectory() as home, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            hour = first_hour(name, seed, Path(home) / name)
        failed = [step for step in ("draft", "check again", "plan") if hour.steps[step].exit_code]
        print(row(name, hour) + (f" failed: {', '.join(failed)}" if failed else ""))


main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
