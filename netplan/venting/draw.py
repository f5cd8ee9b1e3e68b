"""What the live side can give through a tapping, a hose, the main and a stack.

A chain of parts carries one flow: gas up to the front, air before it. Each part loses squared pressure by
the same compressible law as the network, wall friction and local losses together; the far end is the air
outside. The lift of light gas in the stack is left out, because the stack is full of air at first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from netplan.constants import GAS_CONSTANT_J_PER_MOL_K
from netplan.errors import BadInputError
from netplan.hydraulics import FlowConditions, FlowSolver
from netplan.hydraulics.drop import DropLaw, drop_law
from netplan.reference.gas import DRY_AIR_MOLAR_MASS_KG_PER_MOL
from netplan.reference.purge import purge_figure

__all__ = [
    "PathPart",
    "Supply",
    "actual_per_standard",
    "coupled_flow",
    "network_supply",
    "path_flow",
    "steady_supply",
]

Floats = npt.NDArray[np.float64]
Supply = Callable[[float], float]
"""Pressure of the live main at the tapping [Pa gauge] for a flow drawn there [m³/s at 15 °C, 101.325 kPa];
NaN when the network cannot give it."""

_CLOSE = 1e-9
_BRINK = 0.999


@dataclass(frozen=True, slots=True)
class PathPart:
    """One part of the way from the live main to the air.

    Parameters
    ----------
    length_m, bore_m, roughness_m : float
        Length ≥ 0, bore > 0, wall roughness ≥ 0 [m].
    loss_coefficient : float
        Local losses on the velocity head in it [-].
    holds_air : bool
        True ahead of the front, False behind it.
    """

    length_m: float
    bore_m: float
    roughness_m: float
    loss_coefficient: float = 0.0
    holds_air: bool = False


def actual_per_standard(conditions: FlowConditions) -> float:
    """Return m³ at ground temperature and air pressure for 1 m³ at 15 °C, 101.325 kPa [-]."""
    gas = conditions.gas
    actual = gas.density_kg_per_m3(conditions.ground_temperature_k, conditions.atmospheric_pressure_pa_abs)
    return gas.density_kg_per_m3_at() / actual


def path_flow(parts: Sequence[PathPart], inlet_pa_gauge: float, conditions: FlowConditions) -> float:
    """Return the flow that a pressure drives through a chain of parts into the open air.

    Parameters
    ----------
    parts : sequence of PathPart
        From the live main outwards; behind the front before those ahead of it.
    inlet_pa_gauge : float
        Pressure of the live main [Pa gauge]; none or below zero gives no flow.
    conditions : FlowConditions
        Gas, ground temperature, air pressure.

    Returns
    -------
    float
        [m³/s at 15 °C, 101.325 kPa].

    Raises
    ------
    BadInputError
        When the parts lose nothing at all.
    """
    if not inlet_pa_gauge > 0.0:
        return 0.0
    outside = conditions.atmospheric_pressure_pa_abs
    driving = (outside + inlet_pa_gauge) ** 2 - outside**2
    laws = [_law([p for p in parts if p.holds_air is air], conditions, air=air) for air in (False, True)]
    air_over_gas = DRY_AIR_MOLAR_MASS_KG_PER_MOL / conditions.gas.molar_mass_kg_per_mol

    def short(flow_kg_per_s: float) -> float:
        lost = 0.0
        for law, share in zip(laws, (1.0, air_over_gas), strict=True):
            if law is not None:
                drop, _ = law.drop_and_slope(np.full(law.wall.size, flow_kg_per_s * share))
                lost += float(drop.sum())
        return lost - driving

    most = 1e-6
    while short(most) < 0.0:
        most *= 2.0
        if most > 1e6:
            raise BadInputError(
                "purge: nothing along the way loses pressure; give tapping, hose or stack a loss"
            )
    flow = brentq(short, 0.0, most, xtol=1e-12, rtol=_CLOSE)
    return float(flow) / conditions.properties().density_kg_per_m3_std


def _law(parts: Sequence[PathPart], conditions: FlowConditions, *, air: bool) -> DropLaw | None:
    if not parts:
        return None
    gas = conditions.properties()
    per_density, viscosity = gas.pressure_per_density, gas.viscosity_pa_s
    if air:
        per_density = (
            conditions.ground_temperature_k * GAS_CONSTANT_J_PER_MOL_K / DRY_AIR_MOLAR_MASS_KG_PER_MOL
        )
        viscosity = purge_figure("air_viscosity_pa_s")
    columns = np.array([(p.length_m, p.bore_m, p.roughness_m, p.loss_coefficient) for p in parts]).T
    return drop_law(columns[0], columns[1], columns[2], columns[3], 1.0, per_density, viscosity)


def steady_supply(pressure_pa_gauge: float) -> Supply:
    """Return a supply that holds its pressure whatever is drawn [Pa gauge]."""
    return lambda _flow: pressure_pa_gauge


def network_supply(
    solver: FlowSolver,
    demand_m3_per_s_std: npt.ArrayLike,
    node: int,
    *,
    kept_nodes: npt.ArrayLike = (),
    kept_pa_gauge: npt.ArrayLike = 0.0,
) -> Supply:
    """Return the supply at one node of a network: each call solves the network with the draw added.

    Parameters
    ----------
    solver : FlowSolver
        Prepared for the state in which the purge is made: stops in, feeds open.
    demand_m3_per_s_std : array_like, shape (nodes,)
        Demand of everybody else [m³/s at 15 °C, 101.325 kPa].
    node : int
        Where the tapping is.
    kept_nodes : array_like of int
        Nodes where pressure has to stay at or above `kept_pa_gauge`: a draw that lowers one of them below
        counts as one that the network cannot give.
    kept_pa_gauge : array_like
        What each of them must hold [Pa gauge].
    """
    kept, floor = np.asarray(kept_nodes, dtype=np.int64), np.asarray(kept_pa_gauge, dtype=float)
    demand = np.array(demand_m3_per_s_std, dtype=float)
    known: dict[float, float] = {}

    def pressure(flow: float) -> float:
        if flow not in known:
            drawn = demand.copy()
            drawn[node] += flow
            solved = solver.solve(drawn).pressure_pa_gauge
            holds = bool(np.all(solved[kept] >= floor))
            known[flow] = float(solved[node]) if holds else math.nan
        return known[flow]

    return pressure


def coupled_flow(parts: Sequence[PathPart], supply: Supply, conditions: FlowConditions) -> float:
    """Return the flow at which path and live network agree [m³/s at 15 °C, 101.325 kPa].

    The more is drawn the less pressure is left: the root of path_flow(supply(q)) = q is the only one.
    """
    most = path_flow(parts, supply(0.0), conditions)
    if most == 0.0:
        return 0.0

    def spare(flow: float) -> float:
        left = supply(flow)
        return path_flow(parts, 0.0 if math.isnan(left) else left, conditions) - flow

    if spare(most) >= 0.0:
        return most
    flow = float(brentq(spare, 0.0, most, xtol=1e-9, rtol=1e-6))
    # Where the network gives out before the path does, the root lies at the brink: stay on its near side.
    while math.isnan(supply(flow)):
        flow *= _BRINK
    return flow
