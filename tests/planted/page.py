"""The page of the site that lists the faults and what catches each."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tests.planted.faults import ROOT
from tests.planted.run import Outcome

__all__ = ["PAGE", "page_of", "write_page"]

PAGE = ROOT / "docs" / "planted-faults.md"
_HEAD = """# Faults planted in the program

Each line is a small fault that somebody could make in the code. `python -m tests.planted` plants them one at
a time in a copy of the program, runs the tests named with the fault, and says which test fails first. A fault
that no test catches fails the run. Here are {count}, all caught.

A fault is anchored to a piece of code by its text, wherever it stands, so that code may move: an anchor that
stands nowhere any more, or more than once, is an error (`tests/own/test_planted.py`). Faults stand in
`tests/planted/faults`, a table for each part of the program.
"""


def page_of(outcomes: Iterable[Outcome]) -> str:
    """Return the page as Markdown: a table for each part of the program."""
    every = list(outcomes)
    lines = [_HEAD.format(count=len(every))]
    for area in dict.fromkeys(outcome.fault.area for outcome in every):
        lines += [f"## {area.capitalize()}", "", "| fault | caught by |", "| --- | --- |"]
        for outcome in every:
            if outcome.fault.area == area:
                lines.append(f"| {_cell(outcome.fault.what)} | `{_cell(outcome.caught_by)}` |")
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def write_page(outcomes: Iterable[Outcome]) -> Path:
    """Write the page and return where it stands, below the root."""
    PAGE.write_text(page_of(outcomes), encoding="utf-8")
    return PAGE.relative_to(ROOT)
