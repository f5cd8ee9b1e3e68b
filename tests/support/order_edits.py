"""Orders of the work, changed: a step moved, left out or written otherwise, with numbers and times that follow."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from netplan.planfile import model as pm
from netplan.planfile.naming import NORMAL_STATE, stop_in_state

__all__ = [
    "altered",
    "baseline",
    "changed_test",
    "changes",
    "cut_part",
    "doubles",
    "edited",
    "edited_pressure_test",
    "edited_purge",
    "edited_test",
    "first",
    "item_change",
    "last_in",
    "let_by",
    "longer",
    "moved",
    "occupied",
    "off",
    "outlets",
    "place_of",
    "purge_to",
    "renumbered",
    "set_order",
    "single",
    "state_with",
    "tallies",
    "tapping_change",
    "times",
    "with_change",
    "with_test",
    "without",
    "without_change",
    "zone",
]


def altered(option: pm.Option, **update: Any) -> pm.Option:
    """Return the option with other values."""
    return option.model_copy(update=update)


def times(option: pm.Option) -> pm.Timeline:
    """Return the times of an option that has them."""
    assert option.timeline is not None
    return option.timeline


def renumbered(option: pm.Option, steps: Iterable[pm.Step]) -> pm.Option:
    """Return the option with another list: numbers, times and `from` of changes follow it."""
    now = {(item.kind, item.id): item.first for item in option.items}
    old = {bar.n: bar for bar in times(option).bars}
    found = []
    for n, step in enumerate(steps, 1):
        made = []
        for change in step.changes:
            key = (change.kind, change.id)
            made.append(change.model_copy(update={"from_": now.get(key, change.from_)}))
            now[key] = change.to
        found.append(step.model_copy(update={"n": n, "changes": tuple(made)}))
    bars = tuple(old[n].model_copy(update={"n": n}) for n in range(1, len(found) + 1) if n in old)
    return altered(option, steps=tuple(found), timeline=times(option).model_copy(update={"bars": bars}))


def longer(option: pm.Option, count: int) -> pm.Option:
    """Return the option with times for some steps more."""
    bars = times(option).bars
    last = bars[-1]
    more = tuple(last.model_copy(update={"n": last.n + k}) for k in range(1, count + 1))
    return altered(option, timeline=times(option).model_copy(update={"bars": (*bars, *more)}))


def moved(option: pm.Option, place: int, to: int) -> pm.Option:
    """Return the option with one step at another place of the list."""
    steps = list(option.steps)
    steps.insert(to, steps.pop(place))
    return renumbered(option, steps)


def without(option: pm.Option, place: int) -> pm.Option:
    """Return the option without a step."""
    return renumbered(option, [step for k, step in enumerate(option.steps) if k != place])


def edited(option: pm.Option, place: int, **update: Any) -> pm.Option:
    """Return the option with other values in one step."""
    steps = list(option.steps)
    steps[place] = steps[place].model_copy(update=update)
    return renumbered(option, steps)


def without_change(option: pm.Option, place: int, kind: str, ident: str) -> pm.Option:
    """Return the option with a step that leaves one item as it is."""
    kept = tuple(c for c in option.steps[place].changes if (c.kind, c.id) != (kind, ident))
    return edited(option, place, changes=kept)


def with_change(option: pm.Option, place: int, kind: str, ident: str, to: str) -> pm.Option:
    """Return the option with a step that changes one item more."""
    change = pm.Change.model_validate({"kind": kind, "id": ident, "from": "", "to": to})
    return edited(option, place, changes=(*option.steps[place].changes, change))


def first(option: pm.Option, holds: Callable[[pm.Step], bool]) -> int:
    """Return the place of the first step of which something holds."""
    return next(k for k, step in enumerate(option.steps) if holds(step))


def changes(step: pm.Step, kind: str, ident: str, to: str) -> bool:
    """Return whether a step takes an item to a state."""
    return any((c.kind, c.id, c.to) == (kind, ident, to) for c in step.changes)


def place_of(option: pm.Option, kind: str, ident: str, to: str) -> int:
    """Return the place of the step that takes an item to a state."""
    return first(option, lambda step: changes(step, kind, ident, to))


def item_change(option: pm.Option, kind: str, role: str, to: str) -> tuple[int, str]:
    """Return the first step that takes an item of a role to a state, and the item's id."""
    of_role = {item.id for item in option.items if (item.kind, item.role) == (kind, role)}
    return next(
        (place, c.id)
        for place, step in enumerate(option.steps)
        for c in step.changes
        if c.kind == kind and c.to == to and c.id in of_role
    )


