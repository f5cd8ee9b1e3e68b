"""Simulation of the order: the state of every item before and after every step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

from netplan.planfile.model import (
    ITEM_STATES,
    Change,
    Conditions,
    Option,
    OrderItem,
    Step,
    Stop,
    ZonePart,
)
from netplan.procedure.order_laws.law_breach import LawBreach
from netplan.rules import Rules

__all__ = ["GAS_OFF", "IN_PLACE", "ChangeAt", "Key", "Moment", "OrderWalk", "broken_states", "walk_order"]

Key = tuple[str, str]
"""Kind and id of an item."""
IN_PLACE: Final = frozenset({"set", "accepted"})
"""States of a barrier that stops gas."""
GAS_OFF: Final = frozenset({"off", "sealed", "no access"})
"""States of a meter that is shut."""
ZONE_ROLES: Final = frozenset({"zone", "cut part", "tail"})


class Moment(NamedTuple):
    """A step with the states of all items before and after it."""

    step: Step
    before: Mapping[Key, str]
    after: Mapping[Key, str]

    def was_or_is(self, item: OrderItem, state: str) -> bool:
        """Return whether an item is in a state at some time of the step."""
        key = (item.kind, item.id)
        return state in (self.before.get(key), self.after.get(key))

    def throughout(self, item: OrderItem, state: str) -> bool:
        """Return whether an item is in a state before the step and after it."""
        key = (item.kind, item.id)
        return self.before.get(key) == state == self.after.get(key)


class ChangeAt(NamedTuple):
    """A change, its item, and its place in the list."""

    place: int
    moment: Moment
    change: Change
    item: OrderItem


@dataclass(frozen=True)
class OrderWalk:
    """An option's order, walked through.

    Parameters
    ----------
    option : Option
        With steps, items and states.
    conditions : Conditions
    rules : Rules
    items : mapping of Key to OrderItem
    moments : tuple of Moment
        One for each step, in their order.
    """

    option: Option
    conditions: Conditions
    rules: Rules
    items: Mapping[Key, OrderItem]
    moments: tuple[Moment, ...]

    @cached_property
    def changes(self) -> tuple[ChangeAt, ...]:
        """All changes of known items, in their order."""
        return tuple(
            ChangeAt(place, moment, change, self.items[change.kind, change.id])
            for place, moment in enumerate(self.moments)
            for change in moment.step.changes
            if (change.kind, change.id) in self.items
        )

    def changed(self, kind: str, *to: str, roles: Iterable[str] = ()) -> Iterator[ChangeAt]:
        """Yield the changes of items of a kind to one of some states, all states where none is given."""
        wanted = frozenset(roles)
        for one in self.changes:
            is_meant = one.item.kind == kind and (not to or one.change.to in to)
            if is_meant and (not wanted or one.item.role in wanted):
                yield one

    def of_kind(self, kind: str, *roles: str) -> tuple[OrderItem, ...]:
        """Return the items of a kind, of some roles where they are given."""
        return tuple(
            item for item in self.items.values() if item.kind == kind and (not roles or item.role in roles)
        )

    @cached_property
    def stops(self) -> Mapping[str, Stop]:
        """Stops by id."""
        return {stop.id: stop for stop in self.option.stops}

    @cached_property
    def barriers(self) -> tuple[OrderItem, ...]:
        """Barriers of the stops, those of prepared fallbacks left out."""
        return tuple(item for item in self.of_kind("barrier") if item.of in self.stops)

    def barriers_of(self, stop_id: str) -> tuple[OrderItem, ...]:
        """Return the barriers of a stop."""
        return tuple(item for item in self.barriers if item.of == stop_id)

    @cached_property
    def meters(self) -> tuple[OrderItem, ...]:
        """Meters that go off, those of stranded tails too."""
        return self.of_kind("meter", "off", "tail")

    @cached_property
    def feed_ids(self) -> tuple[str, ...]:
        """Ids of bypasses, hoses and opened valves."""
        opened = tuple(valve.valve_id for valve in self.option.opened_valves)
        return (*(bypass.id for bypass in self.option.bypasses), *opened)

    def feed_item(self, feed: str) -> OrderItem | None:
        """Return the item of a feed; that of an opened valve may have an id of its own."""
        own = self.items.get(("feed", feed))
        return own or next((item for item in self.of_kind("feed") if item.of == feed), None)

    def feed_state(self, states: Mapping[Key, str], feed: str) -> str:
        """Return the state of a feed; empty where the order has none."""
        item = self.feed_item(feed)
        return "" if item is None else states.get((item.kind, item.id), "")

    @cached_property
    def zone_parts(self) -> Mapping[str, ZonePart]:
        """Zones, cut parts and tails by id; spaces between barriers left out."""
        return {part.id: part for part in self.option.parts if part.role in ZONE_ROLES}

    @cached_property
    def first_in(self) -> int:
        """Place of the first step that puts a stop in; the length of the list without one."""
        return next(
            (place for place, moment in enumerate(self.moments) if self._puts_in(moment)), len(self.moments)
        )

    def _puts_in(self, moment: Moment) -> bool:
        return any(
            self.stops_in(moment.after, stop_id) and not self.stops_in(moment.before, stop_id)
            for stop_id in self.stops
        )

    def stops_in(self, states: Mapping[Key, str], stop_id: str) -> bool:
        """Return whether one of the barriers of a stop is in place; a valve shut on trial is none yet."""
        return any(states.get(("barrier", item.id)) in IN_PLACE for item in self.barriers_of(stop_id))

    def on_trial(self, states: Mapping[Key, str]) -> frozenset[str]:
        """Return the stops whose valve is shut though none of their barriers is in place."""
        return frozenset(
            item.of
            for item in self.of_kind("valve", "stop", "station inlet")
            # A valve that is shut on record is not on trial.
            if item.of in self.stops
            and item.first != "shut"
            and states.get(("valve", item.id)) == "shut"
            and not self.stops_in(states, item.of)
        )

    @cached_property
    def first_meter_off(self) -> int:
        """Place of the first step that shuts a meter; the length of the list without one."""
        return next((one.place for one in self.changed("meter", *GAS_OFF)), len(self.moments))

    @cached_property
    def cut(self) -> int:
        """Place of the first step with people in the work trench; the length of the list without one."""
        return next(
            (place for place, moment in enumerate(self.moments) if moment.step.trench == "occupied"),
            len(self.moments),
        )

    @cached_property
    def tied_in(self) -> int:
        """Place of the first test of the tie-in joints; the length of the list without one."""
        return next(
            (
                place
                for place, moment in enumerate(self.moments)
                if any(test.what == "tie-in" for test in moment.step.pressure_tests)
            ),
            len(self.moments),
        )

    @cached_property
    def gas_back(self) -> int:
        """Place of the first step that lets gas back into a zone; the length of the list without one."""
        for place, moment in enumerate(self.moments):
            if place > self.cut and self.lets_gas_in(moment):
                return place
        return len(self.moments)

    def lets_gas_in(self, moment: Moment) -> bool:
        """Return whether a step lets gas into a zone, a cut part or a tail."""
        step = moment.step
        if step.purge is not None and step.purge.medium == "gas" and step.purge.part_id in self.zone_parts:
            return True
        for change in step.changes:
            item = self.items.get((change.kind, change.id))
            if item is None:
                continue
            opens = item.kind == "valve" and item.role == "gas inlet" and change.to == "open"
            fills = item.kind == "part" and item.id in self.zone_parts and change.to in ("gas", "live")
            leaves = item in self.barriers and change.to == "withdrawn"
            if opens or fills or leaves:
                return True
        return False

    def is_tally(self, moment: Moment) -> bool:
        """Return whether a step is a hold at which every meter that goes off is known to be shut."""
        shut = {need.id for need in moment.step.needs if need.kind == "meter" and need.state in GAS_OFF}
        return moment.step.hold and {item.id for item in self.meters} <= shut


def walk_order(option: Option, conditions: Conditions, rules: Rules) -> OrderWalk:
    """Return the order of an option, walked through from the first states of its items."""
    items: dict[Key, OrderItem] = {(item.kind, item.id): item for item in option.items}
    states = {key: item.first for key, item in items.items()}
    moments = []
    for step in option.steps:
        after = states | {(change.kind, change.id): change.to for change in step.changes}
        moments.append(Moment(step, states, after))
        states = after
    return OrderWalk(option, conditions, rules, items, tuple(moments))


def broken_states(walk: OrderWalk) -> Iterator[LawBreach]:
    """Yield what does not follow: unknown items and states, changes and needs that do not hold, last states.

    The precondition of every step of the order: all steps before it hold.
    """
    for moment in walk.moments:
        yield from _broken_step(walk, moment)
    numbers = [moment.step.n for moment in walk.moments]
    if numbers != list(range(1, len(numbers) + 1)) or not numbers:
        yield LawBreach(0, None, (), "the steps are not numbered from 1 without a gap")
    if not walk.moments:
        return
    last = walk.moments[-1].after
    for key, item in walk.items.items():
        if item.last and last[key] != item.last:
            yield LawBreach(
                _law_of_last(item), None, (item.id,), f"{item.kind} ends {last[key]}, not {item.last}"
            )


def _law_of_last(item: OrderItem) -> int:
    return 28 if item.kind == "tapping" else 0


def _broken_step(walk: OrderWalk, moment: Moment) -> Iterator[LawBreach]:
    step = moment.step
    for key, state in (
        *(((need.kind, need.id), need.state) for need in step.needs),
        *(((change.kind, change.id), change.to) for change in step.changes),
    ):
        if key not in walk.items:
            yield LawBreach(0, step.n, (key[1],), f"no item of kind {key[0]} bears this id")
        elif state not in ITEM_STATES[key[0]]:
            yield LawBreach(0, step.n, (key[1],), f"a {key[0]} is never {state}")
    for need in step.needs:
        state = moment.before.get((need.kind, need.id), need.state)
        if state != need.state:
            yield LawBreach(0, step.n, (need.id,), f"{need.kind} is {state} and not {need.state} as needed")
    seen: set[Key] = set()
    for change in step.changes:
        key = (change.kind, change.id)
        state = moment.before.get(key, change.from_)
        if state != change.from_:
            yield LawBreach(0, step.n, (change.id,), f"{change.kind} is {state}, not {change.from_}")
        if key in seen or change.from_ == change.to:
            yield LawBreach(0, step.n, (change.id,), f"{change.kind} changes twice, or to what it is")
        seen.add(key)
    for ident in step.manned:
        if not any(kept == ident for _, kept in walk.items):
            yield LawBreach(0, step.n, (ident,), "manned, but no item bears this id")
