"""Sizes that a feed may have, from the smallest."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.core.constants import MM_PER_M
from netplan.feeds.model import Feed, FeedSize
from netplan.rules.model import Rules

__all__ = ["sizes_in_order"]


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
