"""Whole outputs of fixed questions are those on record: no figure moves unnoticed.

A change that is meant to move one runs ``python -m tests.golden pin`` and says which moved and why.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.golden.cases import PINNED, PINNED_FOLDER, Case, run_case
from tests.golden.contents import contents, differences


@pytest.mark.parametrize("case", PINNED, ids=lambda case: case.name)
def test_the_answer_is_the_one_on_record(case: Case, tmp_path: Path) -> None:
    found = json.loads(json.dumps(contents(run_case(case, tmp_path, tmp_path))))
    recorded = json.loads((PINNED_FOLDER / f"{case.name}.json").read_text(encoding="utf-8"))
    assert list(differences(recorded, found)) == []


def test_a_figure_that_moved_is_found() -> None:
    recorded = json.loads((PINNED_FOLDER / "sample-plan.json").read_text(encoding="utf-8"))
    other = json.loads(json.dumps(recorded))
    other["plan.json"]["options"][0]["burden"] += 0.01
    other["plan.gpkg"]["stops"]["chainage_m"] = "0" * 16
    assert [place for place, _, _ in differences(recorded, other)] == [
        "plan.gpkg.stops.chainage_m",
        "plan.json.options[0].burden",
    ]
