"""An option is said to be proven only where no other can undercut it (own)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netplan.planning.make_plan import make_plan
from tests.support.feed_towns import town_request


@pytest.mark.parametrize("seed", [0, 5])
def test_proven_is_what_the_lower_bound_reaches(seed: int) -> None:
    request = town_request(seed)
    # So few ways are priced that the last option is not proven.
    choice = request.rules.choice.model_copy(update={"max_zones": 2})
    rules = request.rules.model_copy(update={"choice": choice})
    plan = make_plan(replace(request, rules=rules, options=3, weather=False)).plan
    for option in plan.options:
        proof = option.proof
        assert proof.optimal == (proof.lower_bound >= option.burden)
        assert proof.gap == pytest.approx(option.burden - proof.lower_bound, abs=0.011)
        assert proof.reason.startswith("not proven") != proof.optimal
    assert plan.options[0].proof.optimal
    assert not plan.options[-1].proof.optimal
