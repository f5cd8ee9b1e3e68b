"""The plan on disk: the solved state of an option, as arrays and as layers of plan.gpkg.

One model of a solved network for everything after planning: layers, maps, explanations and sizing anew take
a `SolvedState`, whether it comes from a plan just made or from a plan folder. What is written and read again
is the same, value by value::

    read_state(write_state(state, crs), state.option) == state
"""

from netplan.planfile.flow_network import StateNetwork, flow_network
from netplan.planfile.read_state import read_state
from netplan.planfile.solved_state import SolvedState
from netplan.planfile.state_tables import (
    PieceState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
)
from netplan.planfile.write_state import write_state

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
