"""Laws of the order: lawful lists break none, and a list changed to break one is found, by its number.

Both on a small order written by hand, and on the order of the sample town's plan as the program makes it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache

import pytest

from netplan.cli.sample import DEMO_WORK
from netplan.network.work_section import WorkPart
from netplan.planfile import model as pm
from netplan.planning.make_plan import make_plan
from netplan.procedure.order_laws import ORDER_LAWS, LawBreach, law_breaches
from netplan.rules import default_rules
from tests.support import order_edits as order
from tests.support.broken_orders_from_the_cut import BROKEN_FROM_THE_CUT
from tests.support.broken_orders_to_the_cut import BROKEN_TO_THE_CUT
from tests.support.order_example import conditions, lawful_option
from tests.support.sample_plan import sample_request

Broken = Callable[[pm.Option], pm.Option]
BROKEN: tuple[tuple[int, Broken], ...] = (*BROKEN_TO_THE_CUT, *BROKEN_FROM_THE_CUT)
NAMES = [f"{law}{change.__name__}" for law, change in BROKEN]
RULES = default_rules()


@dataclass(frozen=True)
class Lawful:
    """An option with a lawful order, and the window it is for."""

    option: pm.Option
    conditions: pm.Conditions

    def breaches(self, change: Broken = lambda option: option) -> tuple[LawBreach, ...]:
        """Return what the order breaks once it is changed."""
        return law_breaches(change(self.option), self.conditions, RULES)


@cache
def by_hand() -> Lawful:
    return Lawful(lawful_option(), conditions())


@cache
def by_program() -> Lawful:
    request = sample_request(WorkPart(*DEMO_WORK), "2026-05-04T08:00", 9.0)
    plan = make_plan(request).plan
    assert plan.conditions.start is not None
    assert datetime.fromisoformat(plan.conditions.start).hour == 8
    return Lawful(plan.options[0], plan.conditions)


BOTH = pytest.mark.parametrize("made", [by_hand, by_program], ids=["by-hand", "by-program"])


@BOTH
def test_a_lawful_order_breaks_no_law(made: Callable[[], Lawful]) -> None:
    lawful = made()
    assert len(lawful.option.steps) > 0
    assert [one.words() for one in lawful.breaches()] == []


@BOTH
@pytest.mark.parametrize(("law", "change"), BROKEN, ids=NAMES)
def test_an_order_changed_to_break_a_law_is_found(
    made: Callable[[], Lawful], law: int, change: Broken
) -> None:
    found = made().breaches(change)
    assert law in {one.law for one in found}, [one.words() for one in found]


def test_each_of_the_33_laws_is_broken_by_some_change() -> None:
    assert {law for law, _ in BROKEN} == set(range(1, 34))
    assert [law.number for law in ORDER_LAWS] == list(range(34))
    assert all(law.sentence for law in ORDER_LAWS)


@BOTH
def test_no_step_that_changes_something_can_be_left_out(made: Callable[[], Lawful]) -> None:
    lawful = made()
    spared = [
        step.does
        for place, step in enumerate(lawful.option.steps)
        if step.changes and not law_breaches(order.without(lawful.option, place), lawful.conditions, RULES)
    ]
    assert spared == []


def test_a_change_from_a_state_the_item_is_not_in_is_found() -> None:
    option = lawful_option()
    steps = list(option.steps)
    del steps[order.place_of(option, "barrier", "S1-inner", "set")]
    numbered = tuple(step.model_copy(update={"n": n}) for n, step in enumerate(steps, 1))
    found = law_breaches(order.altered(option, steps=numbered), conditions(), RULES)
    assert any(one.law == 0 and "S1-inner" in one.item_ids for one in found)


def test_an_option_without_steps_keeps_no_law() -> None:
    found = law_breaches(order.altered(lawful_option(), steps=()), conditions(), RULES)
    assert 0 in {one.law for one in found}


def test_a_breach_says_law_step_and_item_in_one_line() -> None:
    option = order.without(lawful_option(), order.tallies(lawful_option())[1])
    found = law_breaches(option, conditions(), RULES)
    words = [one.words() for one in found if one.law == 24]
    assert words == ["law 24 at step 65: gas goes back before the second tally"]
