"""The cheapest feed of every part, or off: exact over all parts together."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds.constraint_margin import NO_SOLUTION
from netplan.feeds.failed_parts import FailedParts
from netplan.feeds.feed_case import FeedCase, FeedLoads, Verdict
from netplan.feeds.feed_kinds import Feed, FeedSize, SizedFeed, sizes_in_order
from netplan.feeds.feed_prices import feed_price_minor
from netplan.feeds.split_case import FeedChecker
from netplan.feeds.station_capacity import StationCapacity
from netplan.rules.rule_set import Rules

__all__ = [
    "NO_FEED",
    "TOO_DEAR",
    "PartsAnswer",
    "Relieved",
    "UnfedPart",
    "feed_answers",
    "feed_parts",
    "least_price_minor",
    "tees_fit",
]

MOST_PASSED = 20_000
"""Combinations that need no answer, passed over before giving up (own) [-]."""
MOST_RELIEVED = 16
"""Choices of parts off whose loads are kept (own) [-]."""
NO_FEED = "a part that must be fed has no feed within reach"
NO_ROOM = "no room for a tee of its own for every hose at one place"
TOO_DEAR = "dearer than the options found already"


@dataclass(frozen=True, slots=True, eq=False)
class UnfedPart:
    """A stranded or weak part of the network and what can be done for it.

    Parameters
    ----------
    label : str
        Names it in reports.
    feeds : tuple of Feed
        Ways of feeding it.
    inlets : int array
        Rows of the case's inlets that lie in it.
    demand_nodes : int array
        Nodes whose demand goes when the part is off, in every load. Where others draw there too, or demand
        depends on who is on, the caller gives `feed_answers` what is left instead.
    off_price_minor : int or None
        Price of turning it off, whole minor units; None where it must be fed (priority customers).
    weak : bool
        Whether it is still fed, only too weakly: then what helps another part may help it too.
    """

    label: str
    feeds: tuple[Feed, ...]
    inlets: Ints
    demand_nodes: Ints
    off_price_minor: int | None
    weak: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Relieved:
    """What is left to carry and to hold with some parts off.

    Parameters
    ----------
    loads : FeedLoads
        All that must be carried; figures are given for its first hour.
    skip_inlets : bool array, shape (inlets,)
        Inlets of nobody but customers who are off.
    """

    loads: FeedLoads
    skip_inlets: Flags


@dataclass(frozen=True, slots=True, eq=False)
class PartsAnswer:
    """The cheapest way of dealing with all parts together.

    Parameters
    ----------
    feeds : tuple of (SizedFeed or None)
        For each part its feed; None where it is off, or weak and helped by another part's feed.
    off : tuple of bool
        Which parts are off.
    price_minor : int
        Price of the feeds and of the parts that are off, whole minor units.
    verdict : Verdict or None
        The solved network; None when nothing holds.
    reason : str
        Why nothing holds; empty otherwise.
    is_cut_short : bool
        Whether nothing was found among so many combinations, but more were left.
    has_failed_by_purge : bool
        Where nothing holds: whether anything failed with a purge's draw alone.
    failed : tuple of (str, str)
        Feeds of cheaper combinations that do not hold, by label, and why.
    """

    feeds: tuple[SizedFeed | None, ...]
    off: tuple[bool, ...]
    price_minor: int
    verdict: Verdict | None
    reason: str = ""
    is_cut_short: bool = False
    has_failed_by_purge: bool = False
    failed: tuple[tuple[str, str], ...] = ()

    @property
    def feeds_price_minor(self) -> int:
        """Price of the feeds alone, whole minor units."""
        return sum(feed.price_minor for feed in self.feeds if feed is not None)


@dataclass(frozen=True, slots=True, order=True)
class _Choice:
    price_minor: int
    label: str
    parallel: int
    feed: Feed | None
    off: bool
    weak: bool


def feed_answers(
    case: FeedCase,
    parts: Sequence[UnfedPart],
    rules: Rules,
    most_tries: int = 400,
    *,
    below_minor: int | None = None,
    is_settled: Callable[[tuple[bool, ...]], bool] = lambda _off: False,
    relieved: Callable[[tuple[bool, ...]], Relieved] | None = None,
) -> Iterator[PartsAnswer]:
    """Yield the combinations of feeds and parts off with which everything kept holds, cheapest first.

    Combinations are taken in the order of their price and each is judged in the full network solve with
    all its feeds in. Its bores are the smallest: with any one hose a size smaller something fails. Prices
    don't depend on bores, only on length and hoses side by side. When none holds, one answer without a
    verdict says why.

    Parameters
    ----------
    case : FeedCase
        Network with the stops in, demand of everything, and the inlets of everything kept.
    parts : sequence of UnfedPart
    rules : Rules
    most_tries : int
        Combinations judged before giving up.
    below_minor : int, optional
        Only combinations cheaper than this are wanted, whole minor units.
    is_settled : callable, optional
        Asked before a combination is judged whether those parts off need no further answer.
    relieved : callable, optional
        Returns what is left when those parts are off; default: the demand of their nodes goes.
    """
    left = lru_cache(maxsize=MOST_RELIEVED)(relieved or partial(_without_nodes, case, parts))
    choices = [_choices(part, rules) for part in parts]
    nothing = ((None,) * len(parts), (False,) * len(parts), 0, None)
    if not all(choices):
        yield PartsAnswer(*nothing, NO_FEED)
        return
    # Apart first; should rounding ever part the two, whole.
    failed = FailedParts(case)
    judges = (
        FeedChecker(case, rules, failed=failed),
        FeedChecker(case, rules, may_split=False, failed=failed),
    )
    stations = StationCapacity(case)
    first = (0,) * len(parts)
    queue = [(sum(c[0].price_minor for c in choices), first)]
    seen = {first}
    held, reason, tries, passed = False, "", 0, 0
    why_not: dict[str, str] = {}
    while queue and tries < most_tries and passed < MOST_PASSED:
        price, pick = heapq.heappop(queue)
        if below_minor is not None and price >= below_minor:
            queue.clear()
            reason = reason or TOO_DEAR
            break
        picked = [c[i] for c, i in zip(choices, pick, strict=True)]
        for position in range(len(parts)):
            _push(queue, seen, choices, pick, position)
        if is_settled(tuple(choice.off for choice in picked)):
            passed += 1
            continue
        tries += 1
        used = [choice.feed for choice in picked if choice.feed is not None]
        if not tees_fit([(choice.feed, choice.parallel) for choice in picked if choice.feed is not None]):
            reason = NO_ROOM
            why_not.update((feed.label, reason) for feed in used)
            continue
        relief = left(tuple(choice.off for choice in picked))
        if any(stations.is_exceeded(used, demand, relief.skip_inlets) for demand in relief.loads.hours):
            reason = NO_SOLUTION.reason
            why_not.update((feed.label, reason) for feed in used)
            continue
        answer = _fit(case, judges, relief, picked, price, rules)
        if answer.verdict is not None:
            held = True
            yield replace(answer, failed=tuple(why_not.items()))
        else:
            reason = answer.reason
            why_not.update((feed.label, reason) for feed in used)
    if not held:
        given_up = f"no combination of feeds holds among the {most_tries} cheapest; last: " if queue else ""
        by_purge = any(judge.has_failed_by_purge for judge in judges)
        yield PartsAnswer(*nothing, given_up + reason, bool(queue), has_failed_by_purge=by_purge)


def tees_fit(feeds: Sequence[tuple[Feed, int]]) -> bool:
    """Whether every hose has room for tees of its own, where several feeds are tapped at one place too.

    Parameters
    ----------
    feeds : sequence of (Feed, int)
        Feeds laid together, and how many hoses each has side by side.
    """
    count: dict[int, int] = {}
    room: dict[int, int] = {}
    for feed, parallel in feeds:
        if feed.tees:
            for node, most in zip((feed.from_node, feed.to_node), feed.tees, strict=True):
                count[node] = count.get(node, 0) + parallel
                room[node] = most
    return all(count[node] <= room[node] for node in count)


def least_price_minor(parts: Sequence[UnfedPart], rules: Rules) -> int | None:
    """Return what no combination can cost less than, whole minor units; None where a part has no way out."""
    choices = [_choices(part, rules) for part in parts]
    return sum(some[0].price_minor for some in choices) if all(choices) else None


def feed_parts(
    case: FeedCase, parts: Sequence[UnfedPart], rules: Rules, most_tries: int = 400
) -> PartsAnswer:
    """Return the cheapest combination of feeds and parts off with which everything kept holds.

    See `feed_answers`.
    """
    return next(feed_answers(case, parts, rules, most_tries))


def _push(
    queue: list[tuple[int, tuple[int, ...]]],
    seen: set[tuple[int, ...]],
    choices: list[list[_Choice]],
    pick: tuple[int, ...],
    position: int,
) -> None:
    further = (*pick[:position], pick[position] + 1, *pick[position + 1 :])
    if further[position] < len(choices[position]) and further not in seen:
        seen.add(further)
        price = sum(c[i].price_minor for c, i in zip(choices, further, strict=True))
        heapq.heappush(queue, (price, further))


def _choices(part: UnfedPart, rules: Rules) -> list[_Choice]:
    found = [
        _Choice(feed_price_minor(feed, count, rules), feed.label, count, feed, off=False, weak=part.weak)
        for feed in part.feeds
        for count in range(
            1, (1 if feed.valve_link >= 0 else min(rules.bypass.parallel_max, feed.most_parallel)) + 1
        )
    ]
    if part.off_price_minor is not None:
        found.append(_Choice(part.off_price_minor, "", 0, None, off=True, weak=part.weak))
    if part.weak:
        found.append(_Choice(0, "", 0, None, off=False, weak=True))
    return sorted(found, key=lambda choice: (choice.price_minor, choice.off, choice.label, choice.parallel))


def _fit(
    case: FeedCase,
    judges: Sequence[FeedChecker],
    left: Relieved,
    picked: Sequence[_Choice],
    price_minor: int,
    rules: Rules,
) -> PartsAnswer:
    ladders = [
        list(sizes_in_order(choice.feed, rules, choice.parallel if choice.feed.valve_link < 0 else None))
        for choice in picked
        if choice.feed is not None
    ]
    off = tuple(choice.off for choice in picked)
    weak = any(choice.weak for choice in picked)
    whole = judges[-1]
    for judge in judges:
        against = partial(judge.reason_against, loads=left.loads, skip_inlets=left.skip_inlets)
        sizes, reason = _smallest(ladders, against, weak)
        if reason:
            return PartsAnswer((None,) * len(picked), off, price_minor, None, reason)
        reason = whole.reason_against(sizes, left.loads, left.skip_inlets)
        if not reason:
            break
    else:
        return PartsAnswer((None,) * len(picked), off, price_minor, None, reason)
    verdict = case.judge(sizes, rules, demand_m3_per_s_std=left.loads.hours[0], skip_inlets=left.skip_inlets)
    figures = iter(case.figures(sizes, verdict, rules))
    feeds = tuple(None if choice.feed is None else next(figures) for choice in picked)
    return PartsAnswer(feeds, off, price_minor, verdict)


def _without_nodes(case: FeedCase, parts: Sequence[UnfedPart], off: tuple[bool, ...]) -> Relieved:
    """Leave out the demand of whole nodes."""
    skip = np.zeros(len(case.inlets), dtype=bool)
    gone: list[Ints] = [np.zeros(0, dtype=np.int64)]
    for part, is_off in zip(parts, off, strict=True):
        if is_off:
            skip[part.inlets] = True
            gone.append(part.demand_nodes)
    nodes = np.concatenate(gone)

    def left(demand: Floats) -> Floats:
        demand = demand.copy()
        demand[nodes] = 0.0
        return demand

    return Relieved(case.every_load.changed(left), skip)


def _smallest(
    ladders: Sequence[Sequence[FeedSize]], reason_against: Callable[[Sequence[FeedSize]], str], weak: bool
) -> tuple[list[FeedSize], str]:
    """Return sizes of which none can be smaller, and an empty reason; or why nothing holds."""
    sizes = [ladder[-1] for ladder in ladders]
    reason = reason_against(sizes)
    # A stranded part takes what it takes: where the widest hoses fail, narrower ones do. A weak one may
    # draw too much through a wide hose from a side that is short itself.
    for place, ladder in enumerate(ladders if weak or not reason else ()):
        for size in ladder:
            if size == sizes[place]:
                # Judged already, whether it holds or not.
                break
            trial = [*sizes[:place], size, *sizes[place + 1 :]]
            if not reason_against(trial):
                sizes, reason = trial, ""
                break
    return sizes, reason
