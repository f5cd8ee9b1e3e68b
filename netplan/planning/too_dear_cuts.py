"""Cuts that are not worth solving: what their stranded parts cost at least, and why a part has no feed."""

from __future__ import annotations

from netplan.excavations import CutExcavations
from netplan.feeds import NO_FEED, TOO_DEAR, feed_lower_bound_minor, feed_price_minor
from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.deficient_parts import part_of, stranded_parts
from netplan.planning.fed_network import FedNetwork, fed_network
from netplan.planning.parts_off import PartsOffInDay
from netplan.planning.stopped_network import at_taps, draw_stops

__all__ = ["base_minor_of", "no_feed", "too_dear", "with_refused"]

NO_FEED_ALLOWED = "a part that must be fed may have no feed, by order"


def base_minor_of(cut: Cut, dug: CutExcavations, interruption_minor: int) -> int:
    """Return what a cut costs whatever is done for its deficient parts [minor units]."""
    return cut.stops_minor + cut.gas_minor + dug.price_minor + interruption_minor


def too_dear(
    context: PlanningContext,
    cut: Cut,
    reach: CutConnectivity,
    dug: CutExcavations,
    interruption_minor: int,
    most_minor: int | None,
) -> str:
    """Return why a cut is not worth solving, by the least its stranded parts cost; empty when it may be.

    The interruption is that of the customers in the zones, with their wait for the crew [minor units].
    """
    rules = context.request.rules
    if most_minor is None:
        return ""
    stranded = stranded_parts(reach)
    base_minor = base_minor_of(cut, dug, interruption_minor)
    day = PartsOffInDay(context, cut, reach, stranded)
    off = [part_of(context, part, ()).off_price_minor for part in stranded]
    allowed = context.request.feeds_allowed
    hose = feed_lower_bound_minor(rules, least_bypass_m=0.0, least_hose_m=0.0, has_valve=True)
    if not allowed and None in off:
        return NO_FEED_ALLOWED
    least_minor = day.least_minor([hose if allowed else None] * len(stranded), off)
    if least_minor is None:
        return day.reason
    if base_minor + least_minor >= most_minor:
        return TOO_DEAR
    if not stranded:
        return ""
    stopped = draw_stops(context.request.network, context.base, cut)
    # Where gas stands before any stop no fewer ways begin than where it stands after.
    pressure = at_taps(stopped, context.before)[None]
    # Routes are looked for only where straight lines are not too dear already.
    for straight in (True, False):
        fed = fed_network(
            context, cut, reach, dug, stopped, stranded, pressure, is_tapped=False, straight=straight
        )
        feeds = [min((feed_price_minor(feed, 1, rules) for feed in some), default=None) for some in fed.feeds]
        has_way = all(one is not None or gone is not None for one, gone in zip(feeds, off, strict=True))
        least_minor = day.least_minor(feeds, off) if has_way else None
        if least_minor is not None and base_minor + least_minor >= most_minor:
            return TOO_DEAR
        if not straight and not has_way:
            return no_feed(context, fed)
        if not straight and least_minor is None:
            return with_refused(day.reason, fed)
    return ""


def no_feed(context: PlanningContext, fed: FedNetwork) -> str:
    """Return that a part has no feed, and why: by order, or because those within reach may not be used."""
    return with_refused(NO_FEED, fed) if context.request.feeds_allowed else NO_FEED_ALLOWED


def with_refused(reason: str, fed: FedNetwork) -> str:
    """Return why nothing stands, and why feeds within reach may not be used."""
    return "; ".join((reason, *fed.refused))
