"""Tappings: outlets fused and tested, drilled once, at the end capped, tested and counted."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from netplan.planfile.model import OrderItem, PressureTest
from netplan.procedure.step_case import OrderCase
from netplan.procedure.step_kinds import ItemState, Stage, StepDraft, Who, in_state

__all__ = ["cap_tappings", "count_coupons", "drill_outlets", "fuse_outlets"]

_LIVE_PIPE = (
    "a gas check of the pit first, a gas detector running, PE wetted and wrapped to earth, metal earthed"
)
_NAMES = {
    "zone_vent": "zone vent",
    "barrier": "barrier",
    "vent": "vent between the barriers",
    "gauge": "gauge",
    "bypass": "bypass tee",
    "purge_in": "outlet for the purge in",
    "purge": "purge point",
}


def _groups(case: OrderCase) -> Iterator[tuple[str, tuple[OrderItem, ...]]]:
    """Yield the tappings of each thing they are for, in the order of the items."""
    for owner, items in groupby(case.items.every("tapping"), key=lambda item: item.of):
        yield owner, tuple(items)


def _listed(items: tuple[OrderItem, ...]) -> str:
    return ", ".join(f"{item.id} {_NAMES[item.role]}" for item in items)


def _outlets(items: tuple[OrderItem, ...]) -> str:
    return "the outlet" if len(items) == 1 else "the outlets"


def _in_order(items: tuple[OrderItem, ...]) -> str:
    return "" if len(items) == 1 else ", in order from the work outwards"


def _where(items: tuple[OrderItem, ...]) -> str:
    holes = tuple(dict.fromkeys(item.hole_id for item in items if item.hole_id))
    return f" in {' and '.join(holes)}" if holes else ""


def _ids(case: OrderCase, owner: str, items: tuple[OrderItem, ...]) -> tuple[str, ...]:
    """Return the ids a step on outlets names: whose they are, purge points and excavations they are in."""
    own = {item.id for item in items}
    points = (one.of for one in case.items.every("vent", "zone", "purge") if one.tapping_id in own)
    holes = (item.hole_id for item in items if item.hole_id)
    return (owner, *(item.id for item in items), *points, *holes, *(item.main_id for item in items))


def fuse_outlets(case: OrderCase) -> Iterator[StepDraft]:
    """Yield every outlet fused, cooled and tested, before any is drilled."""
    test, minutes = case.rules.pressure_test, case.rules.duration.saddle
    for owner, items in _groups(case):
        yield StepDraft(
            Stage.SADDLES,
            f"Fuse {_outlets(items)} of {owner}{_where(items)}{_in_order(items)}: {_listed(items)}. Full "
            "cooling time, then a tightness test with its valve before it is drilled; let the pressure off.",
            Who.STOPS,
            "If the pressure falls, do not drill that outlet: fuse another one beside it and test that, or "
            "plan again.",
            uses=_ids(case, owner, items),
            minutes=minutes * len(items),
            needs=in_state("dug", *(case.items.place(item.hole_id) for item in items)),
            changes=in_state("tested", *items),
            pressure_tests=(
                PressureTest(
                    what="tapping", test_mbar=test.saddle_mbar, minutes=test.saddle, medium="air or nitrogen"
                ),
            ),
        )


def drill_outlets(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the drilling of every outlet, once each; its coupon is kept."""
    for owner, items in _groups(case):
        yield StepDraft(
            Stage.TAPPINGS,
            f"Drill {_outlets(items)} of {owner}{_where(items)} under pressure, once: {_listed(items)}; "
            f"{_LIVE_PIPE}. Keep every coupon with the number of its outlet; leave the outlet shut.",
            Who.STOPS,
            "Shut the outlet and cap it; where it cannot be used, plan again. Write down a coupon that is "
            "not found as lost, and sign.",
            uses=_ids(case, owner, items),
            minutes=case.rules.duration.drill * len(items),
            needs=in_state("tested", *items),
            changes=in_state("drilled", *items),
        )


def cap_tappings(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the plugging, capping and test of every drilled outlet, used or not."""
    stops = {stop.id: stop for stop in case.stops}
    fallbacks = case.items.fallbacks
    for owner, items in _groups(case):
        stop = stops.get(owner)
        live = None if stop is None else stop.pressure_mbar
        used = ", used or not" if owner in fallbacks else ""
        yield StepDraft(
            Stage.TAPPINGS_SEALED,
            f"Plug and cap every outlet of {owner}{_where(items)}{used}: {_listed(items)}; {_LIVE_PIPE}. "
            f"Test each with leak fluid at operating pressure.{_marks(case, owner)}",
            Who.STOPS,
            "Repair and retest; the hole stays open and manned until it is tight.",
            uses=_ids(case, owner, items),
            hold=True,
            expect_mbar=live,
            expect_at=owner if live is not None else "",
            minutes=case.rules.duration.cap * len(items),
            needs=(*in_state("drilled", *items), *_out_of_use(case, items)),
            changes=in_state("capped", *items),
            pressure_tests=()
            if live is None
            else (
                PressureTest(
                    what="cap",
                    test_mbar=live,
                    minutes=case.rules.pressure_test.saddle,
                    medium="gas, leak fluid",
                ),
            ),
        )


def _out_of_use(case: OrderCase, items: tuple[OrderItem, ...]) -> Iterator[ItemState]:
    """Yield what must be shut or out before its outlet is capped."""
    own = {item.id for item in items}
    for item in case.items.all:
        if item.tapping_id in own and item.kind in ("vent", "valve"):
            yield from in_state("shut", item)
        elif item.tapping_id in own and item.kind == "barrier":
            yield from in_state("out" if item.of in case.items.fallbacks else "withdrawn", item)


def _marks(case: OrderCase, owner: str) -> str:
    squeezed = any(stop.id == owner and stop.kind == "squeeze" for stop in case.stops)
    return " Fit a band over every squeezed place where the procedure wants one." if squeezed else ""


def count_coupons(case: OrderCase) -> Iterator[StepDraft]:
    """Yield the count of coupons, outlets and caps."""
    items = case.items.every("tapping")
    if items:
        yield StepDraft(
            Stage.COUPONS_COUNTED,
            f"Count: {len(items)} outlets drilled, {len(items)} coupons found or signed as lost, "
            f"{len(items)} caps tested or outlets cut out with the old pipe.",
            Who.COMPETENT,
            "Fill no hole before the three counts agree: find the outlet without a cap, or the coupon left "
            "in the main.",
            uses=tuple(item.id for item in items),
            hold=True,
            minutes=case.rules.duration.tally,
            needs=in_state("capped", *items),
        )
