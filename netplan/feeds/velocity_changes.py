"""What the stops change in the pipes that stay live: velocity, direction, station loads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowNetwork, FlowState

__all__ = ["FlowChanges", "flow_changes", "link_velocity_m_per_s", "station_loads"]


STILL_M_PER_S: Final = 0.1
"""Below this velocity a flow counts as none: too slow to carry dust (own decision)."""
FASTER: Final = 1.5
"""From this multiple of its former velocity on a flow counts as stirred up (own decision)."""


@dataclass(frozen=True, slots=True, eq=False)
class FlowChanges:
    """Links before and after.

    Parameters
    ----------
    velocity_before_m_per_s, velocity_after_m_per_s : float array, shape (links,)
        Actual velocity, + from the first node to the second [m/s]; NaN where not solved.
    is_reversed : bool array
        Flows the other way than before, neither of them still.
    is_faster : bool array
        Not still, and faster than before by half or more.
    """

    velocity_before_m_per_s: Floats
    velocity_after_m_per_s: Floats
    is_reversed: Flags
    is_faster: Flags


def link_velocity_m_per_s(network: FlowNetwork, state: FlowState, conditions: FlowConditions) -> Floats:
    """Return the actual velocity of each link at its upstream pressure [m/s], + from first to second node."""
    links = network.links
    mass = state.flow_kg_per_s[: links.count]
    upstream = np.where(mass >= 0, links.from_node, links.to_node)
    pressure = state.pressure_pa_gauge[upstream] + conditions.atmospheric_pressure_pa_abs
    area = math.pi / 4.0 * links.bore_m**2
    velocity: Floats = mass * conditions.properties().pressure_per_density / pressure / area
    return velocity


def flow_changes(
    network: FlowNetwork, before: FlowState, after: FlowState, conditions: FlowConditions
) -> FlowChanges:
    """Compare two solved states of a network, link by link.

    Parameters
    ----------
    network : FlowNetwork
        Its links are the first ones of both states.
    before, after : FlowState
    conditions : FlowConditions
    """
    old = link_velocity_m_per_s(network, before, conditions)
    new = link_velocity_m_per_s(network, after, conditions)
    with np.errstate(invalid="ignore"):
        moving = (np.abs(old) >= STILL_M_PER_S) & (np.abs(new) >= STILL_M_PER_S)
        is_reversed = moving & (np.sign(old) != np.sign(new))
        is_faster = (np.abs(new) >= STILL_M_PER_S) & (np.abs(new) >= FASTER * np.abs(old))
    return FlowChanges(old, new, is_reversed, is_faster)


def station_loads(network: FlowNetwork, state: FlowState) -> Floats:
    """Return the flow of each station over its capacity [-]; NaN without a capacity or a solution."""
    load: Floats = state.station_flow_m3_per_s_std / network.station_capacity_m3_per_s_std
    return load
