"""Solving where the demand cannot all be met: whoever would fall below zero gauge draws nothing."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats
from netplan.hydraulics.flow_network import FlowState
from netplan.hydraulics.solver_protocol import NetworkSolver

__all__ = ["resolve_without_starved"]

MOST_ROUNDS: Final = 20
"""Times that whoever falls below zero is left out before a state counts as without a solution (own) [-]."""


def resolve_without_starved(
    solver: NetworkSolver,
    demand_m3_per_s_std: Floats,
    *,
    closed_links: Collection[int] = (),
    station_pressure_pa_gauge: Floats | None = None,
    station_capacity_m3_per_s_std: Floats | None = None,
    warm: FlowState | None = None,
) -> tuple[FlowState, Flags]:
    """Solve, and solve again without the demand of the nodes that would lie below zero gauge.

    Gas does not flow to where less than the pressure of the air would be needed to draw it. Round by round
    all that draw and lie below zero draw nothing from then on, until none does. None that was left out comes
    back: at most as much is drawn as could be.

    Parameters
    ----------
    solver : NetworkSolver
    demand_m3_per_s_std : float array, shape (n,)
        Gas drawn at each node where there is enough [m³/s at 15 °C, 101.325 kPa].
    closed_links, station_pressure_pa_gauge, station_capacity_m3_per_s_std, warm
        As `FlowSolver.resolve` takes them.

    Returns
    -------
    state : FlowState
        Of the last round; a part in it may still be without a solution.
    starved : bool array, shape (n,)
        Nodes left out.
    """
    demand, starved = demand_m3_per_s_std.copy(), np.zeros(len(demand_m3_per_s_std), dtype=bool)
    state = warm
    for _ in range(MOST_ROUNDS):
        state = solver.resolve(
            demand_m3_per_s_std=demand,
            closed_links=closed_links,
            station_pressure_pa_gauge=station_pressure_pa_gauge,
            station_capacity_m3_per_s_std=station_capacity_m3_per_s_std,
            warm=state,
        )
        if state.below_zero is None:
            break
        more = state.below_zero & (demand > 0.0)
        if not more.any():
            break
        starved |= more
        demand[more] = 0.0
    assert state is not None  # noqa: S101 - at least one round
    return state, starved
