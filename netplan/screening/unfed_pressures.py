"""What is left of the pressure once the stops are in and nothing is fed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.constants import PA_PER_MBAR
from netplan.core.errors import BadNetworkError, NotSolvedError
from netplan.core.units import rounded_down
from netplan.isolation import Cut
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.deficient_parts import solve_without_feeds
from netplan.planning.request import PlanRequest
from netplan.planning.subnetwork_context import SubnetworkContext, contexts_around
from netplan.planning.subnetwork_rows import cut_within

__all__ = ["PressureSolver", "SolvedPressures"]

DIGITS: Final = 3
TILE_M: Final = 500.0
"""Side of the squares whose mains share a subnetwork (own) [m]."""


def _nobody() -> NDArray[np.int32]:
    return np.zeros(0, dtype=np.int32)


@dataclass(frozen=True, slots=True, eq=False)
class SolvedPressures:
    """Pressures with the stops in.

    Parameters
    ----------
    least_mbar : float or None
        Least pressure at the meter inlet of a customer that is still fed and held before any stop, over all
        hours of the window, purging in included [mbar gauge].
    least_at : str
        That customer.
    weak : int32 array
        Rows of the customers still fed that fall below the least pressure and its margin.
    is_solved : bool
        False where the flow calculation has no answer.
    """

    least_mbar: float | None = None
    least_at: str = ""
    weak: NDArray[np.int32] = field(default_factory=_nobody)
    is_solved: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class _Inlets:
    """Meter inlets in the order of their customers.

    Parameters
    ----------
    customer : int array
        Row of each customer in the district.
    pressure_pa_gauge : float array
        The least of all states [Pa gauge].
    """

    customer: NDArray[np.int64]
    pressure_pa_gauge: NDArray[np.float64]

    def lowest(self) -> tuple[float, int, float] | None:
        """Return the lowest, rounded [Pa gauge], its customer and its pressure as it is."""
        if not len(self.customer):
            return None
        # Equal to the last bits is equal: the customer first in order is named.
        rounded = np.round(self.pressure_pa_gauge, 2)
        row = int(np.argmin(rounded))
        return float(rounded[row]), int(self.customer[row]), float(self.pressure_pa_gauge[row])


class PressureSolver:
    """The flow calculation of a district, solved again for each set of stops: of a large one what is near.

    Parameters
    ----------
    request : PlanRequest
        Network, rules and window; its work is not looked at.
    context : callable, optional
        Returns the context of the same network and window, where somebody else has it already.
    """

    def __init__(self, request: PlanRequest, context: Callable[[], PlanningContext] | None = None) -> None:
        self._request, self._context_of = request, context
        self._tile: tuple[tuple[int, int], PlanningContext] | None = None

    @cached_property
    def _context(self) -> PlanningContext | None:
        try:
            known = self._context_of
            context = PlanningContext.for_request(self._request) if known is None else known()
            context.before.require_solved()
        except (BadNetworkError, NotSolvedError):
            # Fed by an injection alone, or without a solution before any stop.
            return None
        return context

    def solved(self, cut: Cut) -> SolvedPressures:
        """Solve the district with the stops of a cut in and no feed."""
        whole = self._context
        if whole is None:
            return SolvedPressures(is_solved=False)
        for context in self._contexts(whole, cut):
            with contextlib.suppress(BoundaryAffectedError):
                return self._on(context, cut)
        raise AssertionError("the whole district has no boundary")

    def _contexts(self, whole: PlanningContext, cut: Cut) -> Iterator[PlanningContext]:
        """Yield desks to try: of the tile that the cut lies in, shared by its neighbours, then its own.

        Which they are depends on the cut alone: the order in which mains are asked for does not matter.
        """
        nodes = self._request.network.nodes
        at = np.array([stop.live_node for stop in cut.stops], dtype=np.int64)
        if not len(at):
            at = np.concatenate([zone.nodes for zone in cut.zones]).astype(np.int64)
        xy = np.column_stack([nodes.x_m[at], nodes.y_m[at]])
        yield self._desk_of_tile(whole, xy.mean(axis=0))
        yield from contexts_around(whole, xy)

    def _desk_of_tile(self, whole: PlanningContext, xy_m: NDArray[np.float64]) -> PlanningContext:
        column, row = (int(number) for number in np.floor(xy_m / TILE_M))
        if self._tile is None or self._tile[0] != (column, row):
            corners = TILE_M * np.array([[column, row], [column + 1, row + 1]], dtype=float)
            self._tile = (column, row), next(contexts_around(whole, corners))
        return self._tile[1]

    def _on(self, context: PlanningContext, whole_cut: Cut) -> SolvedPressures:
        near = context if isinstance(context, SubnetworkContext) else None
        cut = whole_cut if near is None else cut_within(whole_cut, near.subnetwork)
        reach = reach_of(context, cut)
        states = solve_without_feeds(context, cut, reach).states
        owner, at = context.attachments
        kept = reach.fed[at] & ~reach.isolated[owner] & ~reach.stranded[owner] & ~context.weak_before[owner]
        pressure = np.min([state.pressure_pa_gauge for state in states], axis=0)[at[kept]]
        row = (
            np.arange(len(context.request.network.customers))
            if near is None
            else near.subnetwork.rows.customer
        )
        here = _Inlets(row[owner[kept]], pressure)
        groups = [here] if near is None else [here, self._elsewhere(near)]
        if not all(np.isfinite(inlets.pressure_pa_gauge).all() for inlets in groups):
            return SolvedPressures(is_solved=False)
        known = [lowest for lowest in (inlets.lowest() for inlets in groups) if lowest is not None]
        if not known:
            return SolvedPressures()
        _, customer, least = min(known)
        return SolvedPressures(
            rounded_down(least / PA_PER_MBAR, DIGITS),
            self._request.network.customers.id[customer],
            np.unique(here.customer[pressure < context.required_pa_gauge]).astype(np.int32),
        )

    @staticmethod
    def _elsewhere(near: SubnetworkContext) -> _Inlets:
        """Return the inlets beyond a subnetwork, which the stops do not touch."""
        whole = near.whole
        owner, at = whole.attachments
        beyond = np.ones(len(whole.request.network.customers), dtype=bool)
        beyond[near.subnetwork.rows.customer] = False
        kept = np.flatnonzero(beyond[owner] & whole.fed_before[at] & ~whole.weak_before[owner])
        pressure = np.min([state.pressure_pa_gauge for state in whole.before_by_hour], axis=0)
        return _Inlets(owner[kept], pressure[at[kept]])
