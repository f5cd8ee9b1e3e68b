"""Heights: the weight of the gas inside the pipe, and of the air outside that gauge pressure counts from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import GRAVITY_M_PER_S2

__all__ = ["StaticHead", "columns", "fill_heights", "mean_factor"]


@dataclass(frozen=True, slots=True, eq=False)
class StaticHead:
    """The columns of gas and air at each node.

    Parameters
    ----------
    gas : ndarray of float, shape (n,)
        exp(2 g h / (p/ρ)): squared pressure times this is the same all over a still network [-].
    air_pa_abs : ndarray of float, shape (n,)
        Pressure of the outside air at the node's height [Pa absolute].
    """

    gas: Floats
    air_pa_abs: Floats


def fill_heights(height_m: Floats, from_node: Ints, to_node: Ints, length_m: Floats) -> Floats:
    """Give nodes of unknown height that of the nearest known node along the network.

    A height left out pair by pair would make the heights round a ring not add up to zero, and the ring
    would then drive gas round itself for ever. A part without any known height gets 0.
    """
    known = np.isfinite(height_m)
    if known.all():
        return height_m.copy()
    if not known.any():
        return np.zeros_like(height_m)
    size = height_m.size
    # Zero is "no link" to csgraph; a millimetre keeps open valves joined.
    weight = np.maximum(length_m, 1e-3)
    graph = coo_array((weight, (from_node, to_node)), shape=(size, size)).tocsr()
    _, _, nearest = dijkstra(
        graph, directed=False, indices=np.flatnonzero(known), min_only=True, return_predecessors=True
    )
    filled = np.zeros_like(height_m)
    reached = nearest >= 0
    filled[reached] = height_m[nearest[reached]]
    filled[known] = height_m[known]
    return filled


def columns(
    height_m: Floats,
    datum_m: float,
    gas_pressure_per_density: float,
    air_pressure_per_density: float,
    air_at_datum_pa_abs: float,
) -> StaticHead:
    """Return the columns of gas and air above the datum, both isothermal.

    Parameters
    ----------
    height_m : ndarray of float, shape (n,)
        Heights, all known [m].
    datum_m : float
        Height at which the air pressure is given [m].
    gas_pressure_per_density, air_pressure_per_density : float
        Z R T / M of gas and air [J/kg].
    air_at_datum_pa_abs : float
        Air pressure at the datum [Pa absolute].
    """
    if height_m.size and height_m.min() == height_m.max():
        # All on one level, the usual case where heights are unknown.
        level = GRAVITY_M_PER_S2 * (float(height_m[0]) - datum_m)
        gas = math.exp(2.0 * level / gas_pressure_per_density)
        air = air_at_datum_pa_abs * math.exp(-level / air_pressure_per_density)
        return StaticHead(np.broadcast_to(gas, height_m.shape), np.broadcast_to(air, height_m.shape))
    rise = GRAVITY_M_PER_S2 * (height_m - datum_m)
    return StaticHead(
        gas=np.exp(2.0 * rise / gas_pressure_per_density),
        air_pa_abs=air_at_datum_pa_abs * np.exp(-rise / air_pressure_per_density),
    )


def mean_factor(low: Floats, high: Floats) -> Floats:
    """Return the mean of an exponential between the values at the ends of a uniform slope."""
    ratio = np.log(high / low)
    flat = np.abs(ratio) < 1e-8
    safe = np.where(flat, 1.0, ratio)
    return np.asarray(np.where(flat, 0.5 * (low + high), (high - low) / safe))
