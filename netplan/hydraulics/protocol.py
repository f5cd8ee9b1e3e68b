"""What the floors above ask of whatever solves a network."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.model import FlowLinks, FlowNetwork, FlowState

__all__ = ["NetworkSolver"]


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
