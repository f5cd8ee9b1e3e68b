"""Orders of random options: those laws hold that need no solved state, no parts of a zone and no times."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings

from netplan.planfile import model as pm
from netplan.procedure import step_list, with_order_items
from netplan.procedure.order_laws import law_breaches
from netplan.rules import default_rules
from tests.support.random_plans import conditions, options

WORK = (pm.WorkItem(main_id="M-1", from_m=1.0, to_m=9.0),)
BY_STEPS_ALONE = frozenset({0, 1, 3, 6, 12, 13, 14, 16, 18, 21, 22, 24, 25, 26, 28, 29, 31})


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(options())
def test_the_order_of_a_random_option_keeps_the_laws_of_its_steps(option: pm.Option) -> None:
    rules = default_rules()
    complete = with_order_items(option)
    steps = step_list(complete, conditions(), rules, work=WORK)
    assert len(steps) > 0
    found = law_breaches(complete.model_copy(update={"steps": steps}), conditions(), rules)
    assert [one.words() for one in found if one.law in BY_STEPS_ALONE] == []
