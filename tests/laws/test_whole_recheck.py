"""Issued plans of random towns on changed records: the recheck beside answers that share no code with it.

A seeded share runs by default; a hundred changed networks with ``python -m tests.whole_recheck 0:230``.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from tests.whole_recheck.runs import run_seed

UNCHANGED, CHANGED = 11, (5, 14)
"""Seeds of quick towns: one of them changes nothing, one holds after changes, one does not."""


def test_the_recheck_of_a_random_town_agrees_with_a_walk_and_with_a_plan_made_anew(tmp_path: Path) -> None:
    holds: Counter[str] = Counter()
    for seed in (UNCHANGED, *CHANGED):
        (tmp_path / str(seed)).mkdir()
        run = run_seed(seed, tmp_path / str(seed))
        assert not run.found, f"seed {seed}: {run.found}; changes {run.changes}"
        holds += run.holds
    assert holds["solved"] == holds["people compared"] == 2
    assert (holds["unchanged"], holds["holds"], holds["does not hold"]) == (1, 2, 1)
