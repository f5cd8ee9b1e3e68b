"""A large network, solved as it stands: what lies round any change that is made near one place."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.adjacency import Adjacency, adjacency_of, holds
from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.model import FlowNetwork, FlowState
from netplan.hydraulics.solver import FlowSolver

__all__ = ["SAME_SHARE", "Surroundings"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

SAME_SHARE: Final = 1e-6
"""Share by which what is drawn at a node may differ and still count as the same (own): were it so at every
node of a network, each drop of pressure would move by two parts in a million, 0.004 Pa of 20 mbar [-]."""

_SAMPLE: Final = 5000
"""Nodes by which a kept state is chosen (own) [-]."""


class Surroundings:
    """A network and the states it was solved in before any change.

    Parameters
    ----------
    solver : FlowSolver
        Prepared for the network as it stands.
    adjacency : Adjacency, optional
        Its open links at every node, where that is known already.
    """

    def __init__(self, solver: FlowSolver, adjacency: Adjacency | None = None) -> None:
        self.whole, self._adjacency = solver, adjacency
        self._solved: list[tuple[Floats, FlowState]] = []
        self._round = np.zeros(0, dtype=np.int64)

    @property
    def network(self) -> FlowNetwork:
        """The network as it stands."""
        return self.whole.network

    @cached_property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure, at one height for every piece of the network."""
        return replace(self.whole.conditions, datum_height_m=self.whole.datum_height_m)

    @cached_property
    def adjacency(self) -> Adjacency:
        """The open links at every node."""
        return self._adjacency or adjacency_of(self.network.links, self.network.node_count)

    def nodes_round(self, touched: Ints, at_least: int) -> Ints:
        """Return at least so many nodes round some, sorted.

        Those that were returned last are returned again where they will do, until they are forgotten: changes
        are made near each other, and what one of them needed the next ones need too.
        """
        if self._round.size < at_least or not holds(self._round, touched):
            self._round = self.adjacency.outward(touched, at_least)
        return self._round

    def forget_nodes(self) -> None:
        """Look for nodes anew next time."""
        self._round = np.zeros(0, dtype=np.int64)

    def keep(self, demand_m3_per_s_std: Floats, state: FlowState) -> None:
        """Keep a state of the network as it stands.

        Parameters
        ----------
        demand_m3_per_s_std : float array, shape (nodes,)
            What was drawn [m³/s at 15 °C, 101.325 kPa].
        state : FlowState
        """
        self._solved.append((demand_m3_per_s_std, state))

    def nearest(self, demand_m3_per_s_std: Floats) -> tuple[Floats, FlowState, Ints] | None:
        """Return the kept state from which the fewest nodes draw something else; None where none is kept.

        Returns
        -------
        drawn : float array, shape (nodes,)
            What is drawn in that state [m³/s at 15 °C, 101.325 kPa].
        state : FlowState
        moved : int array
            Nodes that draw something else, beyond `SAME_SHARE`.
        """
        if not self._solved:
            return None
        # Some nodes tell which state it is; all are looked at for that one.
        some = slice(None, None, max(1, demand_m3_per_s_std.size // _SAMPLE))
        drawn, state = min(
            self._solved, key=lambda kept: _moved(kept[0][some], demand_m3_per_s_std[some]).size
        )
        return drawn, state, _moved(drawn, demand_m3_per_s_std)


def _moved(drawn: Floats, now: Floats) -> Ints:
    return np.flatnonzero(np.abs(now - drawn) > SAME_SHARE * np.abs(drawn))
