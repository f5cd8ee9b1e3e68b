"""The order written for a small plan: what a crew has to find in it."""

from __future__ import annotations

import pytest

from netplan.planfile.model import Step
from netplan.procedure import DRAFT_NOTICE, Stage, step_list
from netplan.rules import default_rules
from tests.support.plans import hamlet_result


@pytest.fixture(scope="module")
def steps() -> tuple[Step, ...]:
    plan = hamlet_result().plan
    found = step_list(plan.options[0], plan.conditions, default_rules(), work=plan.work)
    assert len(found) >= 40
    return found


def _of(steps: tuple[Step, ...], stage: Stage) -> list[Step]:
    return [step for step in steps if step.stage == stage]


def test_it_says_first_that_it_is_a_draft(steps: tuple[Step, ...]) -> None:
    assert DRAFT_NOTICE in steps[0].does
    assert steps[0].hold
    assert steps[0].who == "competent person"


def test_bags_are_proved_at_a_quarter_for_a_quarter_of_an_hour(steps: tuple[Step, ...]) -> None:
    bag = next(step for step in _of(steps, Stage.BARRIERS_PROVED) if "bags of S1" in step.does)
    assert "25 %" in bag.does
    assert "15 min" in bag.does
    assert "maker's limit governs" in bag.does
    assert bag.minutes == default_rules().duration.prove >= 15.0


def test_new_pipe_is_never_tested_against_stops(steps: tuple[Step, ...]) -> None:
    (test,) = _of(steps, Stage.NEW_PIPE)
    assert "never against bags or squeezes" in test.does


def test_nothing_is_signed_for_the_night_before_gas_comes_back(steps: tuple[Step, ...]) -> None:
    """What if the day runs out stands on the loss sheet."""
    assert not any("overnight" in step.does for step in steps)


def test_a_stop_that_will_not_set_names_its_fallback_and_standby(steps: tuple[Step, ...]) -> None:
    first, _, second, _ = _of(steps, Stage.STOP_IN)
    words = (
        "fallback squeeze-off on main M-H1, 40 min; not prepared: add the time for digging and tapping; "
        "turn off 3 customers"
    )
    assert f"{words} on standby" in first.if_not
    assert "no fallback is planned" in second.if_not
    (work,) = _of(steps, Stage.WORK)
    assert "15 min" in work.if_not


def test_a_valve_is_proved_closed_locked_and_opened_again() -> None:
    plan = hamlet_result().plan
    steps = step_list(plan.options[1], plan.conditions, default_rules(), work=plan.work)
    words = [step.does for step in steps if "V-1" in step.does]
    assert any("lock and tag" in text and "close" in text for text in words)
    assert any("open valve V-1 slowly and fully" in text for text in words)
    signed = _of(steps, Stage.EXCEPTION)
    assert signed
    assert all("only barrier" in step.does and step.hold for step in signed)


def test_words_carry_no_pressure_so_that_units_can_be_chosen(steps: tuple[Step, ...]) -> None:
    for step in steps:
        assert "mbar" not in step.does + step.if_not
        assert "m³" not in step.does + step.if_not


def test_hydrogen_rich_gas_comes_back_behind_inert_gas() -> None:
    plan = hamlet_result().plan
    option = plan.options[0]
    inert = option.purge.model_copy(update={"medium": "inert gas only, out and back in"})
    steps = step_list(
        option.model_copy(update={"purge": inert}), plan.conditions, default_rules(), work=plan.work
    )
    (back,), (out,) = _of(steps, Stage.PURGE_IN), _of(steps, Stage.PURGE_OUT)
    assert "inert gas first and then gas" in back.does
    assert "with inert gas" in out.does
    assert "air mover" not in out.does


def test_words_have_no_holes_left_in_them(steps: tuple[Step, ...]) -> None:
    for step in steps:
        assert "{" not in step.does + step.if_not
        assert "  " not in step.does + step.if_not
        assert not step.does.endswith(" ")
