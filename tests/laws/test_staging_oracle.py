"""Stages of small renewals beside an exhaustive search over splits and ways, and each stage beside a plan of its own.

The exhaustive search finds the fewest meters off of every length, and goes through every split and every choice of
options; it shares nothing with the split but the plans. ``NETPLAN_RENEWALS=50 pytest
tests/laws/test_staging_oracle.py`` takes fifty renewals.
"""

from __future__ import annotations

import itertools
import os
from collections import Counter
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from netplan.core.errors import NoPlanError
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option, Stop
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.staging import renewal_of_street, stage_renewal
from netplan.staging.stage_borders import borders_of
from tests.support.renewal_cases import STREET, RenewalCase, renewal_case

SEEDS = range(int(os.environ["NETPLAN_RENEWALS"])) if "NETPLAN_RENEWALS" in os.environ else (2,)
SAME = 1e-6


def _request(case: RenewalCase) -> PlanRequest:
    return PlanRequest(
        case.network,
        (),
        case.rules,
        hours=case.hours,
        air_temp_c=4.0,
        own_supply=case.own_supply,
        weather=False,
    )


def _off(option: Option) -> int:
    return sum(one.meters for one in option.customers if one.effect == "off")


class _Exhaustive:
    """Every length of a renewal, planned as anybody would."""

    def __init__(self, case: RenewalCase) -> None:
        self.case = case
        self.renewal = renewal_of_street(case.network, STREET)
        self.borders = borders_of(case.network, self.renewal, case.rules.staging.step_m)
        self.meters = int(case.network.customers.meters.sum())
        self.plan = cache(self._plan)
        self.fewest = cache(self._fewest)

    def parts(self, low: float, high: float) -> tuple[WorkPart, ...]:
        """Cut the length out of the mains, which lie along the x axis in either direction."""
        found, start = [], 0.0
        for leg in self.renewal.legs:
            a, b = max(low - start, 0.0), min(high - start, leg.length_m)
            if b > a:
                a, b = (a, b) if leg.forward else (leg.length_m - b, leg.length_m - a)
                found.append(WorkPart(self.case.network.pipes.id[leg.pipe], a, b))
            start += leg.length_m
        return tuple(found)

    def _plan(self, i: int, j: int, most: int) -> tuple[Option, ...]:
        request = _request(self.case)
        asked = replace(
            request,
            parts=self.parts(self.borders[i], self.borders[j]),
            orders=replace(request.orders, max_meters_off=most),
            options=self.case.rules.staging.ways,
        )
        try:
            return make_plan(asked).plan.options
        except NoPlanError:
            return ()

    def _fewest(self, i: int, j: int) -> int | None:
        """Return the fewest meters with which there is a plan, found by halving: more allowed forbids nothing."""
        found = self.plan(i, j, self.meters)
        if not found:
            return None
        low, high = 0, min(map(_off, found))
        while low < high:
            middle = (low + high) // 2
            found = self.plan(i, j, middle)
            low, high = (low, min(map(_off, found))) if found else (middle + 1, high)
        return high

    def splits(self) -> list[list[tuple[int, int]]]:
        staging, last = self.case.rules.staging, len(self.borders) - 1
        found = []
        for size in range(last):
            for inner in itertools.combinations(range(1, last), size):
                chain = list(itertools.pairwise((0, *inner, last)))
                lengths = [self.borders[j] - self.borders[i] for i, j in chain]
                if max(lengths) <= staging.longest_m + 0.01 and min(lengths) >= staging.shortest_m - 0.01:
                    found.append(chain)
        return found

    def saved(self, left: Option, right: Option) -> float:
        """Return what neighbours share: every pairing of stops tried in turn, and hoses of one bore."""
        rules = self.case.rules
        x0 = float(self.case.network.nodes.x_m.min()) + 60.0
        pairs = [
            (a.id, b.id, min(a.price, b.price))
            for a in left.stops
            for b in right.stops
            if self._is_one_place(a, b, x0)
        ]
        best = 0.0
        for size in range(len(pairs) + 1):
            for some in itertools.combinations(pairs, size):
                if len({p[0] for p in some}) == len({p[1] for p in some}) == size:
                    best = max(best, sum(p[2] for p in some))
        there: Counter[float] = Counter()
        wanted: Counter[float] = Counter()
        for one in left.bypasses:
            there[one.bore_mm] += one.parallel
        for one in right.bypasses:
            wanted[one.bore_mm] += one.parallel
        moved = sum((there & wanted).values())
        return best + moved * max(rules.price.bypass - rules.staging.bypass_move, 0.0)

    def _is_one_place(self, a: Stop, b: Stop, x0: float) -> bool:
        if a.valve_id or b.valve_id:
            return a.valve_id == b.valve_id
        if a.method != b.method:
            return False
        apart = ((a.x - b.x) ** 2 + (a.y - b.y) ** 2) ** 0.5
        y0 = 5_400_000.0
        if apart > self.case.rules.staging.share_m:
            return False
        if abs(a.y - y0) > SAME or abs(b.y - y0) > SAME:
            # On side streets: the same one, away from the tee.
            return a.main_id == b.main_id
        low, high = sorted((a.x - x0, b.x - x0))
        return not any(low < x < high for x in self.case.junctions_m[1:-1])

    def best(self) -> tuple[int, float] | None:
        """Return the fewest meters off in the worst stage, and the lowest burden with so many."""
        splits = [s for s in self.splits() if all(self.fewest(*pair) is not None for pair in s)]
        if not splits:
            return None
        most = min(max(self.fewest(*pair) or 0 for pair in split) for split in splits)
        burdens = []
        for split in splits:
            if all((self.fewest(*pair) or 0) <= most for pair in split):
                ways = [self.plan(*pair, most) for pair in split]
                for chosen in itertools.product(*ways):
                    saved = sum(self.saved(a, b) for a, b in itertools.pairwise(chosen))
                    burdens.append(sum(one.burden for one in chosen) - saved)
        return most, min(burdens)


