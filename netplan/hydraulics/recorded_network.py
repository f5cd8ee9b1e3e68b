"""The flow network of a recorded network and its rules: solved again after stops, feeds and customers off."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, ZERO_CELSIUS_K
from netplan.core.errors import BadNetworkError
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork
from netplan.hydraulics.heights import fill_heights
from netplan.network.checks.implausible_values import HEIGHTS_M
from netplan.network.model import Network
from netplan.network.vocabulary import Material
from netplan.rules import Rules
from netplan.rules.gas_of_rules import gas_of

__all__ = ["base_network", "flow_conditions", "gas_of", "limit_pa_gauge", "roughness_m"]


def flow_conditions(rules: Rules) -> FlowConditions:
    """Return gas and ground temperature as the flow calculation needs them."""
    return FlowConditions(gas_of(rules), ground_temperature_k=ZERO_CELSIUS_K + rules.gas.ground_temp_c)


def roughness_m(network: Network, rules: Rules) -> Floats:
    """Return the wall roughness of every pipe by its material [m]."""
    of = rules.pipe.roughness_mm
    by_code = np.empty(len(Material))
    for material in Material:
        iron = material in (Material.CAST_IRON, Material.DUCTILE_IRON)
        by_code[material] = of.PE if material.is_pe else of.iron if iron else of.steel
    return by_code[network.pipes.material] / MM_PER_M


def base_network(network: Network, rules: Rules) -> FlowNetwork:
    """Return the network as recorded, ready to be solved; link i is piece i.

    Raises
    ------
    BadNetworkError
        When no regulator station lies on a live main.
    """
    pieces, stations = network.pieces, network.stations
    placed = stations.node >= 0
    if not placed.any():
        raise BadNetworkError("regulators: no station lies on a live main; add one or move it onto its main")
    return FlowNetwork(
        node_count=len(network.nodes),
        links=FlowLinks(
            from_node=pieces.from_node.astype(np.int64),
            to_node=pieces.to_node.astype(np.int64),
            length_m=pieces.to_m - pieces.from_m,
            bore_m=network.pipes.bore_m[pieces.pipe],
            roughness_m=roughness_m(network, rules)[pieces.pipe],
            is_open=pieces.is_open,
        ),
        station_node=stations.node[placed].astype(np.int64),
        station_pressure_pa_gauge=stations.outlet_pa_gauge[placed],
        station_capacity_m3_per_s_std=stations.capacity_m3_per_s_std[placed],
        station_sensing_node=stations.sensing_node[placed].astype(np.int64),
        node_height_m=_heights(network),
    )


def _heights(network: Network) -> Floats:
    """Give unknown heights that of the nearest known node once, so that every state takes the same.

    Heights where nobody lives count as unknown; they are a finding.
    """
    height, pieces = network.nodes.height_m, network.pieces
    height = np.where((height >= HEIGHTS_M[0]) & (height <= HEIGHTS_M[1]), height, np.nan)
    if np.isnan(height).all():
        return height
    ends = pieces.from_node.astype(np.int64), pieces.to_node.astype(np.int64)
    return fill_heights(height, *ends, pieces.to_m - pieces.from_m)


def limit_pa_gauge(rules: Rules) -> float:
    """Return what a kept meter inlet must hold, margin included [Pa gauge]."""
    return (rules.pressure.minimum_mbar + rules.pressure.margin_mbar) * PA_PER_MBAR
