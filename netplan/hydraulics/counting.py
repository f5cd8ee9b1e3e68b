"""A solver that counts what it solves, so that a search can end after so much work on any machine."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.model import FlowNetwork, FlowState
from netplan.hydraulics.protocol import NetworkSolver

__all__ = ["CountedSolver", "SolutionCount"]


class SolutionCount:
    """How many flow networks were solved.

    Attributes
    ----------
    done : int
        Solutions so far [-].
    before_each : callable or None
        Called before each, with what it raises left to the caller: who sets a limit sets it here.
    """

    def __init__(self) -> None:
        self.done = 0
        self.before_each: Callable[[], None] | None = None

    def take(self) -> None:
        """Count one more."""
        if self.before_each is not None:
            self.before_each()
        self.done += 1


class CountedSolver:
    """A solver whose solutions are counted, each as one, whatever the size of the network.

    Parameters
    ----------
    solver : NetworkSolver
    count : SolutionCount
        Shared by all solvers made from this one.
    """

    def __init__(self, solver: NetworkSolver, count: SolutionCount) -> None:
        self._solver, self._count = solver, count

    @property
    def network(self) -> FlowNetwork:
        """The network it was prepared for."""
        return self._solver.network

    @property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure."""
        return self._solver.conditions

    @property
    def supply_node(self) -> npt.NDArray[np.int64]:
        """Nodes that gas comes from: stations, and the boundary of a part of a network."""
        return self._solver.supply_node

    def prepared_for(self, network: FlowNetwork) -> CountedSolver:
        """Return a solver for another network under the same conditions, counted with this one."""
        return CountedSolver(self._solver.prepared_for(network), self._count)

    def solve(self, demand_m3_per_s_std: npt.ArrayLike, *, warm: FlowState | None = None) -> FlowState:
        """Solve for a demand; see `FlowSolver.solve`."""
        self._count.take()
        return self._solver.solve(demand_m3_per_s_std, warm=warm)

    def resolve(self, **changes: Any) -> FlowState:
        """Solve with changes; see `FlowSolver.resolve`."""
        self._count.take()
        return self._solver.resolve(**changes)
