"""The bypasses of a planned option sized anew: other weather, sizes, hose length or minimum pressure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadInputError
from netplan.feeds import (
    Feed,
    FeedCase,
    FeedChecker,
    FeedSize,
    PartsAnswer,
    SizedFeed,
    UnfedPart,
    feed_parts,
    sizes_in_order,
    weather_window,
)
from netplan.planning.resize_problem import ResizeProblem
from netplan.planning.resize_request import ResizeRequest
from netplan.rules import Rules, checked_rules

__all__ = ["ResizeRequest", "Resized", "SizeRow", "required_mbar", "resize", "size_words"]


@dataclass(frozen=True, slots=True, eq=False)
class SizeRow:
    """One size of one bypass, the other bypasses as sized.

    Parameters
    ----------
    size : FeedSize or None
        None: without this bypass.
    reason : str
        Why it does not hold; empty when it does.
    figures : SizedFeed or None
        Flow, drop, velocity and pressures as solved; None without this bypass.
    coldest_c : float or None
        Coldest air temperature at which everything holds with it [°C]; None: at none looked at, or not
        looked for.
    """

    size: FeedSize | None
    reason: str
    figures: SizedFeed | None
    coldest_c: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Resized:
    """Bypasses sized anew.

    Parameters
    ----------
    problem : ResizeProblem
    rules : Rules
        The plan's, with what was asked for.
    air_temp_c : float
        Air temperature sized for [°C].
    case : FeedCase
    feeds : tuple of Feed
        Bypasses, with the length asked for.
    answer : PartsAnswer
        The smallest sizes that hold together; no verdict when none do.
    in_use : tuple of (FeedSize or None)
        Sizes of the answer; where there is none, the widest of the list.
    rows : tuple of tuple of SizeRow
        Every size of every bypass.
    """

    problem: ResizeProblem
    rules: Rules
    air_temp_c: float
    case: FeedCase
    feeds: tuple[Feed, ...]
    answer: PartsAnswer
    in_use: tuple[FeedSize | None, ...]
    rows: tuple[tuple[SizeRow, ...], ...] = ()

    @property
    def holds(self) -> bool:
        """Whether there is an answer."""
        return self.answer.verdict is not None


def size_words(size: FeedSize | None) -> str:
    """Return a size in words, such as ``2 × 63 mm``."""
    if size is None:
        return "none"
    bore = f"{size.bore_m * MM_PER_M:g} mm"
    return bore if size.parallel == 1 else f"{size.parallel} × {bore}"


def resize(problem: ResizeProblem, request: ResizeRequest, *, weather: bool = True) -> Resized:
    """Size the bypasses of an option anew; stops, customers off and opened valves stay as planned.

    Every size is judged by the full solve: pressure at each meter inlet that must hold, velocity in each
    hose. Inlets that must hold are those that the plan held, whatever minimum is asked for.

    Parameters
    ----------
    problem : ResizeProblem
    request : ResizeRequest
    weather : bool
        Whether the coldest weather of every size is looked for too, which takes about ten solves a size.

    Raises
    ------
    BadInputError
        When the option has no bypass.
    """
    if not problem.planned:
        raise BadInputError(f"option {problem.option.rank} has no bypass or hose: there is nothing to size")
    rules = _rules(problem.rules, request)
    feeds = tuple(
        size.feed if request.hose_length_m is None else replace(size.feed, length_m=request.hose_length_m)
        for size in problem.planned
    )
    case = problem.case(rules, request.air_temp_c)
    nowhere = np.zeros(0, dtype=np.int64)
    without = case.solve([], rules).pressure_pa_gauge
    # A part that has gas without its bypass is only weak: it may need none in warmer weather.
    parts = [
        UnfedPart(feed.label, (feed,), nowhere, nowhere, None, weak=bool(np.isfinite(without[feed.to_node])))
        for feed in feeds
    ]
    answer = feed_parts(case, parts, rules)
    widest = [list(sizes_in_order(feed, rules))[-1] for feed in feeds]
    in_use = tuple(
        (None if feed is None else feed.size) if answer.verdict is not None else most
        for feed, most in zip(answer.feeds, widest, strict=True)
    )
    near_c = problem.air_temp_c if request.air_temp_c is None else request.air_temp_c
    resized = Resized(
        problem=problem,
        rules=rules,
        air_temp_c=near_c,
        case=case,
        feeds=feeds,
        answer=answer,
        in_use=in_use,
    )
    rows = tuple(_rows(resized, place, weather=weather) for place in range(len(feeds)))
    return replace(resized, rows=rows)


def _rules(rules: Rules, request: ResizeRequest) -> Rules:
    values = rules.values()
    if request.bores_mm is not None:
        values["bypass"] = {**values["bypass"], "bores_mm": sorted(set(request.bores_mm))}
    if request.minimum_mbar is not None:
        values["pressure"] = {**values["pressure"], "minimum_mbar": request.minimum_mbar}
    return checked_rules(values, "rules with what was asked for")


def _rows(resized: Resized, place: int, *, weather: bool) -> tuple[SizeRow, ...]:
    """Return every size of the bypass at a place, the others as in use."""
    case, rules = resized.case, resized.rules
    before = [size for size in resized.in_use[:place] if size is not None]
    after = [size for size in resized.in_use[place + 1 :] if size is not None]
    found, judge = [], FeedChecker(case, rules)
    for size in (None, *sizes_in_order(resized.feeds[place], rules)):
        sizes = [*before, *([] if size is None else [size]), *after]
        verdict, reason = case.judge(sizes, rules), judge.reason_against(sizes)
        figures = None if size is None else case.figures(sizes, verdict, rules)[len(before)]
        options = [(size_words(size), sizes)] if weather else []
        window = weather_window(case, resized.problem.loads, options, rules, near_c=resized.air_temp_c)
        coldest = [row.coldest_c for row in window]
        found.append(SizeRow(size, reason, figures, coldest[0] if coldest else None))
    return tuple(found)


def required_mbar(rules: Rules) -> float:
    """Return minimum and margin together [mbar gauge]."""
    return rules.pressure.minimum_mbar + rules.pressure.margin_mbar
