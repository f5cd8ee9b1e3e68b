"""What the live side can give through a tapping, a hose, the main and a stack.

A chain of parts carries one flow: gas up to the front, air before it. Each part loses squared pressure by
the same compressible law as the network, wall friction and local losses together; the far end is the air
outside. The lift of light gas in the stack is left out, because the stack is full of air at first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from netplan.core.arrays import Floats
from netplan.core.constants import GAS_CONSTANT_J_PER_MOL_K
from netplan.core.errors import BadInputError
from netplan.hydraulics import FlowConditions, FlowState, NetworkSolver
from netplan.hydraulics.pressure_drop import DropLaw, drop_law
from netplan.reference.gas import DRY_AIR_MOLAR_MASS_KG_PER_MOL
from netplan.reference.purge_figures import purge_figure

__all__ = [
    "DrawnNetwork",
    "FlowPath",
    "PathPart",
    "Supply",
    "actual_per_standard",
    "greatest_draw",
]

Supply = Callable[[float], float]
"""Pressure of the live main at the tapping [Pa gauge] for a flow drawn there [m³/s at 15 °C, 101.325 kPa];
NaN when the network cannot give it."""

_CLOSE = 1e-9
_CLOSE_ENOUGH = 1e-6
_BRINK = 1e-3
_FIRST_GUESS_M3_PER_S = 0.01


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


class FlowPath:
    """A chain of parts from the live main into the open air.

    Parameters
    ----------
    parts : sequence of PathPart
        From the live main outwards; behind the front before those ahead of it.
    conditions : FlowConditions
        Gas, ground temperature, air pressure.

    Raises
    ------
    BadInputError
        When the parts lose nothing at all.
    """

    def __init__(self, parts: Sequence[PathPart], conditions: FlowConditions) -> None:
        gas = conditions.properties()
        air_per_density = (
            conditions.ground_temperature_k * GAS_CONSTANT_J_PER_MOL_K / DRY_AIR_MOLAR_MASS_KG_PER_MOL
        )
        air_over_gas = DRY_AIR_MOLAR_MASS_KG_PER_MOL / conditions.gas.molar_mass_kg_per_mol
        self._outside_pa_abs = conditions.atmospheric_pressure_pa_abs
        self._laws: list[tuple[DropLaw, Floats]] = []
        for holds_air, per_density, viscosity, mass_share in (
            (False, gas.pressure_per_density, gas.viscosity_pa_s, 1.0),
            (True, air_per_density, purge_figure("air_viscosity_pa_s"), air_over_gas),
        ):
            columns = _merged([part for part in parts if part.holds_air is holds_air])
            law = drop_law(columns[0], columns[1], columns[2], columns[3], 1.0, per_density, viscosity)
            kg_per_m3 = gas.density_kg_per_m3_std * mass_share
            if columns.size:
                self._laws.append((law, np.full(columns.shape[1], kg_per_m3)))
        if not any(np.any(law.wall > 0.0) or np.any(law.local > 0.0) for law, _ in self._laws):
            raise BadInputError(
                "purge: nothing along the way loses pressure; give tapping, hose or stack a loss"
            )

    def lost_pa2(self, flow_m3_per_s_std: float) -> float:
        """Return the squared pressure that a flow loses on its way [Pa²]."""
        return math.fsum(
            float(law.drop_and_slope(flow_m3_per_s_std * per)[0].sum()) for law, per in self._laws
        )

    def driving_pa2(self, inlet_pa_gauge: float) -> float:
        """Return the squared pressure that an inlet has over the air [Pa²]; 0 without pressure."""
        if not inlet_pa_gauge > 0.0:
            return 0.0
        return inlet_pa_gauge * (2.0 * self._outside_pa_abs + inlet_pa_gauge)

    def carries(self, flow_m3_per_s_std: float, inlet_pa_gauge: float) -> bool:
        """Return whether an inlet pressure can drive at least a flow."""
        return self.lost_pa2(flow_m3_per_s_std) <= self.driving_pa2(inlet_pa_gauge)

    def flow(self, inlet_pa_gauge: float) -> float:
        """Return the flow that an inlet pressure drives [m³/s at 15 °C, 101.325 kPa]."""
        driving = self.driving_pa2(inlet_pa_gauge)
        if driving == 0.0:
            return 0.0
        most = _FIRST_GUESS_M3_PER_S
        while self.lost_pa2(most) < driving:
            most *= 4.0
        return float(brentq(lambda flow: self.lost_pa2(flow) - driving, 0.0, most, xtol=1e-12, rtol=_CLOSE))

    def flow_from(self, supply: Supply, at_most: float = math.inf) -> float:
        """Return the flow at which path and live network agree [m³/s at 15 °C, 101.325 kPa].

        The more is drawn the less pressure is left, so that there is one such flow; where the network gives
        out before that, it is what the network can give.

        Parameters
        ----------
        supply : Supply
        at_most : float
            Known limit of the supply, to spare looking for it again [m³/s at 15 °C, 101.325 kPa].
        """
        most = min(self.flow(supply(0.0)), at_most)
        if most == 0.0:
            return 0.0
        most = greatest_draw(supply, most)
        if most == 0.0 or self.carries(most * (1.0 - _CLOSE), supply(most)):
            return most

        def spare(flow: float) -> float:
            return self.driving_pa2(supply(flow)) - self.lost_pa2(flow)

        return float(brentq(spare, 0.0, most, xtol=1e-9, rtol=_CLOSE_ENOUGH))


def greatest_draw(supply: Supply, most: float) -> float:
    """Return what a supply can give, up to `most` and to 0.1 % of it [m³/s at 15 °C, 101.325 kPa]."""
    if not math.isnan(supply(most)):
        return most
    low, high = 0.0, most
    while high - low > _BRINK * most:
        middle = (low + high) / 2.0
        low, high = (low, middle) if math.isnan(supply(middle)) else (middle, high)
    return low


def _merged(parts: Sequence[PathPart]) -> Floats:
    """Return length, bore, roughness and loss with parts of one bore and wall made one, shape (4, k)."""
    alike: dict[tuple[float, float], tuple[float, float]] = {}
    for part in parts:
        length, loss = alike.get((part.bore_m, part.roughness_m), (0.0, 0.0))
        alike[part.bore_m, part.roughness_m] = (length + part.length_m, loss + part.loss_coefficient)
    rows = [(length, bore, rough, loss) for (bore, rough), (length, loss) in alike.items()]
    return np.array(rows, dtype=float).reshape(-1, 4).T


class DrawnNetwork:
    """A network under one demand, of which more is drawn at one node or another.

    Parameters
    ----------
    solver : NetworkSolver
        Prepared for the state in which the purge is made: stops in, feeds open.
    demand_m3_per_s_std : array_like, shape (nodes,)
        Demand of everybody else [m³/s at 15 °C, 101.325 kPa].
    kept_nodes : array_like of int
        Nodes where pressure has to stay at or above `kept_pa_gauge`: a draw that lowers one of them below
        counts as one that the network cannot give.
    kept_pa_gauge : array_like
        What each of them must hold [Pa gauge].
    """

    def __init__(
        self,
        solver: NetworkSolver,
        demand_m3_per_s_std: npt.ArrayLike,
        kept_nodes: npt.ArrayLike = (),
        kept_pa_gauge: npt.ArrayLike = 0.0,
    ) -> None:
        self._solver = solver
        self._demand = np.array(demand_m3_per_s_std, dtype=float)
        self._kept = np.asarray(kept_nodes, dtype=np.int64)
        self._floor = np.asarray(kept_pa_gauge, dtype=float)

    @cached_property
    def _base(self) -> FlowState:
        return self._solver.solve(self._demand)

    @cached_property
    def _undrawn_pa_gauge(self) -> Floats:
        # The same wherever nothing is drawn: solved once for all nodes.
        return self._solved_pa_gauge(self._demand)

    def _solved_pa_gauge(self, demand_m3_per_s_std: Floats) -> Floats:
        # Always from the same start: the order of asking must not move the last digit.
        return self._solver.resolve(
            demand_m3_per_s_std=demand_m3_per_s_std, warm=self._base
        ).pressure_pa_gauge

    def supply(self, node: int) -> Supply:
        """Return the supply at a node: each flow asked for is solved with all of the network."""
        known: dict[float, float] = {}

        def pressure(flow: float) -> float:
            if flow not in known:
                if flow == 0.0:
                    solved = self._undrawn_pa_gauge
                else:
                    drawn = self._demand.copy()
                    drawn[node] += flow
                    solved = self._solved_pa_gauge(drawn)
                holds = bool(np.all(solved[self._kept] >= self._floor))
                known[flow] = float(solved[node]) if holds else math.nan
            return known[flow]

        return pressure
