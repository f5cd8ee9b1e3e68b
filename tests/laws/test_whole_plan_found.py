"""Towns of whole plans that once went wrong, planned and checked again in whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.whole_plan.runs import run_seed

FOUND = {
    217: "a station set to the highest pressure: no gauge near it was fine enough for a high abort",
    274: "a hose that keeps a customer for the draw of the purge alone",
}


@pytest.mark.parametrize("seed", FOUND)
def test_a_town_that_went_wrong_is_planned(seed: int, tmp_path: Path) -> None:
    run = run_seed(seed, tmp_path, papers=False)
    assert [f"{name}: {deviation}" for name, deviation in run.found] == []
    assert run.answers == {"feeds": "plan", "no feeds": "plan"}, run.why
    assert run.holds["option"] == 6
