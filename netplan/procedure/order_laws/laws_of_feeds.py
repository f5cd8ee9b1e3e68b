"""Laws 4, 5, 27 and 30: feeds are proved before they are relied on, and shut last."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Bypass, Fallback, FallbackUse, Stop
from netplan.procedure.order_laws.item_states import OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["fallback_keeps_tees", "feed_order", "last_feed_after_through_flow", "sole_feed_accepted"]

ORDER_OF_BYPASS = ("laid", "tested", "purged", "open", "accepted")
ORDER_OF_VALVE = ("open", "accepted")


def feed_order(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 4: a bypass is laid, tested, purged, opened, accepted in this order; a valve opened, accepted."""
    bypasses = {bypass.id for bypass in walk.option.bypasses}
    for feed in walk.feed_ids:
        item = walk.feed_item(feed)
        found = [one for one in walk.changed("feed") if one.item is item]
        states = tuple(one.change.to for one in found)
        wanted = ORDER_OF_BYPASS if feed in bypasses else ORDER_OF_VALVE
        if states[: len(wanted)] != wanted:
            n = found[0].moment.step.n if found else None
            told = ", ".join(states) or "nothing"
            yield LawBreach(4, n, (feed,), f"goes through {told}; {', '.join(wanted)} come first")
        for one in found:
            step = one.moment.step
            if one.change.to == "tested" and not any(test.what == "feed" for test in step.pressure_tests):
                yield LawBreach(4, step.n, (feed,), "tested, but no test pressure is given")
            if one.change.to == "accepted" and not (step.hold and (step.readings or not walk.option.gauges)):
                yield LawBreach(4, step.n, (feed,), "accepted without a hold that reads the gauges")


def sole_feed_accepted(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 5: no stop goes in before every feed that keeps somebody is accepted; the first confirms it."""
    if walk.first_in == len(walk.moments):
        return
    moment = walk.moments[walk.first_in]
    step = moment.step
    relied_on = {c.kept_by for c in walk.option.customers if c.effect == "kept" and c.kept_by}
    for feed in sorted(relied_on):
        if walk.feed_state(moment.before, feed) != "accepted":
            yield LawBreach(5, step.n, (feed,), "customers hang on a feed that is not accepted yet")
    if relied_on and not (step.hold and (step.readings or not walk.option.gauges)):
        yield LawBreach(5, step.n, (), "the first barrier is no hold with readings that confirms the feed")


def last_feed_after_through_flow(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 27: the last feed is shut only once through-flow is proved with every stop out."""
    proved = False
    shut = 0
    for moment in walk.moments:
        out = all(moment.before[("barrier", item.id)] == "withdrawn" for item in walk.barriers)
        closing = [c.id for c in moment.step.changes if c.kind == "feed" and c.to == "shut"]
        shut += len(closing)
        if closing and not proved and shut >= len(walk.feed_ids):
            yield LawBreach(27, moment.step.n, tuple(closing), "the last feed is shut before through-flow")
        if closing and not out:
            yield LawBreach(27, moment.step.n, tuple(closing), "a feed is shut while a stop is in")
        read = bool(moment.step.readings) or not walk.option.gauges
        proved = proved or (bool(walk.barriers) and out and moment.step.hold and read)
    if not proved and walk.moments:
        yield LawBreach(27, None, (), "no hold proves through-flow with every stop out")


def fallback_keeps_tees(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 30: a fallback keeps its feed's tee on the live side, or shuts or moves that feed."""
    for fallback in walk.option.fallback:
        stop = walk.stops.get(fallback.stop_id)
        if stop is None:
            yield LawBreach(30, None, (fallback.stop_id,), "a fallback of a stop that the option lacks")
            continue
        dealt_with = {one.feed_id for one in fallback.shut} | {one.feed_id for one in fallback.moves}
        for bypass in walk.option.bypasses:
            if bypass.id not in dealt_with and _loses_tee(stop, fallback, bypass):
                what = f"fallback ({fallback.failure}) parts the feed from its tee and does not shut it"
                yield LawBreach(30, None, (stop.id, bypass.id), what)
        yield from _tail_on_standby(walk, fallback)


def _loses_tee(stop: Stop, fallback: Fallback, bypass: Bypass) -> bool:
    return any(
        _between(stop, use, end.main_id, end.chainage_m)
        for use in fallback.use
        for end in (bypass.from_, bypass.to)
    )


def _between(stop: Stop, use: FallbackUse, main_id: str, chainage_m: float) -> bool:
    """Return whether a place lies between a stop and its fallback on the same main."""
    if not stop.main_id == use.main_id == main_id:
        return False
    low, high = sorted((stop.chainage_m, use.chainage_m))
    return low <= chainage_m <= high


def _tail_on_standby(walk: OrderWalk, fallback: Fallback) -> Iterator[LawBreach]:
    if not fallback.tail_lost:
        return
    shut = {one.feed_id for one in fallback.shut}
    kept = {c.id for c in walk.option.customers if c.effect == "kept" and c.kept_by in shut}
    missing = tuple(sorted(kept - set(fallback.standby) - set(walk.option.pressures.weak_before)))
    if missing:
        yield LawBreach(30, None, (fallback.stop_id, *missing), "a lost tail's customers are not on standby")
