"""Laws 10, 15 and 17 to 21: parts with a pressure of their own, gas-free, vented, purged end by end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import OrderItem, PurgePath
from netplan.procedure.order_laws.item_states import GAS_OFF, Moment, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = [
    "cut_parts_vented",
    "every_end_purged",
    "gas_free_before_entry",
    "never_through_meters",
    "one_inlet_one_outlet",
    "parts_until_cut",
    "trench_empty_with_gas",
]

FREE: Final = frozenset({"gas-free", "air"})
"""States of a part that people may work beside."""
ZONE_VENTS: Final = ("zone", "purge", "part")
ZONE_TAPPINGS: Final = frozenset({"zone_vent", "purge"})
"""Roles of tappings on the zone's side of a stop."""


def parts_until_cut(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 10: a zone has one pressure until the cut, then each of its parts has its own."""
    roles = {part.id: part.role for part in walk.option.parts}
    for item in walk.of_kind("part"):
        if item.id not in roles:
            yield LawBreach(10, None, (item.id,), "a part without its mains, vents and volume")
    cut_parts = {ident for ident, role in roles.items() if role == "cut part"}
    changed = {one.item.id for one in walk.changed("part") if one.item.id in cut_parts}
    zones = {part.zone: part.id for part in walk.option.parts if part.role == "zone"}
    zone_of = {part.id: zones.get(part.zone, "") for part in walk.option.parts if part.role == "cut part"}
    for place, moment in enumerate(walk.moments):
        early = tuple(
            c.id
            for c in moment.step.changes
            if c.kind == "part" and c.id in cut_parts and c.to != moment.after.get(("part", zone_of[c.id]))
        )
        if early and place < walk.cut:
            yield LawBreach(10, moment.step.n, early, "a part has a state of its own before the cut")
        yield from _one_zone_pressure(walk, moment)
    if walk.cut < len(walk.moments):
        still = tuple(sorted(cut_parts - changed))
        if still:
            n = walk.moments[walk.cut].step.n
            yield LawBreach(10, n, still, "after the cut a part has no state of its own")


def _one_zone_pressure(walk: OrderWalk, moment: Moment) -> Iterator[LawBreach]:
    test = moment.step.let_by
    if test is None or test.zone_mbar is None:
        return
    zones = [part for part in walk.option.parts if part.role == "zone"]
    stops = {item.of for ident in test.barriers if (item := _barrier(walk, ident)) is not None}
    for zone in zones:
        if stops and not stops & set(zone.stops):
            continue
        key = ("part", zone.id)
        states = {moment.before.get(key), moment.after.get(key)}
        expected = "live" if test.zone_mbar > 0.0 else "vented"
        if expected not in states:
            what = f"the test takes the zone to be {expected}, it is {moment.before.get(key)}"
            yield LawBreach(10, moment.step.n, (zone.id,), what)


def _barrier(walk: OrderWalk, ident: str) -> OrderItem | None:
    return walk.items.get(("barrier", ident)) or walk.items.get(("valve", ident))


def gas_free_before_entry(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 15: nobody enters the work trench before a hold has proved the zone gas-free."""
    proved: set[str] = set()
    zones = [part.id for part in walk.option.parts if part.role == "zone"]
    for moment in walk.moments:
        step = moment.step
        for change in step.changes:
            if change.kind != "part" or change.id not in walk.zone_parts:
                continue
            if change.to == "gas-free" and step.hold:
                proved.add(change.id)
            elif change.to not in FREE:
                proved.discard(change.id)
        if step.trench == "occupied" and not _gas_back(walk, moment):
            missing = tuple(ident for ident in zones if ident not in proved)
            if missing:
                yield LawBreach(15, step.n, missing, "people in the trench, the part not proved gas-free")
    if walk.cut < len(walk.moments) and not zones:
        yield LawBreach(15, walk.moments[walk.cut].step.n, (), "no zone is named that is proved gas-free")


def _gas_back(walk: OrderWalk, moment: Moment) -> bool:
    return moment.step.n > walk.moments[min(walk.gas_back, len(walk.moments) - 1)].step.n


def cut_parts_vented(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 17: while people work at the cut main every part of it keeps an open vent."""
    parts = [part for part in walk.option.parts if part.role == "cut part"]
    for moment in walk.moments[walk.cut : walk.tied_in]:
        if moment.step.trench != "occupied":
            continue
        shut = tuple(
            part.id
            for part in parts
            if not any(
                item.tapping_id in part.vents and moment.before[("vent", item.id)] == "open"
                for item in walk.of_kind("vent")
            )
        )
        if shut:
            yield LawBreach(17, moment.step.n, shut, "the main is cut, and this part has no open vent")
    if walk.cut < len(walk.moments) and not parts:
        yield LawBreach(17, walk.moments[walk.cut].step.n, (), "the plan does not say what the cut parts")


def trench_empty_with_gas(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 18: while gas can come in, the trench is empty; the leak test of joints is excepted."""
    inlets = walk.of_kind("valve", "gas inlet", "test hose")
    for moment in walk.moments:
        step = moment.step
        opened = tuple(item.id for item in inlets if moment.was_or_is(item, "open"))
        if opened and step.trench == "occupied" and not step.pressure_tests:
            yield LawBreach(18, step.n, opened, "gas can come in while people are in the trench")
        opening = tuple(
            item.id for item in inlets if item.id in opened and moment.before[("valve", item.id)] != "open"
        )
        if opening and step.trench != "empty":
            yield LawBreach(18, step.n, opening, "opened without the trench being empty")
        purge = step.purge
        if purge and purge.medium == "gas" and purge.part_id in walk.zone_parts and step.trench != "empty":
            yield LawBreach(18, step.n, (purge.part_id,), "gas goes in without the trench being empty")


def one_inlet_one_outlet(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 19: a purge has one inlet and one outlet, distinct, tapped, on the zone's side."""
    for moment in walk.moments:
        purge = moment.step.purge
        if purge is not None:
            for ids, what in _faults_of_path(walk, moment, purge):
                yield LawBreach(19, moment.step.n, ids, what)


def _faults_of_path(
    walk: OrderWalk, moment: Moment, purge: PurgePath
) -> Iterator[tuple[tuple[str, ...], str]]:
    if not purge.inlet or not purge.outlet or purge.inlet == purge.outlet:
        yield (purge.inlet, purge.outlet), "inlet and outlet are not two places"
        return
    for ident in (purge.inlet, purge.outlet):
        item = _opening(walk, ident)
        if item is None and _is_barrier_of_space(walk, ident, purge):
            continue
        if item is None:
            yield (ident,), "no vent, valve or tapping of the plan"
            continue
        tapping = item if item.kind == "tapping" else walk.items.get(("tapping", item.tapping_id))
        if purge.part_id not in walk.zone_parts:
            continue
        if tapping is None:
            yield (ident,), "no tapping"
        elif moment.before[("tapping", tapping.id)] != "drilled":
            yield (ident, tapping.id), "its tapping is not drilled"
        elif tapping.role not in ZONE_TAPPINGS:
            yield (ident, tapping.id), "not on the zone's side of the stop"
    if purge.part_id in walk.zone_parts:
        yield from _other_outlets(walk, moment, purge)


def _is_barrier_of_space(walk: OrderWalk, ident: str, purge: PurgePath) -> bool:
    """Return whether a space between barriers is purged by way of one of its own barriers, let go a crack."""
    space, barrier = walk.items.get(("part", purge.part_id)), walk.items.get(("barrier", ident))
    return space is not None and barrier is not None and space.role == "space" and space.of == barrier.of


def _opening(walk: OrderWalk, ident: str) -> OrderItem | None:
    for kind in ("vent", "valve", "tapping"):
        item = walk.items.get((kind, ident))
        if item is not None:
            return item
    return None


def _other_outlets(
    walk: OrderWalk, moment: Moment, purge: PurgePath
) -> Iterator[tuple[tuple[str, ...], str]]:
    own = {
        item.tapping_id or item.id
        for ident in (purge.inlet, purge.outlet)
        if (item := _opening(walk, ident)) is not None
    }
    tappings = set(walk.zone_parts[purge.part_id].vents)
    others = tuple(
        item.id
        for item in walk.of_kind("vent", *ZONE_VENTS)
        if item.tapping_id in tappings and item.tapping_id not in own and moment.throughout(item, "open")
    )
    if others:
        yield others, "another outlet of the part stays open"
    outlet = _opening(walk, purge.outlet)
    if outlet is not None and outlet.kind == "vent" and not moment.was_or_is(outlet, "open"):
        yield (purge.outlet,), "the outlet is shut"


def every_end_purged(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 20: every end of every branch is purged, out and in."""
    out: set[str] = set()
    back: set[str] = set()
    for place, moment in enumerate(walk.moments):
        purge = moment.step.purge
        if purge is None or purge.part_id not in walk.zone_parts:
            continue
        (out if place < walk.cut and purge.medium != "gas" else back).add(purge.outlet)
    ends = [point.id for point in walk.option.purge.points if point.role == "vent"]
    for name, purged in (("out", out), ("in", back)):
        missing = tuple(ident for ident in ends if ident not in purged)
        if missing:
            yield LawBreach(20, None, missing, f"no purge {name} goes to this end")
        if not purged and not ends and walk.moments:
            yield LawBreach(20, None, (), f"nothing is purged {name}")
    points = {point.id for point in walk.option.purge.points}
    dead = tuple(
        end.main_id
        for part in walk.option.parts
        if part.role == "zone"
        for end in part.ends
        if end.purge_point not in points
    )
    if dead:
        yield LawBreach(20, None, dead, "an end that has to be purged has no purge point")


def never_through_meters(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 21: nothing is purged through a service or meter, and meters stay shut while it is."""
    for moment in walk.moments:
        purge = moment.step.purge
        if purge is None or purge.part_id not in walk.zone_parts:
            continue
        through = tuple(
            ident
            for ident in (purge.inlet, purge.outlet)
            if ("meter", ident) in walk.items and _opening(walk, ident) is None
        )
        if through:
            yield LawBreach(21, moment.step.n, through, "purged through a meter")
        on = tuple(item.id for item in walk.meters if moment.before[("meter", item.id)] not in GAS_OFF)
        if on:
            yield LawBreach(21, moment.step.n, on, "purged while these meters are not shut")
