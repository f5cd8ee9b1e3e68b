"""The ways to isolate the work in order of price; once the day refused one, those within the day alone."""

from __future__ import annotations

from typing import Final

from netplan.isolation import Cut, CutSearch, IsolationProblem
from netplan.planning.context import PlanningContext
from netplan.planning.day_relaxation import (
    SAME_MIN,
    DayLimit,
    DayRelaxation,
    ZoneKey,
    limits_of_day,
    relaxed_by_day,
    zones_within_day,
)
from netplan.planning.least_hours import require_hours

__all__ = ["CutsWithinDay"]

MOST_PASSED_OVER: Final = 20_000
"""Zones passed over in a row, because the day is too short for them, before the search gives up (own) [-]."""


class CutsWithinDay:
    """Gives cuts one by one, each with a bound for all that come after it.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem

    Attributes
    ----------
    search : CutSearch
    bound_minor : int
        No option on the cut given last, or on one still to come, is cheaper [minor units].
    """

    def __init__(self, context: PlanningContext, problem: IsolationProblem) -> None:
        self._context, self._problem = context, problem
        self.search: CutSearch = context.cuts(problem)
        self.bound_minor = 0
        self._relaxed = DayRelaxation(problem)
        self._limits: tuple[DayLimit, ...] = ()
        self._left: set[ZoneKey] | None = None
        self._gave_up = False

    @property
    def is_limited(self) -> bool:
        """Whether cuts for which the day is too short are passed over."""
        return bool(self._limits)

    @property
    def gave_up(self) -> bool:
        """Whether the search ended although there may be more."""
        return self.search.gave_up or self._gave_up

    @property
    def end(self) -> str:
        """Why no cut comes any more, in words."""
        if self.search.gave_up:
            return f"stopped after {self.search.tried_in_a_row} without a cut"
        if self._gave_up:
            return f"stopped after {MOST_PASSED_OVER} zones in a row for which the day is too short"
        within = " that the day is long enough for" if self.is_limited else ""
        return f"every way to isolate the work{within} was priced"

    def limit(self) -> None:
        """Pass over what the day is too short for, from now on; cuts that were given may come once more.

        Raises
        ------
        NoPlanError
            When the day is too short for every zone.
        """
        context, problem = self._context, self._problem
        require_hours(context, problem)
        self._limits = limits_of_day(context, problem)
        within = zones_within_day(context, problem, self._limits)
        self._left = None if within is None else set(within)
        self._relaxed = relaxed_by_day(context, problem, self._limits)
        self.search = context.cuts(self._relaxed.problem)

    def next_cut(self) -> Cut | None:
        """Return the next cut; None where there is none, or the search gave up.

        Raises
        ------
        NoPlanError
            When no set of stops isolates the work at all.
        """
        for _ in range(MOST_PASSED_OVER):
            if self._left is not None and not self._left:
                return None
            if self._context.interrupt is not None:
                # Zones passed over take seconds together: a newer order must not wait for them.
                self._context.interrupt()
            try:
                outline = self.search.outline()
            except StopIteration:
                self.bound_minor = self.search.lower_bound_minor - self._relaxed.ease_minor
                return None
            if self._left is not None:
                self._left.discard((outline.supernodes, outline.segments, outline.methods))
            self.bound_minor = outline.bound_minor - self._relaxed.ease_minor
            if all(limit.over_min(outline.methods, outline.customers) <= SAME_MIN for limit in self._limits):
                return self._relaxed.at_own_prices(self._context, self.search.cut(outline))
        self._gave_up = True
        return None
