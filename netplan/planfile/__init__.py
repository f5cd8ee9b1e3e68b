"""The plan on disk: the solved state of an option, as arrays and as layers of plan.gpkg.

One model of a solved network for everything after planning: layers, maps, explanations and sizing anew take
a `SolvedState`, whether it comes from a plan just made or from a plan folder. What is written and read again
is the same, value by value::

    read_state(write_state(state, crs), state.option) == state

Names are fetched at their first use: an emergency answer needs none of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from netplan.core.names_on_first_use import names_on_first_use

if TYPE_CHECKING:
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

_FROM: Final = {
    "SolvedState": "netplan.planfile.solved_state",
    "StateNetwork": "netplan.planfile.state_network",
    "flow_network": "netplan.planfile.state_network",
    "read_state": "netplan.planfile.state_read_write",
    "write_state": "netplan.planfile.state_read_write",
    "PieceState": "netplan.planfile.state_tables",
    "StateCustomers": "netplan.planfile.state_tables",
    "StateFeeds": "netplan.planfile.state_tables",
    "StateNodes": "netplan.planfile.state_tables",
    "StatePipes": "netplan.planfile.state_tables",
    "StateStations": "netplan.planfile.state_tables",
}


__getattr__ = names_on_first_use(__name__, _FROM)
