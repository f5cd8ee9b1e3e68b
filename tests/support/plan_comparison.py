"""The planner against the exhaustive plan oracle on random networks, and what their plans hold.

``python -m tests.support.plan_comparison 0 300`` compares the networks of 300 seeds and prints, of each kind of
case, how many of them have it in a listed option.
"""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from time import perf_counter

from netplan.core.errors import NoPlanError, NotSolvedError
from netplan.isolation import Orders
from netplan.network.work_section import WorkPart, work_section
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.rank import Ranking, rank
from netplan.planning.request import PlanRequest
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import Case
from tests.support.outlets import named_mm
from tests.support.plan_cases import HOURS, plan_case, plan_rules
from tests.support.plan_oracle import PlanOracle

__all__ = ["KINDS", "Planned", "differences", "has_feeds", "kinds", "planned"]

WANTED = 5
KINDS = (
    "dead end paid",
    "dead end merged free",
    "loop paid",
    "work beyond its length paid",
    "valve as a stop",
    "tee away paid",
    "bore limited by a tee",
    "no room for two tees",
    "bypass round an obstacle",
    "bypass along streets",
    "ramp",
    "purge refused",
    "bypass out of reach",
)


@dataclass(frozen=True)
class Planned:
    """What the planner lists for a case: nothing where no option stands or the network has no solution."""

    context: PlanningContext
    options: tuple[EvaluatedOption, ...]
    reasons: tuple[str, ...]
    """Why cuts were refused."""


def has_feeds(seed: int) -> bool:
    """Whether the case of a seed may have feeds."""
    return seed % 10 != 9


def planned(case: Case, rules: Rules, *, feeds: bool = True, max_off: int | None = None) -> Planned:
    """Plan a case, with at most so many meters off."""
    of = case.section
    parts = tuple(
        WorkPart(case.network.pipes.id[int(pipe)], float(low), float(high))
        for pipe, low, high in zip(of.pipe, of.from_m, of.to_m, strict=True)
    )
    orders = Orders(max_meters_off=max_off)
    request = PlanRequest(
        case.network, parts, rules, hours=HOURS, orders=orders, feeds_allowed=feeds, options=WANTED
    )
    context = PlanningContext.for_request(request)
    try:
        context.before.require_solved()
        ranking: Ranking = rank(context, work_section(case.network, parts), lambda _: None)
    except NoPlanError as error:
        return Planned(context, (), tuple(map(str, error.reasons)))
    except NotSolvedError:
        return Planned(context, (), ())
    assert ranking.next_bound_minor is None or len(ranking.options) == WANTED
    return Planned(context, ranking.options, tuple(cut.reason for cut in ranking.refused))


def differences(
    found: Planned, case: Case, rules: Rules, *, feeds: bool = True, max_off: float = math.inf
) -> list[str]:
    """Return in what the planner and the oracle differ; nothing where they agree."""
    oracle = PlanOracle(case, rules, feeds=feeds, max_off=max_off)
    expected = oracle.options(WANTED) if oracle.solved_before else []
    answers = [(option.burden_minor, tuple(option.off.tolist())) for option in found.options]
    different = []
    if [burden for burden, _ in answers] != [burden for burden, _ in expected]:
        different.append(f"burdens {[b for b, _ in answers]} against {[b for b, _ in expected]}")
    # Ties at the end of the list may be broken either way.
    last = answers[-1][0] if answers else 0
    if sorted(one for one in answers if one[0] < last) != sorted(
        (b, key[1]) for b, key in expected if b < last
    ):
        different.append("customers off differ")
    for option in found.options:
        parts = (option.stops_minor, option.interruption_minor, option.feeds_minor, option.gas_minor)
        if option.burden_minor != sum(parts) + option.excavations_minor + option.fallbacks_minor:
            different.append("the parts of a burden are not its sum")
    return different


def kinds(found: Planned) -> set[str]:
    """Return the kinds of case that the listed options of a plan hold."""
    refused = "; ".join(found.reasons)
    words = {"purge.below_least": "purge refused", "beyond bypass.reach_m": "bypass out of reach"}
    names = {name for word, name in words.items() if word in refused}
    for option in found.options:
        names.update(_dug(found.context, option), _fed(found.context, option))
        names.update({"valve as a stop"} if any(stop.valve >= 0 for stop in option.cut.stops) else ())
        names.update({"off"} if any(option.part_off) else ())
        names.update({"weak"} if any(part.weak for part in option.deficient) else ())
    return names


def _dug(context: PlanningContext, option: EvaluatedOption) -> Iterator[str]:
    dug, rules = excavations_of_cut(context, option.cut), context.request.rules.excavation
    for _, price in dug.dead_end_prices:
        if price is None:
            yield "dead end merged free"
        elif price.price_minor:
            yield "dead end paid"
    if any(part.loops and dug.loop_price(part).price_minor for part in dug.parts):
        yield "loop paid"
    lengths = sum(part.to_m - part.from_m for part in context.request.parts)
    if rules.price_per_m and lengths > rules.length_m:
        yield "work beyond its length paid"


def _fed(context: PlanningContext, option: EvaluatedOption) -> Iterator[str]:
    has_streets = "streets" in context.request.network.base
    rules = context.request.rules
    for sized in option.feeds:
        if sized is None:
            continue
        yield "fed"
        feed = sized.size.feed
        if feed.valve_link >= 0 or feed.route is None:
            continue
        elsewhere = [
            s
            for s in option.cut.stops
            if s.bypass_elsewhere and f"S{option.cut.stops.index(s) + 1}" in feed.label.split(">")
        ]
        if feed.tees_minor:
            yield "tee away paid"
        elif elsewhere and rules.excavation.price:
            yield "tee away merged free"
        if min(feed.outlets_mm) < named_mm(max(rules.bypass.bores_mm)):
            yield "bore limited by a tee"
        if feed.most_parallel < rules.bypass.parallel_max:
            yield "no room for two tees"
        (x0, y0), (x1, y1) = feed.route.xy[0], feed.route.xy[-1]
        if feed.route.length_m > ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 + 1e-6:
            yield "bypass round an obstacle" if feed.route.note or not has_streets else "bypass along streets"
        if feed.crossings:
            yield "ramp"


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def main(low: int, high: int) -> int:
    """Compare the networks of some seeds and print what came up; return how many differ."""
    seen: Counter[str] = Counter()
    wrong = 0
    for seed in range(low, high):
        begun = perf_counter()
        case, rules, feeds = plan_case(seed), plan_rules(seed), has_feeds(seed)
        found = planned(case, rules, feeds=feeds)
        different = differences(found, case, rules, feeds=feeds)
        seen.update(["networks", *kinds(found), *(["with a plan"] if found.options else [])])
        wrong += bool(different)
        for line in different:
            _tell(f"seed {seed}: {line}")
        if perf_counter() - begun > 20.0:
            _tell(f"seed {seed}: {perf_counter() - begun:.0f} s")
    _tell(f"{wrong} of {high - low} differ")
    for name, count in sorted(seen.items(), key=lambda pair: (-pair[1], pair[0])):
        _tell(f"{count:5d}  {name}")
    return wrong


if __name__ == "__main__":
    sys.exit(1 if main(int(sys.argv[1]), int(sys.argv[2])) else 0)
