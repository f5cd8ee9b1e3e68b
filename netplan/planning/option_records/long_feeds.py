"""Which rule asks for a long bypass or hose, and why a shorter one would not do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from netplan.core.units import rounded_up
from netplan.feeds import Feed, FeedKind, SizedFeed, feed_price_minor
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import meters_of, refusal
from netplan.planning.deficient_parts import DeficientPart
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.feeds_in_use import feeds_in_use

__all__ = ["long_feed_warnings"]

LONGER_M = 0.05
"""What one hose is longer than another to be called so (own) [m]."""


def long_feed_warnings(context: PlanningContext, option: EvaluatedOption) -> tuple[str, ...]:
    """Say of long bypasses and hoses which rule asks for them, and of others why no shorter one is taken.

    Long is what takes more of ``bypass.reach_m`` than ``bypass.long_share``.
    """
    if option.fed is None:
        return ()
    ids = {one.size.feed.label: one.id for one in feeds_in_use(context, option)}
    found: list[str] = []
    for part, feed, ways in zip(option.deficient, option.feeds, option.fed.feeds, strict=True):
        if feed is not None and feed.size.feed.kind is not FeedKind.VALVE:
            words = [*_forced(context, option, part, feed), *_no_shorter(context, option, feed, ways)]
            length = rounded_up(feed.size.feed.length_m, 1)
            name = f"{ids[feed.size.feed.label]} ({feed.size.feed.kind.value}, {length:.1f} m)"
            found += [f"{name}: {why}" for why in words]
    return tuple(found)


def _forced(
    context: PlanningContext, option: EvaluatedOption, part: DeficientPart, feed: SizedFeed
) -> Iterator[str]:
    """Name the rule for which a part is fed by a long hose and is not off."""
    request, rules = context.request, context.request.rules
    most = rules.bypass.long_share * rules.bypass.reach_m
    if feed.size.feed.length_m <= most:
        return
    long = f"longer than {most:g} m (rules bypass.long_share, bypass.reach_m), and needed"
    stay = part.customers[context.must_stay[part.customers]]
    gone = option.gone
    gone[part.customers] = True
    off = np.flatnonzero(gone)
    counts = replace(option.counts, hoses=option.counts.hoses - 1, meters=meters_of(context, off))
    too_long = refusal(context, counts)
    if len(stay):
        customer = request.network.customers.id[int(stay[0])]
        code = request.network.customers.priority[int(stay[0])]
        why = f"priority customer {customer} ({code})" if code else f"customer {customer}, kept on by order,"
        more = f" and {len(stay) - 1} more" if len(stay) > 1 else ""
        yield f"{long} because {why}{more} may not go off"
    elif too_long:
        yield f"{long} because of the crew's day (rule crew.day_end): were its customers off, {too_long}"
    elif part.weak:
        yield f"{long} because inlets fall below pressure.minimum_mbar and its margin without it"


def _no_shorter(
    context: PlanningContext, option: EvaluatedOption, feed: SizedFeed, ways: tuple[Feed, ...]
) -> Iterator[str]:
    """Say why the shortest way of feeding a part is not the one taken."""
    hoses = [way for way in ways if way.kind is not FeedKind.VALVE]
    taken, failed = feed.size.feed, dict(option.failed_feeds)
    shortest = min(hoses, key=lambda way: (way.length_m, way.label), default=taken)
    if shortest.length_m < taken.length_m - LONGER_M:
        why = _why_not(context, feed, shortest, failed)
        yield f"a {shortest.kind.value} of {shortest.length_m:.1f} m {why}"


def _why_not(context: PlanningContext, feed: SizedFeed, shorter: Feed, failed: Mapping[str, str]) -> str:
    price = feed_price_minor(shorter, 1, context.request.rules)
    if shorter.label in failed:
        return f"does not work: {failed[shorter.label]}"
    if price >= feed.price_minor:
        return "costs no less (rules price.bypass_per_m, .hose_per_m, .ramp)"
    return "does not hold together with the other feeds"
