"""States after gas is back in: stops taken out and feeds shut are solved, listed and must hold (own)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
from netplan.feeds import Inlets
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.network.work_section import WorkPart
from netplan.planfile import model
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.planning.work_states import FeedLinks, WorkStates, work_states
from netplan.readers import read_network
from netplan.reference.gas import named_gas
from netplan.rules import read_rules
from tests.own.test_plan_constraints import ranking


@lru_cache(maxsize=1)
def option() -> model.Option:
    request = PlanRequest(
        read_network(sample_network()), (WorkPart("M0142", 158.0, 162.0),), read_rules(), weather=False
    )
    return make_plan(request).plan.options[0]


def test_every_state_is_listed_in_the_order_of_the_work() -> None:
    names = [state.after_step for state in option().states]
    assert names[:3] == ["normal running", "B1 open", "meters off"]
    going_in = [name.removesuffix(" in") for name in names[3:6]]
    assert sorted(going_in) == ["S1", "S2", "S3"]
    assert names[6].startswith("purge in at ")
    assert names[7:10] == [f"{stop} out" for stop in reversed(going_in)]
    assert names[10:] == ["B1 shut", "relighting, all together"]


def test_a_stop_taken_out_leaves_what_was_there_before_it_was_set() -> None:
    least = {state.after_step: (state.least_mbar, state.at) for state in option().states}
    names = list(least)
    for stop in ("S1", "S2", "S3"):
        assert least[f"{stop} out"] == least[names[names.index(f"{stop} in") - 1]]
    # All stops out, the bypass shut, meters off: as with meters off and the bypass open, which carries little.
    assert least["B1 shut"][0] == pytest.approx(least["meters off"][0], abs=0.05)


def test_the_difference_across_a_stop_is_solved_for_its_withdrawal() -> None:
    # Gas went in at S1, which has its live side's pressure behind it; then gas comes past S1 to the others.
    across = {stop.id: stop.withdraw_mbar for stop in option().stops}
    live = {stop.id: stop.pressure_mbar for stop in option().stops}
    assert across["S1"] == 0.0
    assert live["S1"] is not None
    assert live["S2"] is not None
    assert across["S2"] == pytest.approx(live["S1"] - live["S2"], abs=0.01)
    # With S2 out gas flows through the main again, so that little stands across the last one.
    assert across["S3"] is not None
    assert 0.3 < across["S3"] < 1.5


# --- a state that does not hold --------------------------------------------------------------------------


def _street(required_pa_gauge: float) -> WorkStates:
    """Solve a meter behind 400 m of thin main with a wide hose beside it: one stop, one feed."""
    links = FlowLinks(
        from_node=np.array([0, 1, 0]),
        to_node=np.array([1, 2, 2]),
        length_m=np.array([200.0, 200.0, 100.0]),
        bore_m=np.array([0.03, 0.03, 0.1]),
        roughness_m=np.full(3, 1e-5),
        loss_coefficient=np.zeros(3),
    )
    network = FlowNetwork(3, links, np.array([0]), np.array([3000.0]))
    solver = FlowSolver(network, FlowConditions(named_gas("natural gas"), ground_temperature_k=283.15))
    demand = np.array([0.0, 0.0, 10.0 / 3600.0])
    solver.solve(demand)
    inlets = Inlets(np.array([2]), np.array([required_pa_gauge]))
    return work_states(
        solver,
        inlets,
        [1],
        meters_on_m3_per_s_std=[demand],
        meters_off_m3_per_s_std=[demand],
        feeds=[FeedLinks("B1", hoses=(2,))],
    )


def test_a_feed_may_not_be_shut_where_the_main_alone_does_not_hold() -> None:
    weak = _street(required_pa_gauge=2500.0)
    assert [judged.name for judged in weak.every] == ["B1 open", "meters off", "S1 in", "S1 out", "B1 shut"]
    assert [judged.holds for judged in weak.every] == [True, True, True, True, False]
    assert weak.failing is not None
    assert weak.failing.reason().startswith("B1 shut: a kept meter inlet has ")
    assert _street(required_pa_gauge=500.0).failing is None


def test_an_option_whose_withdrawal_fails_does_not_exist(monkeypatch: pytest.MonkeyPatch) -> None:
    assert ranking().options

    def failing(*given: Any, **named: Any) -> WorkStates:
        work = work_states(*given, **named)
        return replace(
            work,
            restoring=tuple(
                replace(judged, holds=judged.holds and judged.name != "S1 out") for judged in work.restoring
            ),
        )

    monkeypatch.setattr("netplan.planning.cut_to_feed.work_states", failing)
    with pytest.raises(NoPlanError) as refused:
        ranking()
    assert "S1 out" in "; ".join(map(str, refused.value.reasons))
