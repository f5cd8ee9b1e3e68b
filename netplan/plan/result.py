"""What planning hands to the outputs: the plan, the network it is for, and each option's solved state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import Network
from netplan.network.text import Text
from netplan.plan.model import Plan

__all__ = ["FlowPicture", "PieceState", "PlanResult"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


class PieceState(IntEnum):
    """State of a piece of pipe after the stops are in."""

    LIVE = 0
    ISOLATED = 1
    STRANDED = 2
    CLOSED = 3
    FED = 4
    """Has gas through bypasses, hoses or opened valves alone, whether somebody draws it there or not."""

    @property
    def word(self) -> str:
        """The word used in layers and legends."""
        return self.name.lower()


@dataclass(frozen=True, slots=True, eq=False)
class FlowPicture:
    """The solved state after the stops of one option, complete enough to be solved again elsewhere.

    Pieces that carry a stop are split at its barriers, so that every row lies wholly inside or outside
    the zone. A row of no length is a valve, named in `valve`: solving again needs to know whether it is open.
    Node rows [0, n_network_nodes) are those of the network; the rest are stops and bypass ends.

    Parameters
    ----------
    node_x_m, node_y_m, node_height_m : float arrays
        Place [m]; height NaN where unknown.
    node_demand_m3h : float array
        Demand with the rules' margins [m³/h at 15 °C, 101.325 kPa].
    node_pressure_mbar : float array
        Solved pressure [mbar gauge]; NaN where there is no supply.
    pipe : int32 array
        Row in `Network.pipes` of each piece; -1 for a bypass.
    link_id : Text
        Pipe id, or the id of the bypass.
    from_m, to_m, length_m, bore_m, roughness_m, loss_coefficient : float arrays
        Chainages, true length, bore, roughness [m], minor losses [-].
    from_node, to_node : int32 arrays
        Node rows.
    state : int8 array
        Codes of `PieceState`.
    valve : int32 array
        Row in `Network.valves` for a valve's own piece, else -1.
    flow_m3h : float array
        Flow from from_node to to_node [m³/h at 15 °C, 101.325 kPa]; 0 where closed or empty.
    customer_node : int32 array
        Node row that each customer's pressure and demand stand on; -1 for none.
    customer_demand_m3h, customer_pressure_mbar : float arrays
        Per customer; pressure NaN where off.
    station_flow_m3h : float array
        Of each station that lies on a main, in the order of the stations; NaN where not solved.
    customer_part : int32 array, optional
        Label of the part of the network that feeds each customer after the stops: those of one part share
        the uplift of small groups.
    node_before_mbar : float array, optional
        Pressure before any stop [mbar gauge]; NaN without supply and at nodes that came with the stops.
    node_in_zone : bool array, optional
        Nodes inside a zone, where nothing is drawn.
    """

    node_x_m: Floats
    node_y_m: Floats
    node_height_m: Floats
    node_demand_m3h: Floats
    node_pressure_mbar: Floats
    pipe: Ints
    link_id: Text
    from_m: Floats
    to_m: Floats
    length_m: Floats
    bore_m: Floats
    roughness_m: Floats
    loss_coefficient: Floats
    from_node: Ints
    to_node: Ints
    state: NDArray[np.int8]
    valve: Ints
    flow_m3h: Floats
    customer_node: Ints
    customer_demand_m3h: Floats
    customer_pressure_mbar: Floats
    station_flow_m3h: Floats
    customer_part: Ints | None = None
    node_before_mbar: Floats | None = None
    node_in_zone: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PlanResult:
    """A plan with what it was made from.

    Parameters
    ----------
    plan : Plan
    network : Network
        What the plan was made on: of a large network the vicinity of the work.
    pictures : tuple of FlowPicture
        One for each option, in the order of the options.
    notes_in_doubt : mapping of str to str
        Priority notes of customers in doubt by id, for the call sheet alone: some are on no pipe, and so not
        in `network`.
    """

    plan: Plan
    network: Network
    pictures: tuple[FlowPicture, ...]
    notes_in_doubt: Mapping[str, str] = field(default_factory=dict)
