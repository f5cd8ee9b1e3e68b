"""Where a proof says that no zone gives a plan, exhaustive pricing of every zone finds none.

The suite takes 48 random networks without feeds, and as many with hoses too thin for many a customer who must
stay on; ``GAS_NETPLAN_PLAN_SEEDS=600 python -m pytest tests/laws/test_infeasibility.py`` takes as many as it
says.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import Orders
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.infeasibility import reach_of_core, require_possible
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import Case
from tests.support.plan_cases import HOURS, plan_case, plan_rules
from tests.support.plan_oracle import PlanOracle

SEEDS = int(os.environ.get("GAS_NETPLAN_PLAN_SEEDS", "48"))


BORES_MM = ((5.0, 8.0), (8.0, 10.0), (25.0, 63.0))


def _context(case: Case, rules: Rules, *, feeds: bool = False, kept: tuple[int, ...] = ()) -> PlanningContext:
    of = case.section
    parts = tuple(
        WorkPart(case.network.pipes.id[int(pipe)], float(low), float(high))
        for pipe, low, high in zip(of.pipe, of.from_m, of.to_m, strict=True)
    )
    orders = Orders(keep_customers=kept)
    request = PlanRequest(case.network, parts, rules, hours=HOURS, orders=orders, feeds_allowed=feeds)
    return PlanningContext.for_request(request)


def _proof(context: PlanningContext, case: Case) -> str:
    """Return the reason of the proof that there is no plan; empty without one."""
    section = work_section(case.network, context.request.parts)
    try:
        require_possible(context, isolation_problem(context, section))
    except NoPlanError as error:
        return error.reasons[0]
    return ""


def test_what_is_proven_to_have_no_plan_has_none() -> None:
    seen: Counter[str] = Counter()
    for seed in range(SEEDS):
        case, rules = plan_case(seed), plan_rules(seed)
        context = _context(case, rules)
        reason = _proof(context, case)
        oracle = PlanOracle(case, rules, feeds=False)
        if not oracle.solved_before:
            continue
        found = oracle.options(1)
        if reason:
            assert not found, f"seed {seed}: {reason}"
            seen["who must stay on" if "must stay on" in reason else "the crew's day"] += 1
        seen["no plan"] += not found
        seen["a plan"] += bool(found)
    # Enough of each, and not everything: the proofs tell them apart.
    assert seen["who must stay on"] >= SEEDS // 60, seen
    assert seen["the crew's day"] >= SEEDS // 30, seen
    assert seen["a plan"] >= SEEDS // 10, seen


def test_what_no_feed_can_serve_has_no_plan() -> None:
    """Of the customers whom every zone strands one is ordered to stay on, with hoses of different bores."""
    seen: Counter[str] = Counter()
    for seed in range(SEEDS):
        case, rules = plan_case(seed), plan_rules(seed)
        bypass = rules.bypass.model_copy(update={"bores_mm": BORES_MM[seed % len(BORES_MM)]})
        rules = rules.model_copy(update={"bypass": bypass})
        context = _context(case, rules, feeds=True)
        section = work_section(case.network, context.request.parts)
        stranded = np.flatnonzero(reach_of_core(context, isolation_problem(context, section)).stranded)
        drawn = context.demand.flow_m3_per_s_std()[stranded]
        # The one who draws most is the hardest to feed.
        kept = (int(stranded[np.argmax(drawn)]),) if len(stranded) else ()
        context = _context(case, rules, feeds=True, kept=kept)
        reason = _proof(context, case)
        if reason:
            oracle = PlanOracle(case, rules)
            oracle.must_stay |= set(kept)
            if not oracle.solved_before:
                continue
            assert not oracle.options(1), f"seed {seed}: {reason}"
        seen["who must stay on" if "must stay on" in reason else "the crew's day" if reason else "none"] += 1
        seen["stranded, no proof"] += bool(kept) and not reason
    # Enough of each: the proof tells who can be fed from who cannot.
    assert seen["who must stay on"] >= SEEDS // 24, seen
    assert seen["the crew's day"] >= SEEDS // 36, seen
    assert seen["stranded, no proof"] >= SEEDS // 12, seen


@pytest.mark.parametrize("seed", range(12))
def test_every_zone_takes_what_the_core_takes(seed: int) -> None:
    case, rules = plan_case(seed), plan_rules(seed)
    context = _context(case, rules)
    section = work_section(case.network, context.request.parts)
    core = reach_of_core(context, isolation_problem(context, section))
    off = set(np.flatnonzero(core.isolated | core.stranded).tolist())
    oracle = PlanOracle(case, rules, feeds=False)
    tried = 0
    for zone in oracle.zones():
        border = [n for n, link in enumerate(oracle.links) if (link.a in zone) != (link.b in zone)]
        links = [oracle.links[n] for n in border]
        ends = [link.a if link.a in zone else link.b for link in links]
        choices = [link.stops[end] for link, end in zip(links, ends, strict=True)]
        if not all(choices):
            continue
        methods = [some[0] for some in choices]
        stops = oracle._stops(zone, border, methods)
        label = oracle._labels(
            sorted(
                {stop.piece for stop in stops}
                | set(np.flatnonzero(~case.network.pieces.is_open).tolist())
                | {
                    row
                    for row in range(len(case.network.pieces))
                    for nodes in [
                        {int(case.network.pieces.from_node[row]), int(case.network.pieces.to_node[row])}
                    ]
                    if any(oracle._end(node) in zone for node in nodes)
                }
            )
        )
        live = {label[int(node)] for node in case.network.stations.node if node >= 0}
        gone = {
            row
            for row, nodes in enumerate(oracle.at)
            if any(
                oracle._end(node) in zone or (node in oracle.fed_before and label[node] not in live)
                for node in nodes
            )
        }
        assert off <= gone, f"seed {seed}"
        tried += 1
    assert tried
