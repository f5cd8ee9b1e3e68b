"""What other layers ask of whatever solves a network, and a solver that counts what it solves."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState

__all__ = ["CountedSolver", "NetworkSolver", "SolutionCount"]


class NetworkSolver(Protocol):
    """Solves a network, and solves it again after changes: as a whole, or from near.

    See `FlowSolver` for what each method takes, gives and raises.
    """

    @property
    def network(self) -> FlowNetwork:
        """The network it was prepared for."""

    @property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure."""

    @property
    def supply_node(self) -> npt.NDArray[np.int64]:
        """Nodes that gas comes from: stations, and the boundary of a part of a network."""

    def prepared_for(self, network: FlowNetwork) -> NetworkSolver:
        """Return a solver for another network under the same conditions."""

    def solve(self, demand_m3_per_s_std: npt.ArrayLike, *, warm: FlowState | None = None) -> FlowState:
        """Solve for a demand, which later changes keep where they give none."""

    def resolve(
        self,
        *,
        demand_m3_per_s_std: npt.ArrayLike | None = None,
        closed_links: Iterable[int] = (),
        opened_links: Iterable[int] = (),
        added_links: FlowLinks | None = None,
        station_pressure_pa_gauge: npt.ArrayLike | None = None,
        station_capacity_m3_per_s_std: npt.ArrayLike | None = None,
        warm: FlowState | None = None,
    ) -> FlowState:
        """Solve the network with changes; the prepared network itself does not change."""


class SolutionCount:
    """How many flow networks were solved.

    Attributes
    ----------
    done : int
        Solutions so far [-].
    before_each : callable or None
        Called before each, with what it raises left to the caller: who sets a limit sets it here.

    Parameters
    ----------
    interrupt : callable, optional
        Called before each too: what it raises ends the whole plan.
    """

    def __init__(self, interrupt: Callable[[], None] | None = None) -> None:
        self._interrupt = interrupt
        self.done = 0
        self.before_each: Callable[[], None] | None = None

    def take(self) -> None:
        """Count one more."""
        if self._interrupt is not None:
            self._interrupt()
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