@pytest.mark.parametrize("seed", SEEDS)
def test_stages_are_the_best_of_every_split_and_way(seed: int) -> None:
    case = renewal_case(seed)
    every = _Exhaustive(case)
    best = every.best()
    if best is None:
        with pytest.raises(NoPlanError):
            stage_renewal(_request(case), every.renewal)
        return
    found = stage_renewal(_request(case), every.renewal)
    assert found.is_every_length
    assert found.most_off == best[0]
    assert found.burden_minor / 100 == pytest.approx(best[1], abs=0.02)
    assert found.least_most_off == best[0]
    assert found.bound_minor <= found.alone_minor + 1
    assert found.stages[0].from_m == 0.0
    assert found.stages[-1].to_m == pytest.approx(found.renewal.length_m, abs=1e-3)
    assert all(a.to_m == b.from_m for a, b in itertools.pairwise(found.stages))
    for stage in found.stages:
        _confirmed_by_a_plan(case, every, stage, found.most_off)


def _confirmed_by_a_plan(case: RenewalCase, every: _Exhaustive, stage: Any, most: int) -> None:
    """Check that planning the work of a stage alone gives its option."""
    request = _request(case)
    asked = replace(
        request,
        parts=every.parts(stage.from_m, stage.to_m),
        orders=replace(request.orders, max_meters_off=most),
        options=max(request.wanted, case.rules.staging.ways),
    )
    alone = make_plan(asked).plan.options[stage.rank - 1]
    notes = len(stage.sharing.stops) + len(stage.sharing.hoses) + len(stage.in_new_pipe)
    told = stage.option.model_copy(
        update={"warnings": stage.option.warnings[: len(stage.option.warnings) - notes]}
    )
    assert told == alone
