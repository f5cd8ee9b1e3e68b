"""The solved state of an option after its stops: the one model of a solved network, in memory."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.errors import BadInputError
from netplan.planfile.state_tables import (
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
    StateTable,
)

__all__ = ["SolvedState"]


@dataclass(frozen=True, slots=True, eq=False)
class SolvedState(StateTable):
    """The solved network of one option after all its stops and with all its feeds.

    Parameters
    ----------
    option : int
        Rank of the option, from 1.
    left_out : str
        What of a large network the state does not hold, in words; empty when it holds the whole network and
        can be solved again.
    pipes : StatePipes
    nodes : StateNodes
    stations : StateStations
    feeds : StateFeeds
    customers : StateCustomers
    """

    option: int
    left_out: str
    pipes: StatePipes
    nodes: StateNodes
    stations: StateStations
    feeds: StateFeeds
    customers: StateCustomers

    def require_whole(self, purpose: str) -> None:
        """Refuse a state that holds only the surroundings of the work.

        Parameters
        ----------
        purpose : str
            What the whole state is needed for, to end the line with.

        Raises
        ------
        BadInputError
        """
        if self.left_out:
            raise BadInputError(f"plan.gpkg: {self.left_out}; plan a smaller network to {purpose}")
