"""Laws of the states while a ring closes: what is said holds by other means, and nobody weak is missed."""

from __future__ import annotations

import os
from datetime import datetime
from functools import cache

import numpy as np
import pytest

from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_on_main
from netplan.emergency.next_rings import EmergencyRequest
from netplan.emergency.solved_rings import solved_answer
from netplan.planfile.emergency_answer import EmergencyAnswer
from netplan.rules import read_rules
from tests.support.ring_states import REQUIRED_MBAR, RingStates
from tests.support.ring_towns import ring_town

AT = datetime(2027, 1, 12, 8)
SEEDS = range(int(os.environ.get("EMERGENCY_TOWNS", "6")))
"""More of them: ``EMERGENCY_TOWNS=90 pytest tests/laws/test_emergency_states.py``."""
NEAR_MBAR = 0.02


@cache
def _answered(seed: int) -> tuple[EmergencyTables, EmergencyAnswer, EmergencyAnswer, tuple[str, float]]:
    rng = np.random.default_rng(1000 + seed)
    tables = EmergencyTables(ring_town(seed), read_rules(None))
    pipes = tables.network.pipes
    row = int(rng.integers(pipes.n_mains))
    place = pipes.id[row], float(rng.uniform(0.2, 0.8)) * float(pipes.length_m[row])
    hits = hits_on_main(tables.network, *place)
    request = EmergencyRequest("place", 1, 10.0)
    first = first_answer(tables, hits, request)
    return tables, first, solved_answer(tables, hits, request, first, at=AT), place


@pytest.mark.parametrize("seed", SEEDS)
def test_each_state_is_that_of_another_solver_and_nobody_weak_is_missed(seed: int) -> None:
    tables, first, answer, place = _answered(seed)
    assert answer.solved is not None
    assert {one.kind for one in answer.solved} == {"valves", "fastest"}
    for solved in answer.solved:
        ring = next(r for r in first.rings if r.kind == solved.kind and r.aim == "least minutes")
        other = RingStates(tables.network, tables.rules, ring, place, AT)
        before = other.solve(0, is_open=False)
        assert before.is_solved
        weak: set[str] = set()
        unsolved: list[str] = []
        outside = before.fed - {*ring.customers_off}
        for number, state in enumerate(solved.states):
            is_last = number == len(solved.states) - 1
            own = other.solve(
                len(state.shut),
                is_open=not is_last,
                gone=ring.customers_off if is_last else (),
                stations_shut=ring.stations_to_shut if is_last else (),
            )
            assert own.is_solved, state
            missing = own.fell_low(before, outside)
            weak |= missing
            assert state.escape_m3h is None or not is_last
            if f"{state.name}: " in solved.not_solved:
                unsolved.append(state.name)
                assert state.below_minimum >= len(missing)
                continue
            assert state.below_minimum == sum(not own.mbar[name] >= REQUIRED_MBAR for name in outside)
            with_gas = [own.mbar[name] for name in outside if own.mbar[name] == own.mbar[name]]
            if with_gas:
                assert state.least_mbar == pytest.approx(min(with_gas), abs=NEAR_MBAR)
            else:
                assert state.least_mbar is None
            if not is_last:
                assert state.escape_m3h == pytest.approx(own.escaping_m3h, rel=0.01, abs=0.1)
        said = {one.customer_id for one in solved.weak}
        assert said >= weak if unsolved else said == weak
        weak = said
        after = next(r for r in answer.rings if r.kind == solved.kind and r.aim == "least minutes")
        assert set(after.customers_off) == {*ring.customers_off, *weak}
        assert after.meters == ring.meters + solved.meters_weak
        named = {c.id for c in answer.customers if c.off_by.get(solved.kind) == "weak while it closes"}
        assert named == weak


def test_the_towns_hold_what_the_law_is_about() -> None:
    answers = [_answered(seed)[2] for seed in SEEDS]
    solved = [one for answer in answers for one in answer.solved or ()]
    assert sum(bool(one.weak) for one in solved) >= 4
    assert any(state.stations_full_flow for one in solved for state in one.states)
    assert any(one.may_be_fed for one in solved)
    assert any(len(one.states) > 3 for one in solved)
    assert any(weak.state != one.states[0].name for one in solved for weak in one.weak)
