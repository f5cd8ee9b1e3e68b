"""The page of the site that lists the faults and what catches each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from tests.planted.faults import ROOT, Fault, faults
from tests.planted.run import Outcome

__all__ = ["PAGE", "page_of", "write_page"]

PAGE = ROOT / "docs" / "planted-faults.md"
_LINE = re.compile(r"^\| (.*) \| `(.*)` \|$", re.MULTILINE)
_HEAD = """# Faults planted in the program

Each line is a small fault that somebody could make in the code. `python -m tests.planted` plants them one at
a time in a copy of the program, runs the tests named with the fault, and says which test fails first. A fault
that no test catches fails the run. Here are {count}, all caught.

A fault is anchored to a piece of code by its text, wherever it stands, so that code may move: an anchor that
stands nowhere any more, or more than once, is an error (`tests/own/test_planted.py`). Faults stand in
`tests/planted/faults`, a table for each part of the program.
"""


def page_of(every: Sequence[Fault], caught_by: Mapping[str, str]) -> str:
    """Return the page as Markdown: a table for each part of the program.

    Parameters
    ----------
    every : sequence of Fault
    caught_by : mapping of str to str
        The test that caught a fault, by what the fault is.
    """
    lines = [_HEAD.format(count=len(every))]
    for area in dict.fromkeys(fault.area for fault in every):
        lines += [f"## {area.capitalize()}", "", "| fault | caught by |", "| --- | --- |"]
        lines += [_line(fault.what, caught_by[fault.what]) for fault in every if fault.area == area]
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _line(what: str, caught_by: str) -> str:
    return f"| {_cell(what)} | `{_cell(caught_by)}` |"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def write_page(outcomes: Iterable[Outcome]) -> Path:
    """Write the page and return where it stands, below the root.

    Faults that are not among the outcomes keep the test that the page named before.

    Raises
    ------
    ValueError
        When a fault has neither.
    """
    kept = dict(_LINE.findall(PAGE.read_text(encoding="utf-8")))
    by = {fault.what: kept[_cell(fault.what)] for fault in faults() if _cell(fault.what) in kept}
    by |= {outcome.fault.what: outcome.caught_by for outcome in outcomes}
    missing = [fault.id for fault in faults() if fault.what not in by]
    if missing:
        raise ValueError(f"not planted yet: {', '.join(missing)}; plant them too")
    PAGE.write_text(page_of(faults(), by), encoding="utf-8")
    return PAGE.relative_to(ROOT)
