"""A draw at a tapping between the nodes of a flow network, without a node for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq

from netplan.core.arrays import Floats
from netplan.feeds import Draw
from netplan.hydraulics import FlowConditions, FlowLinks, FlowState, NetworkSolver
from netplan.hydraulics.pressure_drop import DropLaw, drop_law

__all__ = ["DrawPlace", "LinkDraw", "solved_with_draw"]

MOST_TURNS: Final = 12
"""Solutions at most until the draw is divided between the ends of its link (own) [-]."""
CLOSE: Final = 1e-6
"""Share of the draw that its division between the ends may still move (own) [-]."""
ON_THE_LEVEL: Final = 1.0
"""Mean height factor: a length of main with a tapping is taken as level for the drop along it (own) [-]."""


@dataclass(frozen=True, slots=True)
class DrawPlace:
    """Where on a link gas is drawn.

    Parameters
    ----------
    link : int
        Row of the link.
    share : float
        Share of its length from the first node, 0 to 1 [-].
    """

    link: int
    share: float


class LinkDraw:
    """Flow and drop along a link that a draw is taken from.

    Parameters
    ----------
    links : FlowLinks
    place : DrawPlace
    flow_m3_per_s_std : float
        The draw [m³/s at 15 °C, 101.325 kPa], > 0.
    conditions : FlowConditions
        Gas, ground temperature, air pressure.
    """

    def __init__(
        self, links: FlowLinks, place: DrawPlace, flow_m3_per_s_std: float, conditions: FlowConditions
    ) -> None:
        gas, row = conditions.properties(), np.array([place.link])
        self._share = place.share
        self._law: DropLaw = drop_law(
            links.length_m[row],
            links.bore_m[row],
            links.roughness_m[row],
            links.loss_coefficient[row],
            ON_THE_LEVEL,
            gas.pressure_per_density,
            gas.viscosity_pa_s,
        )
        self.draw_kg_per_s = flow_m3_per_s_std * gas.density_kg_per_m3_std

    def drop_pa2(self, flow_kg_per_s: float) -> float:
        """Return the drop of squared pressure along the whole link, of the sign of the flow [Pa²]."""
        return float(self._law.drop_and_slope(np.array([flow_kg_per_s]))[0][0])

    def along_pa2(self, before_kg_per_s: float) -> float:
        """Return the drop from the first node to the second with the flow given up to the tapping [Pa²]."""
        beyond = self.drop_pa2(before_kg_per_s - self.draw_kg_per_s)
        return self._share * self.drop_pa2(before_kg_per_s) + (1.0 - self._share) * beyond

    def even(self, before_kg_per_s: float) -> float:
        """Return the flow that loses as much when all of the link carries it [kg/s]."""
        lost = self.along_pa2(before_kg_per_s)
        low, high = before_kg_per_s - self.draw_kg_per_s, before_kg_per_s
        return _root(lambda flow: self.drop_pa2(flow) - lost, low, high)

    def before(self, even_kg_per_s: float) -> float:
        """Return the flow up to the tapping where the link loses what an even flow would [kg/s]."""
        lost = self.drop_pa2(even_kg_per_s)
        low, high = even_kg_per_s, even_kg_per_s + self.draw_kg_per_s
        return _root(lambda flow: self.along_pa2(flow) - lost, low, high)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function is 0; an end where rounding puts it just beyond."""
    if rising(low) >= 0.0:
        return low
    if rising(high) <= 0.0:
        return high
    return float(brentq(rising, low, high, xtol=1e-13, rtol=1e-12))


def solved_with_draw(
    solver: NetworkSolver,
    demand_m3_per_s_std: Floats,
    draw: Draw,
    place: DrawPlace | None,
    conditions: FlowConditions,
    *,
    closed: Sequence[int] = (),
    opened: Sequence[int] = (),
    warm: FlowState | None = None,
) -> FlowState:
    """Return the state with a draw on top of the demand, taken where it is tapped.

    On an open link it is divided between the two nodes so that the link, with one flow all along, loses what
    it does with the draw at the tapping: pressures at every node are those with a node there. On a closed
    link, or without a place, all of it is taken at the draw's own node.

    Parameters
    ----------
    solver : NetworkSolver
    demand_m3_per_s_std : float array, shape (nodes,)
    draw : Draw
    place : DrawPlace or None
    conditions : FlowConditions
    closed, opened : sequence of int
        Links closed and opened.
    warm : FlowState, optional
        A state to start from.
    """

    def solved(demand: Floats, start: FlowState | None) -> FlowState:
        return solver.resolve(
            demand_m3_per_s_std=demand, closed_links=closed, opened_links=opened, warm=start
        )

    if place is None or place.link in closed:
        return solved(draw.on(demand_m3_per_s_std), warm)
    links, flow = solver.network.links, draw.flow_m3_per_s_std
    first, second = int(links.from_node[place.link]), int(links.to_node[place.link])
    tapped = LinkDraw(links, place, flow, conditions)
    state, at_first = warm, 1.0 - place.share
    for _ in range(MOST_TURNS):
        drawn = Draw(second, (1.0 - at_first) * flow).on(Draw(first, at_first * flow).on(demand_m3_per_s_std))
        state = solved(drawn, state)
        through = float(state.flow_kg_per_s[place.link])
        if math.isnan(through) or tapped.draw_kg_per_s <= 0.0:
            break
        before = through + at_first * tapped.draw_kg_per_s
        share = (before - tapped.even(before)) / tapped.draw_kg_per_s
        if abs(share - at_first) <= CLOSE:
            break
        at_first = share
    assert state is not None  # noqa: S101
    return state
