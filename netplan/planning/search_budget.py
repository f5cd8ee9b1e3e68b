"""How much work a search may do before it ends unproven: zones, flow solutions, and last the clock."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from netplan.hydraulics import SolutionCount
from netplan.rules.rule_set import ChoiceRules

__all__ = ["Budget", "BudgetSpentError"]


LEAST_ALIKE: Final = 1_000
"""Flow solutions that zones refused for one and the same reason may take, at least, before a search without
an option ends (own): where an option was found, it took less than half of that [-]."""
ALIKE_SHARE: Final = 4
"""What part of all solutions allowed without an option that is, where it is more (own) [-]."""


class BudgetSpentError(Exception):
    """The search has to end here; the message says after what."""


class Budget:
    """Ends a search after so many zones or flow solutions, the same on every machine.

    Sooner where zone after zone is refused for the same reason and no option was found.

    The clock is the last resort: what it ends may come out otherwise in another run.

    Parameters
    ----------
    choice : ChoiceRules
        ``max_zones``, ``max_solves``, ``max_solves_without_option`` and ``seconds``.
    solutions : SolutionCount
        Of the context that the search is priced on.

    Attributes
    ----------
    zones : int
        Zones priced so far [-].
    has_options : bool
        Whether any option was found yet.
    """

    def __init__(self, choice: ChoiceRules, solutions: SolutionCount) -> None:
        self._choice, self._solutions = choice, solutions
        self._first = solutions.done
        self._start_s = time.monotonic()
        self.zones = 0
        self.has_options = False
        self._solves_by_reason: Counter[str] = Counter()
        self._counted = 0

    @property
    def solves(self) -> int:
        """Flow networks solved so far [-]."""
        return self._solutions.done - self._first

    def count_refused(self, reason: str) -> None:
        """Count what was solved since the last zone for a reason that a zone is refused for."""
        self._solves_by_reason[reason] += self.solves - self._counted
        self._counted = self.solves

    def require_left(self) -> None:
        """Check that there is something left to search with.

        Raises
        ------
        BudgetSpentError
            When there is not.
        """
        choice = self._choice
        if self.zones >= choice.max_zones:
            raise BudgetSpentError(f"stopped after {choice.max_zones} zones")
        most = choice.max_solves
        if not self.has_options:
            most = min(most, choice.max_solves_without_option)
        if self.solves >= most:
            raise BudgetSpentError(f"stopped after {most} flow solutions")
        alike = max(LEAST_ALIKE, choice.max_solves_without_option // ALIKE_SHARE)
        if not self.has_options and max(self._solves_by_reason.values(), default=0) >= alike:
            raise BudgetSpentError(
                f"stopped after {alike} flow solutions for zones refused for one and the same reason"
            )
        if time.monotonic() - self._start_s > choice.seconds:
            raise BudgetSpentError(
                f"stopped by the clock after {choice.seconds:g} s: another run may prove more"
            )

    @contextmanager
    def one_zone(self) -> Iterator[None]:
        """Price one zone within: it is counted, and left where the budget is spent in its midst.

        Raises
        ------
        BudgetSpentError
            When the budget is spent before or in its midst.
        """
        self.require_left()
        self._solutions.before_each = self.require_left
        try:
            yield
        finally:
            self._solutions.before_each = None
        self.zones += 1
