"""Laws 1 and 28: tappings are tested, drilled, used, and capped again."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Gauge, OrderItem, ZoneGauge
from netplan.procedure.order_laws.item_states import ChangeAt, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["caps_equal_coupons", "is_drilled", "tapping_of_gauge", "tested_before_drilled"]

FEED_ENDS = ("feed end from", "feed end to")
SAME_M = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""


def tested_before_drilled(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 1: an outlet is tested before it is drilled, and drilled before it is used."""
    tested: set[str] = set()
    for one in walk.changed("tapping"):
        step = one.moment.step
        if one.change.to == "tested":
            if any(test.what == "tapping" for test in step.pressure_tests):
                tested.add(one.item.id)
            else:
                yield LawBreach(1, step.n, (one.item.id,), "no test pressure is given for this outlet")
        if one.change.to == "drilled" and (one.change.from_ != "tested" or one.item.id not in tested):
            yield LawBreach(1, step.n, (one.item.id,), "drilled before it was tested")
    for one in walk.changes:
        if _uses_tapping(one) and one.item.tapping_id and not is_drilled(one, one.item.tapping_id):
            ids = (one.item.id, one.item.tapping_id)
            yield LawBreach(1, one.moment.step.n, ids, f"{one.item.kind} used on an outlet not drilled")
    yield from _feeds_on_drilled(walk)


def _uses_tapping(one: ChangeAt) -> bool:
    used = {"barrier": ("set",), "vent": ("open",), "valve": ("open",)}
    return one.change.to in used.get(one.item.kind, ())


def is_drilled(one: ChangeAt, tapping_id: str) -> bool:
    """Return whether a tapping is drilled before a change."""
    return one.moment.before.get(("tapping", tapping_id)) == "drilled"


def _feeds_on_drilled(walk: OrderWalk) -> Iterator[LawBreach]:
    for one in walk.changed("feed", "purged", "open"):
        ends = [item for item in walk.of_kind("valve", *FEED_ENDS) if item.of == one.item.id]
        tees = dict.fromkeys(item.tapping_id for item in ends if item.tapping_id)
        bad = tuple(tee for tee in tees if not is_drilled(one, tee))
        if bad:
            yield LawBreach(1, one.moment.step.n, (one.item.id, *bad), "feed used on a tee not drilled")


def tapping_of_gauge(walk: OrderWalk, gauge: Gauge | ZoneGauge) -> OrderItem | None:
    """Return the tapping that a gauge reads at; None for one at a meter, or where none is known."""
    if isinstance(gauge, ZoneGauge):
        return walk.items.get(("tapping", gauge.tapping_id))
    own = [item for item in walk.of_kind("tapping", "gauge") if item.of == gauge.id]
    at_place = [
        item
        for item in walk.of_kind("tapping", "gauge")
        if item.main_id == gauge.main_id
        and item.chainage_m is not None
        and abs(item.chainage_m - gauge.chainage_m) <= SAME_M
    ]
    return next(iter((*own, *at_place)), None)


def caps_equal_coupons(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 28: as many outlets drilled as coupons found or signed lost, and as outlets capped."""
    drilled = {one.item.id: one for one in walk.changed("tapping", "drilled")}
    capped = {one.item.id: one for one in walk.changed("tapping", "capped")}
    for ident, one in drilled.items():
        if ident not in capped:
            yield LawBreach(28, one.moment.step.n, (ident,), "drilled and never capped")
    for ident, one in capped.items():
        if ident not in drilled:
            yield LawBreach(28, one.moment.step.n, (ident,), "capped but never drilled")
    for one in walk.changed("place", "filled"):
        still_open = tuple(
            item.id
            for item in walk.of_kind("tapping")
            if item.hole_id == one.item.id and one.moment.before[("tapping", item.id)] == "drilled"
        )
        if still_open:
            yield LawBreach(
                28, one.moment.step.n, (one.item.id, *still_open), "filled over outlets not capped"
            )
    counted = {
        need.id
        for moment in walk.moments
        if moment.step.hold
        for need in moment.step.needs
        if need.kind == "tapping" and need.state == "capped"
    }
    missing = tuple(sorted(drilled.keys() & capped.keys() - counted))
    if missing:
        yield LawBreach(28, None, missing, "no hold counts the coupons of these outlets")
