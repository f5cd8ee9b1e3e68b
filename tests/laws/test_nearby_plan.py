"""A plan whose states are solved from near is the plan whose states are solved in the whole network."""

from __future__ import annotations

import json
from functools import partial
from typing import Any

import pytest

from netplan.hydraulics import FlowState
from netplan.hydraulics.nearby import FIRST_NODES, nearby_solver
from netplan.hydraulics.window import Window
from netplan.network.build import build_network
from netplan.network.section import WorkPart
from netplan.plan import desk
from netplan.plan.run import PlanRequest, make_plan
from netplan.plan.schema import plan_to_json
from netplan.rules import read_rules
from tests.benchmarks.layer_grids import grid_layers

FLOW_M3H = 0.0021
"""Stations elsewhere give a millionth more for customers whose uplift rises; plans round to 0.001 [m³/h]."""


@pytest.mark.slow
def test_the_plan_does_not_depend_on_how_far_is_looked(monkeypatch: pytest.MonkeyPatch) -> None:
    network = build_network(grid_layers(100_000))
    row = network.pipes.n_mains // 2
    middle = float(network.pipes.length_m[row]) / 2
    part = WorkPart(network.pipes.id[row], middle - 2.0, middle + 2.0)
    request = PlanRequest(network, (part,), read_rules(None), options=2, weather=False)
    accepted: list[bool] = []
    solve = Window.solve

    def counted(self: Window, *arguments: Any) -> FlowState | None:
        state = solve(self, *arguments)
        accepted.append(state is not None)
        return state

    monkeypatch.setattr(Window, "solve", counted)
    plans = []
    for first_nodes in (10**9, FIRST_NODES):
        monkeypatch.setattr(desk, "nearby_solver", partial(nearby_solver, first_nodes=first_nodes))
        plan = json.loads(plan_to_json(make_plan(request).plan))
        plan.pop("provenance")
        plans.append(plan)
        assert bool(accepted) == (first_nodes < 10**9)
    assert sum(accepted) >= 5
    flows = [
        [state.pop("station_flows_m3h") for option in plan["options"] for state in option["states"]]
        for plan in plans
    ]
    assert plans[0] == plans[1]
    for whole, near in zip(*flows, strict=True):
        assert near == pytest.approx(whole, abs=FLOW_M3H)
