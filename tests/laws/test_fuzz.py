"""Damaged data brings one line and an exit code, never more; 20,000 more by `python -m tests.fuzz.mutants`."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.fuzz.trial import LIMIT_S, try_seed
from tests.support.case_counts import cases

FIRST, COUNT = 1_000_000, cases(90)
FAULTY = (3182, 3444, 5040, 5067, 5269, 5719, 9377, 9654, 10544, 10567, 10912)
"""Mutants that once brought a fault."""


@pytest.mark.slow
def test_many_mutants_in_one_process(tmp_path: Path) -> None:
    place = tmp_path / "mutant"
    place.mkdir()
    outcomes = [try_seed(seed, place) for seed in range(FIRST, FIRST + COUNT)]
    faults = [f"{o.seed} {o.how} {o.damage}: {o.fault}" for o in outcomes if o.fault]
    assert not faults, "\n".join(faults)
    assert all("\n" not in o.says and o.says for o in outcomes if o.code), "a refusal without its one line"
    assert max(o.seconds for o in outcomes) < LIMIT_S
    # The damage must neither be harmless nor fatal throughout, or nothing is looked at.
    codes = Counter(o.code for o in outcomes)
    assert min(codes[0], codes[2]) >= COUNT // 5, codes
    assert set(codes) <= {0, 2, 3}
    assert list(place.iterdir()) == []


@pytest.mark.parametrize("seed", FAULTY)
def test_what_once_brought_a_fault(seed: int, tmp_path: Path) -> None:
    outcome = try_seed(seed, tmp_path)
    assert not outcome.fault, outcome.fault


def test_a_mutant_is_the_same_each_time(tmp_path: Path) -> None:
    first, again = (try_seed(FIRST + 1, tmp_path) for _ in range(2))
    assert (first.damage, first.code, first.says) == (again.damage, again.code, again.says)
