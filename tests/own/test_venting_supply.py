"""What a live network gives at a tapping, on one pipe from one station."""

from __future__ import annotations

import math

import numpy as np
import pytest

from netplan.gas import (
    DrawnNetwork,
    Equipment,
    PurgeSource,
    ZoneMains,
    purge_plan,
)
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.hydraulics.solver_protocol import CountedSolver, SolutionCount
from netplan.reference.gas import named_gas

CONDITIONS = FlowConditions(named_gas("natural gas"), ground_temperature_k=283.15)


def _network() -> FlowNetwork:
    links = FlowLinks(
        from_node=np.array([0, 1]),
        to_node=np.array([1, 2]),
        length_m=np.array([400.0, 200.0]),
        bore_m=np.array([0.0736, 0.0736]),
        roughness_m=np.full(2, 7e-6),
    )
    return FlowNetwork(3, links, np.array([0]), np.array([2700.0]))


DEMAND = np.array([0.0, 4e-3, 2e-3])


def test_the_supply_is_the_solved_pressure_with_the_draw_on_top() -> None:
    solver = FlowSolver(_network(), CONDITIONS)
    supply = DrawnNetwork(solver, DEMAND).supply(2)
    for draw in (0.0, 3e-3, 6e-3):
        fresh = FlowSolver(_network(), CONDITIONS).solve(DEMAND + np.array([0.0, 0.0, draw]))
        assert supply(draw) == pytest.approx(float(fresh.pressure_pa_gauge[2]), abs=1e-4)
    assert supply(0.0) > supply(3e-3) > supply(6e-3)


def test_nodes_share_what_is_solved_before_any_draw() -> None:
    count = SolutionCount()
    shared = DrawnNetwork(CountedSolver(FlowSolver(_network(), CONDITIONS), count), DEMAND, [1], [2100.0])
    for node in (1, 2):
        supply = shared.supply(node)
        alone = DrawnNetwork(FlowSolver(_network(), CONDITIONS), DEMAND, [1], [2100.0]).supply(node)
        assert supply(0.0) == alone(0.0)
        assert supply(3e-3) == pytest.approx(alone(3e-3), abs=1e-6)
    assert count.done == 4  # the start, without a draw, and one draw at each


def test_a_kept_inlet_that_would_fail_ends_the_supply() -> None:
    solver = FlowSolver(_network(), CONDITIONS)
    free = DrawnNetwork(solver, DEMAND).supply(2)
    bound = DrawnNetwork(solver, DEMAND, [1], [2100.0]).supply(2)
    draws = np.linspace(0.0, 3e-2, 16)
    for draw in draws:
        held = FlowSolver(_network(), CONDITIONS).solve(DEMAND + np.array([0.0, 0.0, draw]))
        if held.pressure_pa_gauge[1] >= 2100.0:
            assert bound(float(draw)) == pytest.approx(free(float(draw)))
        else:
            assert math.isnan(bound(float(draw)))
    assert math.isnan(bound(3e-2))
    assert not math.isnan(bound(0.0))


def test_the_draw_of_a_purge_leaves_every_kept_inlet_its_pressure() -> None:
    solver = FlowSolver(_network(), CONDITIONS)
    mains = ZoneMains(*(np.array([value]) for value in (0, 1, 60.0, 0.1022, 7e-6, 0, 0.0, 60.0)))
    equipment = Equipment((0.025, 0.05), (0.025, 0.05), 3.0, 6.0, 1e-5)
    solved = FlowSolver(_network(), CONDITIONS).solve(DEMAND)
    for spare_pa in (50.0, 150.0, 2000.0):
        floor = float(solved.pressure_pa_gauge[1]) - spare_pa
        supply = DrawnNetwork(solver, DEMAND, [1], [floor]).supply(2)
        plan = purge_plan(
            mains,
            [PurgeSource(0, 0, 0.4, supply, "a note")],
            equipment,
            CONDITIONS,
            volumes_out=2.0,
            volumes_in=2.0,
        )
        assert plan.draw_m3_per_s_std is not None
        after = FlowSolver(_network(), CONDITIONS).solve(
            DEMAND + np.array([0.0, 0.0, plan.draw_m3_per_s_std])
        )
        assert float(after.pressure_pa_gauge[1]) >= floor - 1e-3
        fall = float(solved.pressure_pa_gauge[2] - after.pressure_pa_gauge[2])
        assert plan.dip_pa == pytest.approx(fall, abs=1e-3)
        assert plan.places[0].note == "a note"
