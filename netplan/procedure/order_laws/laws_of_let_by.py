"""Laws 11 to 14: let-by tests show one barrier, with an instrument fine enough, before air goes in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import LetByTest, OrderItem
from netplan.procedure.order_laws.item_states import IN_PLACE, Moment, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["one_barrier_or_sum", "resetting_voids_test", "resolution_is_a_fifth", "tested_before_air"]

ROLE_TESTED: Final = {"T1": "outer", "T2": "inner", "T3": "single"}
ZONE_VENTS: Final = ("zone", "purge", "part")
FINEST_SHARE: Final = 0.2
"""Greatest share of a limit that a meter's resolution may be."""
ROUNDING_L_MIN: Final = 1e-3
"""What writing flows may cost (own) [l/min]."""


def one_barrier_or_sum(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 11: the difference of a let-by test lies across one barrier, or it says which sum it shows."""
    for moment in walk.moments:
        test = moment.step.let_by
        if test is not None and test.name != "T0":
            for what in _not_shown(walk, moment, test):
                yield LawBreach(11, moment.step.n, test.barriers, f"{test.name}: {what}")


def _not_shown(walk: OrderWalk, moment: Moment, test: LetByTest) -> Iterator[str]:
    barriers = [_barrier(walk, ident) for ident in test.barriers]
    known = [item for item in barriers if item is not None]
    if not barriers or len(known) < len(barriers):
        yield "it names no barrier of the plan"
        return
    if len(barriers) > 1 and not test.is_sum:
        yield "several barriers, and no sum is declared"
    has_gas = any(walk.stops[item.of].pressure_mbar for item in known if item.of in walk.stops)
    if has_gas and (test.across_mbar is None or test.across_mbar <= 0.0):
        yield "no difference stands across the barrier"
    if any(not _is_in(moment, item) for item in known):
        yield "a barrier that is not set"
    # A single barrier has gas behind it in every test at the zone's vent: it is part of the sum.
    others = [item for item in known[1:] if not (test.is_sum and item.role == "single")]
    wanted = ROLE_TESTED[test.name]
    if known[0].role != wanted or any(item.role != wanted for item in others):
        yield f"it tests a barrier that is {wanted}, but another is named"
    if test.name == "T1" and len(known) > 1:
        yield "the meter on one vent shows one outer barrier"
    vent = walk.items.get(("vent", test.meter_at))
    if vent is None or not moment.was_or_is(vent, "open"):
        yield "its meter stands on no open vent"
    elif test.name == "T1" and vent.of != known[0].of:
        yield "its meter stands on the vent of another stop"
    elif test.name != "T1" and vent.role not in ZONE_VENTS:
        yield "its meter does not stand on a vent of the zone"
    yield from _sides(walk, moment, test, known[0])
    yield from _shown_as_well(walk, test, known[0])


def _stops_beside(walk: OrderWalk, stop_id: str) -> frozenset[str]:
    """Return the stops of the zones that a stop is at the end of."""
    zones = [part for part in walk.option.parts if part.role == "zone" and stop_id in part.stops]
    return frozenset(other for part in zones for other in part.stops)


def _shown_as_well(walk: OrderWalk, test: LetByTest, barrier: OrderItem) -> Iterator[str]:
    """Yield single barriers of the zone that a meter on its vent shows as well, unless they are declared."""
    if test.name == "T1":
        return
    beside = _stops_beside(walk, barrier.of)
    single = {item.id for item in walk.barriers if item.role == "single" and item.of in beside}
    missing = sorted(single - set(test.barriers))
    if missing:
        yield f"its meter shows {', '.join(missing)} as well"


def _barrier(walk: OrderWalk, ident: str) -> OrderItem | None:
    return walk.items.get(("barrier", ident))


def _is_in(moment: Moment, item: OrderItem) -> bool:
    return any(moment.was_or_is(item, state) for state in IN_PLACE)


def _sides(walk: OrderWalk, moment: Moment, test: LetByTest, barrier: OrderItem) -> Iterator[str]:
    """Yield where another barrier is loaded as well: a zone not vented, a space shut, a hose on."""
    zone_open = any(moment.was_or_is(item, "open") for item in walk.of_kind("vent", *ZONE_VENTS))
    if not zone_open:
        yield "no vent of the zone is open"
    if test.zone_mbar is not None and test.zone_mbar > 0.0:
        yield "the zone is not at nothing"
    hoses = [item for item in walk.of_kind("valve", "test hose") if moment.was_or_is(item, "open")]
    own = [item for item in hoses if item.of == barrier.of]
    if test.name == "T2" and not own:
        yield "no hose holds the space of the barrier at live pressure"
    if len(hoses) > len(own) or (own and test.name != "T2"):
        yield "a hose loads another barrier"
    beside = _stops_beside(walk, barrier.of)
    shut = [
        item
        for item in walk.of_kind("vent", "between")
        if item.of in beside
        and item.of != barrier.of
        and _stands(walk, moment, item.of)
        and not moment.was_or_is(item, "open")
    ]
    if shut:
        yield f"the space at {shut[0].id} is not open"


def _stands(walk: OrderWalk, moment: Moment, stop_id: str) -> bool:
    return any(_is_in(moment, item) for item in walk.barriers_of(stop_id))


def resolution_is_a_fifth(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 12: a meter shows at least a fifth of its limit, and the limit is never above that of the rules."""
    rules = walk.rules.let_by
    most = {"T1": rules.outer_l_min, "T2": rules.inner_l_min, "T3": rules.single_l_min}
    for moment in walk.moments:
        test = moment.step.let_by
        if test is None or test.name == "T0":
            continue
        limit, resolution = test.limit_l_min, test.resolution_l_min
        if limit is None or resolution is None:
            yield LawBreach(12, moment.step.n, test.barriers, f"{test.name}: no limit, or no resolution")
            continue
        if resolution > FINEST_SHARE * limit + ROUNDING_L_MIN:
            what = f"{test.name}: {resolution:g} l/min is coarser than a fifth of {limit:g} l/min"
            yield LawBreach(12, moment.step.n, test.barriers, what)
        if limit > most[test.name] + ROUNDING_L_MIN:
            what = f"{test.name}: limit {limit:g} l/min is above {most[test.name]:g} l/min of the rules"
            yield LawBreach(12, moment.step.n, test.barriers, what)


def resetting_voids_test(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 13: a barrier counts as accepted only by a let-by test since it was last set."""
    tested: set[str] = set()
    for moment in walk.moments:
        step = moment.step
        if step.let_by is not None and step.let_by.name != "T0":
            tested.update(step.let_by.barriers)
        for change in step.changes:
            if change.kind != "barrier":
                continue
            if change.to == "set":
                tested.discard(change.id)
            if change.to == "accepted" and change.id not in tested:
                yield LawBreach(13, step.n, (change.id,), "accepted, but not tested since it was set")


def tested_before_air(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 14: no air into a zone before every barrier is tested and accepted and every test hose is off."""
    tested: set[str] = set()
    # Inert gas ahead of the gas, after the tie-in, may come once a station is back behind its valve.
    for moment in walk.moments[: walk.tied_in]:
        step = moment.step
        if step.let_by is not None and step.let_by.name != "T0":
            tested.update(step.let_by.barriers)
        if not _lets_air_in(walk, moment):
            continue
        bad = [
            item.id
            for item in walk.barriers
            if moment.before[("barrier", item.id)] != "accepted" or item.id not in tested
        ]
        if bad:
            yield LawBreach(14, step.n, tuple(bad), "air goes in before these barriers are tested, accepted")
        hoses = tuple(
            item.id
            for item in walk.of_kind("valve", "test hose")
            if moment.before[("valve", item.id)] == "open" or moment.after[("valve", item.id)] == "open"
        )
        if hoses:
            yield LawBreach(14, step.n, hoses, "air goes in while a test hose passes a barrier")


def _lets_air_in(walk: OrderWalk, moment: Moment) -> bool:
    purge = moment.step.purge
    if purge is not None and purge.medium != "gas" and purge.part_id in walk.zone_parts:
        return True
    return any(
        change.kind == "part" and change.id in walk.zone_parts and change.to in ("air", "gas-free")
        for change in moment.step.changes
    ) or any(
        change.kind == "valve"
        and change.to == "open"
        and (item := walk.items.get((change.kind, change.id))) is not None
        and item.role == "air inlet"
        for change in moment.step.changes
    )
