"""How much work a search may do before it ends unproven: zones, flow solutions, and last the clock."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from netplan.hydraulics import SolutionCount
from netplan.rules.excavation_rules import FallbackRules
from netplan.rules.rule_set import ChoiceRules

__all__ = ["Budget", "BudgetSpentError"]


MOST_ALIKE: Final = 60
"""Zones refused for one and the same reason before a search without an option ends (own): where there is an
option, the first came after a quarter of that at most [-]."""
LEAST_SOLVES: Final = 1_000
"""Flow solutions that these zones take at least (own): of 200 random sections of the sample town one had its
first option after 96 zones, most of them refused alike, and some 800 solutions [-]."""


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
    fallback : FallbackRules
        ``max_zones``, where fallbacks are prepared.

    Attributes
    ----------
    zones : int
        Zones priced so far [-].
    has_options : bool
        Whether any option was found yet.
    fallback_zones : int
        Zones whose prepared fallbacks were looked for so far [-].
    """

    def __init__(self, choice: ChoiceRules, solutions: SolutionCount, fallback: FallbackRules) -> None:
        self._choice, self._solutions, self._fallback = choice, solutions, fallback
        self._first = solutions.done
        self._start_s = time.monotonic()
        self.zones = self.fallback_zones = 0
        self.has_options = False
        self._zones_by_reason: Counter[str] = Counter()

    @property
    def solves(self) -> int:
        """Flow networks solved so far [-]."""
        return self._solutions.done - self._first

    def count_refused(self, reason: str) -> None:
        """Count a zone for the reason that it is refused for."""
        self._zones_by_reason[reason] += 1

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
        alike = max(self._zones_by_reason.values(), default=0)
        if not self.has_options and alike >= MOST_ALIKE and self.solves >= LEAST_SOLVES:
            raise BudgetSpentError(f"stopped after {alike} zones refused for one and the same reason")
        most = self._fallback.max_zones
        if self._fallback.prepared and self.fallback_zones >= most:
            raise BudgetSpentError(f"stopped after {most} zones whose fallbacks were looked for")
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
