"""Laws of the search within the day: it passes over no zone that the day holds, and lists them all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.isolation import Cut
from netplan.network.work_section import work_section
from netplan.planning import rank as ranking
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.cuts_within_day import CutsWithinDay
from netplan.planning.day_hours import day_limits, least_counts_of, meters_of
from netplan.planning.day_relaxation import limits_of_day, relaxed_by_day, zones_within_day
from netplan.planning.rank import isolation_problem, rank
from netplan.planning.request import PlanRequest
from netplan.procedure.hours_by_counts import hours_by_counts
from tests.laws.test_hours import request_of

SEEDS = 9
RANKED = 5
MOST_CUTS = 250
SHORTER = (1.0, 0.85, 0.7)
"""Windows that leave all, some and few of the zones, as shares of that of the case."""


def _is_within(context: PlanningContext, cut: Cut) -> bool:
    """Return whether the day holds a cut by the counts that pricing takes, and no sum."""
    request, reach = context.request, reach_of(context, cut)
    meters = meters_of(context, np.flatnonzero(reach.isolated))
    return day_limits(request).holds(
        hours_by_counts(least_counts_of(context, cut, reach, meters), request.rules)
    )


def _names(cuts: list[Cut]) -> list[tuple[object, ...]]:
    return [
        (
            tuple((stop.piece, stop.work_side, stop.method, round(stop.chainage_m, 6)) for stop in cut.stops),
            cut.customers.tobytes(),
            cut.stops_minor,
            cut.interruption_minor,
            cut.gas_minor,
            tuple(stop.price_minor for stop in cut.stops),
        )
        for cut in cuts
    ]


def _shortened(seed: int, share: float) -> PlanRequest:
    request = request_of(seed, options=5)
    return replace(request, hours=request.window_hours * share)


@pytest.mark.parametrize("share", SHORTER)
def test_no_zone_that_the_day_holds_is_passed_over(share: float) -> None:
    held = passed = 0
    for seed in range(SEEDS):
        request = _shortened(seed, share)
        context = PlanningContext.for_request(request)
        problem = isolation_problem(context, work_section(request.network, request.parts))
        try:
            every = [cut for cut, _ in zip(context.cuts(problem), range(MOST_CUTS), strict=False)]
        except NoPlanError:
            continue
        if len(every) == MOST_CUTS:
            continue
        wanted = [cut for cut in every if _is_within(context, cut)]
        cuts = CutsWithinDay(context, problem)
        try:
            cuts.limit()
        except NoPlanError:
            assert wanted == [], f"seed {seed}"
            passed += len(every)
            continue
        found = list(iter(cuts.next_cut, None))
        assert not cuts.gave_up
        # The same zones with the same places and prices as without a limit.
        assert set(_names(wanted)) <= set(_names(found)) <= set(_names(every)), f"seed {seed}"
        held, passed = held + len(wanted), passed + len(every) - len(found)
    assert held > 30
    assert passed > 0 or share == 1.0


def test_the_bound_never_exceeds_a_zone_still_to_come() -> None:
    seen = 0
    for seed in range(SEEDS):
        request = _shortened(seed, 0.75)
        context = PlanningContext.for_request(request)
        problem = isolation_problem(context, work_section(request.network, request.parts))
        cuts = CutsWithinDay(context, problem)
        try:
            cuts.limit()
        except NoPlanError:
            continue
        bounds: list[int] = []
        own: list[int | None] = []
        while len(own) < MOST_CUTS and (cut := cuts.next_cut()) is not None:
            bounds.append(cuts.bound_minor)
            own.append(cut.bound_minor if _is_within(context, cut) else None)
        for at, bound in enumerate(bounds):
            later = [minor for minor in own[at:] if minor is not None]
            assert not later or bound <= min(later), f"seed {seed}"
            seen += len(later) > 0
    assert seen > 30


def test_all_zones_within_the_day_are_listed_or_none() -> None:
    listed = 0
    for seed in range(SEEDS):
        request = _shortened(seed, 0.75)
        context = PlanningContext.for_request(request)
        problem = isolation_problem(context, work_section(request.network, request.parts))
        limits = limits_of_day(context, problem)
        try:
            within = zones_within_day(context, problem, limits)
        except NoPlanError:
            continue
        if within is None:
            continue
        search = context.cuts(relaxed_by_day(context, problem, limits).problem)
        outlines: list[Any] = []
        try:
            while len(outlines) < MOST_CUTS:
                outlines.append(search.outline())
        except (StopIteration, NoPlanError):
            keys = {(one.supernodes, one.segments, one.methods) for one in outlines}
            assert within <= keys, f"seed {seed}"
            assert all(
                (one.supernodes, one.segments, one.methods) in within
                for one in outlines
                if all(limit.over_min(one.methods, one.customers) <= 0.0 for limit in limits)
            ), f"seed {seed}"
            listed += len(within)
    assert listed > 30


def test_a_shorter_day_takes_options_away_and_adds_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ranking within the day finds what ranking zone after zone finds, which the day alone refuses."""
    seen = 0
    for seed in range(RANKED):
        request = _shortened(seed, 0.8)
        section = work_section(request.network, request.parts)
        answers: list[Any] = []
        for is_limited in (True, False):
            with monkeypatch.context() as patched:
                if not is_limited:
                    patched.setattr(ranking, "CutsWithinDay", _Unlimited)
                try:
                    found = rank(PlanningContext.for_request(request), section, lambda _: None)
                except NoPlanError as error:
                    answers.append(("none", error.cut_short))
                    continue
            answers.append([(one.burden_minor, one.off.tolist()) for one in found.options])
        if answers[1] == ("none", True):
            continue  # without the limit the budget is spent first
        assert answers[0] == answers[1], f"seed {seed}"
        seen += isinstance(answers[0], list)
    assert seen >= 2


class _Unlimited(CutsWithinDay):
    def limit(self) -> None:
        """Go on as before."""
