"""Laws of hours: what the choice counts on is what the timeline of the steps shows, and no bound exceeds it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.core.errors import NoPlanError, NotSolvedError
from netplan.network.work_section import WorkPart, work_section
from netplan.planfile import model
from netplan.planning import make_plan as module
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import day_limits, least_counts_of, least_counts_with, meters_of
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.least_minutes import least_minutes_of_day
from netplan.planning.option_records.option_record import option_of
from netplan.planning.rank import isolation_problem, rank
from netplan.planning.request import PlanRequest
from netplan.procedure.hours_by_counts import (
    BranchMinutes,
    OrderCounts,
    StopMinutes,
    ZoneCounts,
    hours_by_counts,
)
from netplan.rules import Rules, default_rules
from tests.support.plan_cases import HOURS, plan_case, plan_rules
from tests.support.plan_comparison import has_feeds

WITH_FEEDS = (26, 32, 50)
"""Seeds of networks whose plans have feeds."""
SEEDS = 8
SAME_SUM_MIN = 1e-6
"""What minutes added up in another order may differ by."""
SAME_MIN = 0.05
"""Half the last digit of the minutes of a timeline."""


def request_of(seed: int, **more: Any) -> PlanRequest:
    """Return the request of a random network."""
    case = plan_case(seed)
    of = case.section
    parts = tuple(
        WorkPart(case.network.pipes.id[int(pipe)], float(low), float(high))
        for pipe, low, high in zip(of.pipe, of.from_m, of.to_m, strict=True)
    )
    return PlanRequest(
        case.network,
        parts,
        plan_rules(seed),
        hours=HOURS,
        feeds_allowed=has_feeds(seed),
        weather=False,
        **more,
    )


def planned(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[model.Option, EvaluatedOption, Rules]]:
    """Yield the options of a random network as they stand in its plan, with what the choice knows of each."""
    priced: list[EvaluatedOption] = []

    def noted(context: Any, section: Any, ranking: Any, place: int, *more: Any, papers: bool) -> Any:
        priced.append(ranking.options[place])
        return option_of(context, section, ranking, place, *more, papers=papers)

    monkeypatch.setattr("netplan.planning.written_option.option_of", noted)
    request = request_of(seed, options=3)
    try:
        plan = module.make_plan(request).plan
    except (NoPlanError, NotSolvedError):
        return
    by_burden = {one.burden_minor: one for one in priced}
    for option in plan.options:
        yield option, by_burden[round(100 * option.burden)], request.rules


def test_the_timeline_is_what_the_choice_counted_on(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = {"options": 0, "with feeds": 0, "with meters": 0, "several branches": 0}
    for seed in (*range(SEEDS), *WITH_FEEDS):
        for option, priced, rules in planned(seed, monkeypatch):
            hours, line = hours_by_counts(priced.counts, rules), option.timeline
            assert line is not None
            assert line.gas_back_min == pytest.approx(hours.gas_back_min, abs=SAME_MIN), f"seed {seed}"
            assert line.path_min == pytest.approx(hours.last_min, abs=SAME_MIN), f"seed {seed}"
            assert (line.relit_min is None) == (hours.relit_min is None)
            assert (line.off_from_min or 0.0) == pytest.approx(hours.off_from_min or 0.0, abs=SAME_MIN)
            assert line.gas_back_min <= line.window_min + SAME_MIN
            assert rules.duration.overrun * line.path_min <= line.day_end_min + SAME_MIN
            _check_bars(line, option.steps, rules)
            seen["options"] += 1
            seen["with feeds"] += bool(priced.counts.hoses + priced.counts.valves)
            seen["with meters"] += bool(priced.counts.meters)
            seen["several branches"] += any(len(zone.branches) > 1 for zone in priced.counts.zones)
    assert all(seen.values()), seen


def _check_bars(line: model.Timeline, steps: tuple[model.Step, ...], rules: Rules) -> None:
    """Check that every step has a bar, critical ones join up without a gap, and no crew is at two places."""
    assert [bar.n for bar in line.bars] == [step.n for step in steps]
    critical = sorted((bar.start_min, bar.end_min) for bar in line.bars if bar.critical)
    assert critical[0][0] == 0.0
    reached = 0.0
    for start, end in critical:
        assert start <= reached + SAME_MIN
        reached = max(reached, end)
    assert reached == pytest.approx(line.path_min, abs=SAME_MIN)
    count = {"stop crew": rules.crew.stop_crews, "bypass crew": rules.crew.bypass_crews}
    for day in ("before", "day", "after"):
        for crew in {bar.crew for bar in line.bars} - {"pressure watch"}:
            own = [b for b in line.bars if (b.day, b.crew) == (day, crew) and b.end_min > b.start_min]
            for at in {bar.start_min for bar in own}:
                busy = sum(b.start_min <= at < b.end_min - SAME_MIN for b in own)
                assert busy <= count.get(crew, 1), f"{busy} {crew} at {at} min, {day}"
    if line.latest_cut_min is not None:
        cut = next(bar for bar, step in zip(line.bars, steps, strict=True) if step.stage == "work")
        # By hand: what remains after the cut, the overrun counted, ends with the crew's day.
        remaining = rules.duration.overrun * (line.path_min - cut.start_min)
        assert line.latest_cut_min + remaining == pytest.approx(line.day_end_min, abs=0.2)
        assert line.latest_cut_min >= cut.start_min - SAME_MIN


def test_no_bound_exceeds_the_hours_of_an_option() -> None:
    seen = 0
    for seed in range(2 * SEEDS):
        request = request_of(seed, options=5)
        context = PlanningContext.for_request(request)
        try:
            context.before.require_solved()
            ranking = rank(context, work_section(request.network, request.parts), lambda _: None)
        except (NoPlanError, NotSolvedError):
            continue
        for option in ranking.options:
            exact = hours_by_counts(option.counts, request.rules)
            meters = meters_of(context, np.flatnonzero(option.reach.isolated))
            for counts in (
                least_counts_of(context, option.cut, option.reach, meters),
                least_counts_with(context, option.cut, option.reach, option.off, option.feeds),
            ):
                least = hours_by_counts(counts, request.rules)
                assert least.gas_back_min <= exact.gas_back_min + 1e-9, f"seed {seed}"
                assert least.last_min <= exact.last_min + 1e-9, f"seed {seed}"
            for relit, branches in product((False, True), repeat=2):
                bound = _least_as_a_sum(context, option, relit=relit, branches=branches)
                taken = exact.last_min if relit else exact.gas_back_min
                assert bound <= taken + SAME_SUM_MIN, f"seed {seed}"
            assert day_limits(request).holds(exact)
            seen += 1
    assert seen > SEEDS


def _least_as_a_sum(
    context: PlanningContext, option: EvaluatedOption, *, relit: bool, branches: bool
) -> float:
    """Return what the proof for every zone takes this one to need at least [min]."""
    request = context.request
    problem = isolation_problem(context, work_section(request.network, request.parts))
    least = least_minutes_of_day(context, problem, relit=relit, branches=branches)
    stops = sum(least.of_method[stop.method] for stop in option.cut.stops)
    return least.alone_min + stops + float(least.of_customer[np.flatnonzero(option.reach.isolated)].sum())


BRANCH = st.builds(
    BranchMinutes,
    out=st.floats(0.0, 30.0),
    into=st.floats(0.0, 30.0),
    has_nitrogen=st.booleans(),
)
STOP = st.builds(
    StopMinutes, minutes=st.sampled_from((10.0, 25.0)), barriers=st.integers(1, 2), has_inlet=st.booleans()
)
ZONE = st.builds(
    ZoneCounts,
    volume_m3=st.floats(0.0, 20.0),
    services=st.integers(0, 30),
    branches=st.lists(BRANCH, max_size=4).map(tuple),
)
COUNTS = st.builds(
    OrderCounts,
    stops=st.lists(STOP, min_size=1, max_size=5).map(tuple),
    zones=st.lists(ZONE, min_size=1, max_size=2).map(tuple),
    hoses=st.integers(0, 3),
    valves=st.integers(0, 2),
    meters=st.integers(0, 60),
    has_stranded=st.booleans(),
)


@settings(max_examples=150, deadline=None)
@given(COUNTS, STOP, BRANCH, st.integers(1, 3), st.integers(1, 3))
def test_more_of_anything_takes_no_less_time(
    counts: OrderCounts, stop: StopMinutes, branch: BranchMinutes, stop_crews: int, bypass_crews: int
) -> None:
    rules = default_rules()
    crew = rules.crew.model_copy(update={"stop_crews": stop_crews, "bypass_crews": bypass_crews})
    rules = rules.model_copy(update={"crew": crew})
    zone = counts.zones[0]
    before = hours_by_counts(counts, rules)
    for more in (
        replace(counts, stops=(*counts.stops, stop)),
        replace(counts, stops=(stop, *counts.stops)),
        replace(counts, hoses=counts.hoses + 1),
        replace(counts, valves=counts.valves + 1),
        replace(counts, meters=counts.meters + 1),
        replace(counts, zones=(replace(zone, services=zone.services + 1), *counts.zones[1:])),
        replace(counts, zones=(*counts.zones, ZoneCounts(branches=(branch,)))),
    ):
        after = hours_by_counts(more, rules)
        assert after.gas_back_min >= before.gas_back_min - 1e-9
        assert after.last_min >= before.last_min - 1e-9


@given(st.integers(0, 12))
def test_side_by_side_takes_the_longer_of_feeds_and_proofs(hoses: int) -> None:
    rules = default_rules()
    take = rules.duration
    stops = (StopMinutes(25.0, 2), StopMinutes(25.0, 2))
    alone = hours_by_counts(OrderCounts(stops, (ZoneCounts(),)), rules).gas_back_min
    with_hoses = hours_by_counts(OrderCounts(stops, (ZoneCounts(),), hoses=hoses), rules).gas_back_min
    proofs = take.prove * len(stops) / rules.crew.stop_crews
    feeds = hoses * (take.bypass_purge + take.bypass_open)
    assert with_hoses - alone == pytest.approx(max(feeds - proofs, 0.0))


def test_a_day_of_two_bags_and_six_doors_by_hand() -> None:
    rules = default_rules()
    # Briefing 10, baseline 10, both sets of bags proved at once 15, 6 doors by 5 fitters 10, tally 5.
    # Bags 2 × 25; settled 5 and T0 5, vented 2, T3 5; spaces and hoses 2 × 3 × 2, T1 and T2 2 × 2 × 5.
    # Purged out 5 + 1, gas-free 15, cut 60, joints 30, tested 5, let off 2, tally 5.
    # Purged in 5 + 2, raised 5, tested 5; each stop 3 × 2 and 2 × 6; through-flow 10.
    minutes = [10, 10, 15, 10, 5, 50, 10, 2, 5, 12, 20, 6, 15, 60, 30, 5, 2, 5, 7, 5, 5, 36, 10]
    counts = OrderCounts(
        (StopMinutes(25.0, 2), StopMinutes(25.0, 2)),
        (ZoneCounts(branches=(BranchMinutes(1.0, 2.0),)),),
        meters=6,
    )
    hours = hours_by_counts(counts, rules)
    assert hours.gas_back_min == sum(minutes)
    assert hours.off_from_min == 35.0
    assert hours.cut_min == sum(minutes[:13])
    assert hours.last_min == sum(minutes) + 6 * 5
    starts = [sum(minutes[:k]) for k in range(len(minutes))]
    assert all(a < b for a, b in pairwise(starts))
