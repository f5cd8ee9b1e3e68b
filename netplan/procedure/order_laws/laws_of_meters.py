"""Laws 6, 24, 29 and 33: meters are counted shut, shut once, relit once, and shut before gas comes back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import LossRow
from netplan.procedure.order_laws.item_states import OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["each_meter_once", "meters_shut_before_gas", "second_tally", "tally_before_stops"]

WAY_OF_METER: Final = ("off", "no access", "sealed", "purged", "relit")
"""States of a meter that goes off, in their order; each is passed once at most."""


def tally_before_stops(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 6: a hold counts every meter that goes off before the first stop goes in."""
    if not walk.meters or walk.first_in == len(walk.moments):
        return
    if not any(walk.is_tally(moment) for moment in walk.moments[: walk.first_in]):
        n = walk.moments[walk.first_in].step.n
        yield LawBreach(6, n, (), "a stop goes in before the tally of the meters off is closed")


def second_tally(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 24: the meters are counted again after the work and before gas goes back."""
    if not walk.meters or walk.gas_back == len(walk.moments):
        return
    after = min(walk.tied_in, walk.gas_back)
    if not any(walk.is_tally(moment) for moment in walk.moments[after : walk.gas_back]):
        n = walk.moments[walk.gas_back].step.n
        yield LawBreach(24, n, (), "gas goes back before the second tally")


def each_meter_once(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 29: every meter is shut, sealed, its service purged, and relit or left sealed, once each."""
    ways: dict[str, list[str]] = {item.id: [] for item in walk.meters}
    for one in walk.changed("meter"):
        way = ways.get(one.item.id)
        step = one.moment.step
        if way is None:
            yield LawBreach(29, step.n, (one.item.id,), "a meter that stays on is changed")
            continue
        if one.change.to == "on":
            yield LawBreach(29, step.n, (one.item.id,), "a meter turned on without relighting")
        way.append(one.change.to)
        if one.change.to in ("purged", "relit") and one.place <= walk.gas_back:
            yield LawBreach(29, step.n, (one.item.id,), f"{one.change.to} before gas is back")
    for ident, way in ways.items():
        ranks = [WAY_OF_METER.index(state) for state in way if state in WAY_OF_METER]
        if ranks != sorted(set(ranks)):
            yield LawBreach(29, None, (ident,), f"goes through {', '.join(way)}")
        if not way or "sealed" not in way:
            yield LawBreach(29, None, (ident,), "is never shut and sealed")
        elif way[-1] not in ("relit", "sealed", "no access"):
            yield LawBreach(29, None, (ident,), f"ends {way[-1]}: neither relit nor sealed")
        if "relit" in way and "purged" not in way:
            yield LawBreach(29, None, (ident,), "relit without its service being purged")


def meters_shut_before_gas(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 33: a part that fell, or may have, below the minimum is not fed before its meters are shut."""
    for place, moment in enumerate(walk.moments):
        if place <= walk.cut or not walk.lets_gas_in(moment):
            continue
        on = tuple(item.id for item in walk.meters if moment.before[("meter", item.id)] == "on")
        if on:
            yield LawBreach(33, moment.step.n, on, "gas comes back while these meters are not shut")
    for fallback in walk.option.fallback:
        for move in fallback.moves:
            open_doors = tuple(sorted(set(move.off_meanwhile) - set(fallback.standby)))
            if open_doors:
                ids = (fallback.stop_id, move.feed_id, *open_doors)
                yield LawBreach(33, None, ids, "a moved feed reaches meters that nobody is to shut")
    for row in walk.option.loss_sheet:
        yield from _named_in_row(walk, row)


def _named_in_row(walk: OrderWalk, row: LossRow) -> Iterator[LawBreach]:
    """Yield who falls with a feed and is not among those whose meters are shut before gas is back.

    A part that a station still feeds may hold without the feed until a purge draws: then it counts, and
    before that only who is left with no station.
    """
    lost = {feed for feed in walk.feed_ids if feed in row.items}
    if not lost or not row.solved:
        return
    kept = [one for one in walk.option.customers if one.effect == "kept" and one.kept_by in lost]
    fall = {one.id for one in kept if one.cause == "stranded" or row.state == "gas back in"}
    missing = tuple(sorted(fall - set(row.customers) - set(walk.option.pressures.weak_before)))
    if missing:
        yield LawBreach(
            33, None, (row.id, *missing), "fall with the feed, but their meters are not to be shut"
        )
