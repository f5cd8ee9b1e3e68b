"""A limit on the meters of a zone leaves out the zones above it, and no other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from tests.support.plan_cases import HOURS, plan_case, plan_rules

Key = tuple[int, tuple[tuple[int, float, str], ...]]


def _key(cut: Cut) -> Key:
    stops = sorted((stop.pipe, round(stop.chainage_m, 6), stop.method) for stop in cut.stops)
    return cut.bound_minor, tuple(stops)


def test_a_limit_of_meters_leaves_out_what_is_above_it_alone() -> None:
    limited, left_out = 0, 0
    for seed in range(11):
        case, rules = plan_case(seed), plan_rules(seed)
        of = case.section
        parts = tuple(
            WorkPart(case.network.pipes.id[int(pipe)], float(low), float(high))
            for pipe, low, high in zip(of.pipe, of.from_m, of.to_m, strict=True)
        )
        context = PlanningContext.for_request(PlanRequest(case.network, parts, rules, hours=HOURS))
        problem = isolation_problem(context, work_section(case.network, parts))
        meters = np.maximum(case.network.customers.meters, 1)
        try:
            every = list(context.cuts(problem))
        except NoPlanError:
            continue
        held = [int(meters[cut.customers].sum()) for cut in every]
        for most in sorted({min(held), int(np.median(held)), max(held)}):
            try:
                found = list(context.cuts(replace(problem, most_meters=most)))
            except NoPlanError:
                found = []
            # Cuts that look alike are told apart by what comes first, so that the best of each is compared.
            wanted = [_key(cut) for cut, of_cut in zip(every, held, strict=True) if of_cut <= most]
            assert [_key(cut) for cut in found] == wanted, f"seed {seed}, at most {most}"
            limited += 1
            left_out += len(every) - len(wanted)
    assert limited >= 20
    assert left_out >= 100