def tapping_change(option: pm.Option, to: str) -> int:
    """Return the place of the first step that takes a tapping to a state."""
    return first(option, lambda step: any(c.kind == "tapping" and c.to == to for c in step.changes))


def let_by(option: pm.Option, name: str) -> int:
    """Return the place of the first let-by test of a name."""
    return first(option, lambda step: step.let_by is not None and step.let_by.name == name)


def changed_test(option: pm.Option, name: str) -> pm.LetByTest:
    """Return the first let-by test of a name."""
    test = option.steps[let_by(option, name)].let_by
    assert test is not None
    return test


def edited_test(option: pm.Option, name: str, **update: Any) -> pm.Option:
    """Return the option with other values in the first let-by test of a name."""
    test = changed_test(option, name).model_copy(update=update)
    return edited(option, let_by(option, name), let_by=test)


def purge_to(option: pm.Option, outlet: str, medium: str) -> int:
    """Return the place of the first purge of a zone to an outlet with a medium."""
    return first(
        option,
        lambda step: (
            step.purge is not None
            and (step.purge.outlet, step.purge.medium) == (outlet, medium)
            and step.purge.part_id == zone(option)
        ),
    )


def edited_purge(option: pm.Option, medium: str, **update: Any) -> pm.Option:
    """Return the option with other values in the first purge of the zone with a medium."""
    place = purge_to(option, outlets(option)[0], medium)
    path = option.steps[place].purge
    assert path is not None
    return edited(option, place, purge=path.model_copy(update=update))


def with_test(option: pm.Option, what: str) -> int:
    """Return the place of the first pressure test of a kind."""
    return first(option, lambda step: any(test.what == what for test in step.pressure_tests))


def edited_pressure_test(option: pm.Option, what: str, **update: Any) -> pm.Option:
    """Return the option with other values in the first pressure test of a kind."""
    place = with_test(option, what)
    tests = tuple(test.model_copy(update=update) for test in option.steps[place].pressure_tests)
    return edited(option, place, pressure_tests=tests)


def state_with(option: pm.Option, name: str, **update: Any) -> pm.Option:
    """Return the option with other values in one state of the network."""
    states = tuple(
        state.model_copy(update=update) if state.after_step == name else state for state in option.states
    )
    return altered(option, states=states)


def off(option: pm.Option) -> list[str]:
    """Return who is off."""
    return [customer.id for customer in option.customers if customer.effect == "off"]


def tallies(option: pm.Option) -> list[int]:
    """Return the holds that count every meter that is off."""
    wanted = set(off(option))
    return [
        k
        for k, step in enumerate(option.steps)
        if step.hold and {n.id for n in step.needs if n.kind == "meter" and n.state == "sealed"} == wanted
    ]


def baseline(option: pm.Option) -> int:
    """Return the place of the baseline."""
    return first(option, lambda step: step.hold and step.state == NORMAL_STATE)


def occupied(option: pm.Option) -> int:
    """Return the place of the first step with people in the work trench."""
    return first(option, lambda step: step.trench == "occupied")


def set_order(option: pm.Option) -> list[str]:
    """Return the barriers in the order in which they are set."""
    return [c.id for s in option.steps for c in s.changes if (c.kind, c.to) == ("barrier", "set")]


def doubles(option: pm.Option) -> list[str]:
    """Return the stops with two barriers in the order in which they are set."""
    return [one.removesuffix("-inner") for one in set_order(option) if one.endswith("-inner")]


def single(option: pm.Option) -> str:
    """Return the first single barrier."""
    return next(one for one in set_order(option) if one.endswith("-single"))


def last_in(option: pm.Option) -> str:
    """Return the state with all stops in."""
    return stop_in_state(set_order(option)[-1].split("-")[0])


def zone(option: pm.Option) -> str:
    """Return the first zone."""
    return next(part.id for part in option.parts if part.role == "zone")


def cut_part(option: pm.Option) -> pm.ZonePart:
    """Return the cut part with the fewest vents."""
    return min((part for part in option.parts if part.role == "cut part"), key=lambda part: len(part.vents))


def outlets(option: pm.Option) -> list[str]:
    """Return the purge points that let out."""
    return [point.id for point in option.purge.points if point.role == "vent"]
