"""What feeds cost, and what no feed of a pendant component can cost less than."""

from __future__ import annotations

from netplan.feeds.feed_kinds import Feed, FeedKind
from netplan.isolation import MINOR_PER_UNIT
from netplan.rules.rule_set import Rules

__all__ = ["feed_lower_bound_minor", "feed_price_minor"]


ROUNDING_M = 1e-6


def _minor(amount: float) -> int:
    return round(amount * MINOR_PER_UNIT)


def feed_price_minor(feed: Feed, parallel: int, rules: Rules) -> int:
    """Return the price of a feed in whole minor units of the rules' currency.

    A bypass or hose costs ``price.bypass``, its length times ``bypass_per_m`` or ``hose_per_m`` and
    ``price.ramp`` for every carriageway that it crosses, for each of the hoses side by side; an opened valve
    ``price.open_valve``. The excavations of tees away from every stop are paid once, however many hoses lie
    side by side.
    """
    if feed.kind is FeedKind.VALVE:
        return _minor(rules.price.open_valve)
    per_m = rules.price.bypass_per_m if feed.kind is FeedKind.BYPASS else rules.price.hose_per_m
    ramps = rules.price.ramp * feed.crossings
    each = _minor(rules.price.bypass + per_m * feed.length_m + ramps)
    return parallel * each + feed.tees_minor


def feed_lower_bound_minor(
    rules: Rules,
    *,
    least_bypass_m: float | None,
    least_hose_m: float | None,
    has_valve: bool,
) -> int | None:
    """Return a price that no feed of a component can undercut [minor units]; None where none can serve it.

    Parameters
    ----------
    least_bypass_m : float or None
        Least straight distance between a place on the component and a live place beyond the zone that a
        bypass could join [m]; None when no bypass can reach the component. At least the length of the work
        section and what the assemblies of both stops take, where the component hangs on the section itself.
    least_hose_m : float or None
        Least straight distance from the component to another main of its system that may be live [m]; None
        for none. Neither a bypass nor a hose counts beyond the rules' reach, and no hose where the rules lay
        none from other mains.
    has_valve : bool
        Whether a closed, operable boundary valve touches the component.

    Notes
    -----
    It is the price of the cheapest kind at its least length with one hose: every real feed of that kind is
    as long or longer, for its route is no shorter than the straight line; ramps, more hoses and excavations
    for tees only add. With exact distances, free ground and no carriageway between it equals the real price
    of a feed whose tees lie in the stops' own pits.
    """
    bounds = []
    # What rounding does to a distance must not take away a feed that is just within reach.
    reach = rules.bypass.reach_m + ROUNDING_M
    if least_bypass_m is not None and rules.bypass.slack * least_bypass_m <= reach:
        bounds.append(
            _minor(rules.price.bypass + rules.price.bypass_per_m * rules.bypass.slack * least_bypass_m)
        )
    hoses = rules.bypass.from_other_mains
    if hoses and least_hose_m is not None and rules.bypass.slack * least_hose_m <= reach:
        bounds.append(_minor(rules.price.bypass + rules.price.hose_per_m * rules.bypass.slack * least_hose_m))
    if has_valve:
        bounds.append(_minor(rules.price.open_valve))
    return min(bounds, default=None)
