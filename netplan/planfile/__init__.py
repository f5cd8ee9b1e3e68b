"""The plan on disk: the solved state of an option, as arrays and as layers of plan.gpkg.

One model of a solved network for everything after planning: layers, maps, explanations and sizing anew take
a `SolvedState`, whether it comes from a plan just made or from a plan folder. What is written and read again
is the same, value by value::

    read_state(write_state(state, crs), state.option) == state
"""

from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_network import StateNetwork, flow_network
from netplan.planfile.state_read_write import read_state, write_state
from netplan.planfile.state_tables import (
    PieceState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
)

__all__ = [
    "PieceState",
    "SolvedState",
    "StateCustomers",
    "StateFeeds",
    "StateNetwork",
    "StateNodes",
    "StatePipes",
    "StateStations",
    "flow_network",
    "read_state",
    "write_state",
]
