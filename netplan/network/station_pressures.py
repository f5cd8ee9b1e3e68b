"""How high the stations of a pressure system are set, and how high they can get in a fault."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats
from netplan.network.model import Network

__all__ = ["PartSupply", "least_mop_of_parts", "set_outlet_pa_gauge", "supply_of_parts"]

Parts = NDArray[np.integer[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class PartSupply:
    """What the stations of each connected part of a network are set to, and what they can reach.

    Parameters
    ----------
    outlet_low_pa_gauge, outlet_high_pa_gauge : float arrays, shape (parts,)
        Least and greatest set outlet [Pa gauge]; NaN without a station.
    fault_pa_gauge : float array, shape (parts,)
        The most that one of them can give in a fault, never below what one is set to [Pa gauge]; NaN without
        a station.
    fault_is_missing : bool array, shape (parts,)
        Whether one of them has no fault pressure on record.
    """

    outlet_low_pa_gauge: Floats
    outlet_high_pa_gauge: Floats
    fault_pa_gauge: Floats
    fault_is_missing: Flags


def supply_of_parts(
    network: Network, part: Parts, count: int, beyond_part: Parts | None = None
) -> PartSupply:
    """Return what stations can bring upon each part.

    Parameters
    ----------
    network : Network
    part : int array, shape (nodes,)
        Connected part of each node.
    count : int
        Number of parts.
    beyond_part : int array, shape (parts beyond the boundary,), optional
        Part that each part beyond the boundary of a part of a network belongs to; by default the parts of its
        nodes at the boundary.
    """
    stations = network.stations
    placed = stations.node >= 0
    of = part[stations.node[placed]]
    most, outlet = stations.max_outlet_pa_gauge[placed], stations.outlet_pa_gauge[placed]
    low, high, fault = (np.full(count, np.nan) for _ in range(3))
    found = PartSupply(low, high, fault, np.zeros(count, dtype=np.bool_))
    _take_in(found, of, outlet, outlet, np.fmax(most, outlet), np.isnan(most))
    beyond = network.beyond
    if beyond is not None:
        row = np.arange(len(beyond.fault_pa_gauge)) if beyond_part is not None else beyond.part
        _take_in(
            found,
            part[beyond.node] if beyond_part is None else beyond_part[row],
            beyond.outlet_low_pa_gauge[row],
            beyond.outlet_high_pa_gauge[row],
            beyond.fault_pa_gauge[row],
            beyond.fault_is_missing[row],
        )
    return found


def _take_in(
    found: PartSupply, part: Parts, low: Floats, high: Floats, fault: Floats, is_missing: Flags
) -> None:
    np.fmin.at(found.outlet_low_pa_gauge, part, low)
    np.fmax.at(found.outlet_high_pa_gauge, part, high)
    np.fmax.at(found.fault_pa_gauge, part, fault)
    found.fault_is_missing[part[is_missing]] = True


def least_mop_of_parts(network: Network, part: Parts, count: int, beyond_part: Parts | None = None) -> Floats:
    """Return the least recorded operating limit of the mains of each part [Pa gauge]; NaN where none is.

    Parameters are those of `supply_of_parts`; without `beyond_part` what lies beyond a boundary is left out.
    """
    pieces, pipes = network.pieces, network.pipes
    found = np.full(count, np.nan)
    mains = pieces.pipe < pipes.n_mains
    for node in (pieces.from_node, pieces.to_node):
        np.fmin.at(found, part[node[mains]], pipes.mop_pa_gauge[pieces.pipe[mains]])
    if network.beyond is not None and beyond_part is not None:
        np.fmin.at(found, beyond_part, network.beyond.least_mop_pa_gauge)
    return found


def set_outlet_pa_gauge(network: Network, system: int) -> float:
    """Return the greatest set outlet of the stations of a system, of all where it has none [Pa gauge].

    NaN without any station. What lies beyond the boundary of a part of a network, or was not read, counts.
    """
    stations = network.stations
    elsewhere = None if network.beyond is None else network.beyond.system_outlet_pa_gauge
    if network.unread is not None:
        unread = network.unread.system_outlet_pa_gauge
        elsewhere = unread if elsewhere is None else np.fmax(elsewhere, unread)
    own = _greatest(network, stations.outlet_pa_gauge, elsewhere, system)
    return own if np.isfinite(own) else _greatest(network, stations.outlet_pa_gauge, elsewhere, None)


def _greatest(network: Network, of_station: Floats, beyond: Floats | None, system: int | None) -> float:
    node = network.stations.node
    counts = node >= 0
    if system is not None:
        counts &= network.nodes.system[node] == system
    values = of_station[counts]
    if beyond is not None:
        values = np.append(values, beyond if system is None else beyond[system])
    return float(np.fmax.reduce(values)) if len(values) else float("nan")
