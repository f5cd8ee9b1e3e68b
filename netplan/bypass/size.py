"""The smallest size of a feed that holds, in the full network solve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from netplan.bypass.case import FeedCase
from netplan.bypass.model import Feed, FeedSize, SizedFeed, TooWeak
from netplan.bypass.split import Judge
from netplan.constants import MM_PER_M
from netplan.rules.model import Rules

__all__ = ["size_feed", "sizes_in_order"]


def sizes_in_order(feed: Feed, rules: Rules, parallel: int | None = None) -> Iterator[FeedSize]:
    """Yield the sizes of a feed from the smallest: one hose by bore, then two side by side, and so on.

    Parameters
    ----------
    feed : Feed
    rules : Rules
        ``bypass.bores_mm`` and ``bypass.parallel_max``.
    parallel : int, optional
        Only sizes with so many hoses.
    """
    if feed.valve_link >= 0:
        yield FeedSize(feed, 0.0)
        return
    counts = range(1, rules.bypass.parallel_max + 1) if parallel is None else (parallel,)
    for count in counts:
        for bore_mm in rules.bypass.bores_mm:
            yield FeedSize(feed, bore_mm / MM_PER_M, count)


def size_feed(
    case: FeedCase,
    feed: Feed,
    rules: Rules,
    *,
    others: Sequence[FeedSize] = (),
    parallel: int | None = None,
) -> SizedFeed | TooWeak:
    """Return the smallest size of a feed with which every inlet holds, or why none does.

    Every size is judged by solving the whole network with it: pressure at each inlet with tapping, hose and
    bend losses, and velocity in the hose. Sizes are tried from the smallest, so that the next one down is
    known to fail.

    Parameters
    ----------
    case : FeedCase
        The network with the stops in, demand and inlets.
    feed : Feed
        The feed to size.
    rules : Rules
        Size list, losses and velocity limit.
    others : sequence of FeedSize
        Feeds that are in already.
    parallel : int, optional
        Only so many hoses side by side.
    """
    reason = "no size is allowed"
    judge, whole = Judge(case, rules), Judge(case, rules, may_split=False)
    for size in sizes_in_order(feed, rules, parallel):
        sizes = [*others, size]
        reason = judge.reason_against(sizes)
        if reason:
            continue
        reason = whole.reason_against(sizes)
        if not reason:
            return case.figures(sizes, case.judge(sizes, rules), rules)[-1]
    return TooWeak(feed, reason)
