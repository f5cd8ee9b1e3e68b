"""Planted faults: every anchor stands where it should, every part of the program has some, a few are planted.

All of them are planted by ``python -m tests.planted``.
"""

from __future__ import annotations

import ast
import random
import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from tests.planted.faults import ROOT, Fault, PlantError, faults, package_texts, plant
from tests.planted.page import PAGE
from tests.planted.run import tree_copies

PLANTED_HERE = 2
"""How many are planted here, of those known to be quick."""
QUICK = (
    "diversity-figure",
    "forecast-margin-sign",
    "gas-day-shift",
    "inch-of-water",
    "lower-flammable-limit",
    "unit-in-text-ignored",
    "wall-of-a-size",
    "wall-rounded-down",
    "zero-celsius",
)
AREA_OF = {
    "reference": "core",
    "library": "cli",
    "graph": "isolation",
    "planfile": "planning",
    "procedure": "planning",
    "explain": "outputs",
}
"""Packages whose faults stand in the table of another one."""


@cache
def _texts() -> dict[Path, str]:
    return package_texts()


@pytest.mark.parametrize("fault", faults(), ids=lambda fault: fault.id)
def test_its_anchor_stands_once_and_its_tests_are_there(fault: Fault) -> None:
    planted = plant(fault, _texts())
    if planted.path.suffix == ".py":
        before, after = (ast.dump(ast.parse(text)) for text in (planted.before, planted.after))
        assert before != after, "a comment alone would change"
    assert fault.tests
    for test in fault.tests:
        file, *names = re.sub(r"\[.*\]$", "", test).split("::")
        text = (ROOT / file).read_text(encoding="utf-8")
        for name in names:
            assert re.search(rf"^\s*(?:def|class) {name}\b", text, re.MULTILINE), test


def test_there_are_enough_and_each_has_a_name_of_its_own() -> None:
    assert len(faults()) >= 60
    assert max(Counter(fault.id for fault in faults()).values()) == 1


def test_every_part_of_the_program_has_some() -> None:
    parts = {path.name for path in (ROOT / "netplan").iterdir() if (path / "__init__.py").exists()}
    parts = {AREA_OF.get(part, part) for part in parts}
    counts = Counter(fault.area for fault in faults())
    assert len(parts) >= 15
    assert {part for part in parts if counts[part] < 3} == set()


def test_an_anchor_that_moved_is_found_and_one_that_is_gone_is_named() -> None:
    fault = faults()[0]
    moved = {
        Path("netplan/elsewhere.py"): "def f():\n    x = 1\n    " + "\n        ".join(fault.anchor.split())
    }
    assert plant(fault, moved).path == Path("netplan/elsewhere.py")
    with pytest.raises(PlantError, match=f"fault {fault.id}: its anchor stands 0 times"):
        plant(fault, {Path("netplan/elsewhere.py"): "x = 1"})
    twice = {Path("netplan/one.py"): fault.anchor, Path("netplan/other.py"): fault.anchor}
    with pytest.raises(PlantError, match="stands 2 times"):
        plant(fault, twice)


def test_the_page_lists_every_fault() -> None:
    page = PAGE.read_text(encoding="utf-8")
    missing = [fault.id for fault in faults() if fault.what.replace("|", "\\|") not in page]
    assert missing == [], "run `python -m tests.planted --write`"


def test_a_few_are_caught_and_leave_no_trace() -> None:
    known = {fault.id: fault for fault in faults()}
    chosen = random.Random(16).sample(QUICK, PLANTED_HERE)  # noqa: S311 - which ones does not matter
    with tree_copies(1) as (copy,):
        for name in chosen:
            outcome = copy.judge(known[name])
            assert outcome.caught_by, f"{name}: {outcome.remark}"
        assert package_texts(copy.root) == _texts()
