"""What is left of the pressure once the stops are in and nothing is fed."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.constants import PA_PER_MBAR
from netplan.errors import BadNetworkError, NotSolvedError
from netplan.isolation import Cut
from netplan.plan.desk import Desk
from netplan.plan.effects import reach_of
from netplan.plan.request import PlanRequest
from netplan.plan.unfed import solve_unfed

__all__ = ["Pressures", "Solved"]

DIGITS: Final = 3


def _nobody() -> NDArray[np.int32]:
    return np.zeros(0, dtype=np.int32)


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
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


class Pressures:
    """The flow calculation of a district, prepared once and solved again warm for each set of stops.

    Parameters
    ----------
    request : PlanRequest
        Network, rules and window; its work is not looked at.
    """

    def __init__(self, request: PlanRequest) -> None:
        self._request = request

    @cached_property
    def _desk(self) -> Desk | None:
        try:
            desk = Desk.for_request(self._request)
            desk.before.require_solved()
        except (BadNetworkError, NotSolvedError):
            # Fed by an injection alone, or without a solution before any stop.
            return None
        return desk

    def solved(self, cut: Cut) -> Solved:
        """Solve the district with the stops of a cut in and no feed."""
        desk = self._desk
        if desk is None:
            return Solved(is_solved=False)
        reach = reach_of(desk, cut)
        states = solve_unfed(desk, cut, reach).states
        owner, at = desk.attachments
        kept = reach.fed[at] & ~reach.isolated[owner] & ~reach.stranded[owner] & ~desk.weak_before[owner]
        if not kept.any():
            return Solved()
        pressure = np.min([state.pressure_pa_gauge for state in states], axis=0)[at[kept]]
        if not np.isfinite(pressure).all():
            return Solved(is_solved=False)
        # Equal to the last bits is equal: the customer first in order is named.
        least = int(np.argmin(np.round(pressure, 2)))
        weak = np.unique(owner[kept][pressure < desk.required_pa_gauge]).astype(np.int32)
        return Solved(
            round(float(pressure[least]) / PA_PER_MBAR, DIGITS),
            self._request.network.customers.id[int(owner[kept][least])],
            weak,
        )
