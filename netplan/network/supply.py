"""How high the stations of a pressure system are set, and how high they can get in a fault."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.network.model import Network

__all__ = ["fault_outlet_pa_gauge", "set_outlet_pa_gauge"]

Floats = NDArray[np.float64]


def set_outlet_pa_gauge(network: Network, system: int) -> float:
    """Return the greatest set outlet of the stations of a system, of all where it has none [Pa gauge].

    NaN without any station. What lies beyond the rim of a part of a network counts.
    """
    stations = network.stations
    elsewhere = None if network.beyond is None else network.beyond.system_outlet_pa_gauge
    own = _greatest(network, stations.outlet_pa_gauge, elsewhere, system)
    return own if np.isfinite(own) else _greatest(network, stations.outlet_pa_gauge, elsewhere, None)


def fault_outlet_pa_gauge(network: Network, system: int) -> float:
    """Return the most that a station of a system can give in a fault [Pa gauge].

    Never below what one is set to; NaN without any station. What lies beyond the rim of a part of a network
    counts.
    """
    stations = network.stations
    elsewhere = None if network.beyond is None else network.beyond.system_fault_pa_gauge
    worst = np.fmax(stations.max_outlet_pa_gauge, stations.outlet_pa_gauge)
    return _greatest(network, worst, elsewhere, system)


def _greatest(network: Network, of_station: Floats, beyond: Floats | None, system: int | None) -> float:
    node = network.stations.node
    counts = node >= 0
    if system is not None:
        counts &= network.nodes.system[node] == system
    values = of_station[counts]
    if beyond is not None:
        values = np.append(values, beyond if system is None else beyond[system])
    return float(np.fmax.reduce(values)) if len(values) else float("nan")
