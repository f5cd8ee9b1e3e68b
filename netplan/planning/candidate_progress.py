"""What is said of a search while it runs: candidate, best so far, lower bound, and how far the proof is."""

from __future__ import annotations

from collections.abc import Callable

from netplan.core.search_progress import SearchProgress
from netplan.planning.crew_day import in_currency

__all__ = ["CandidateProgress"]


class CandidateProgress:
    """Tells of every candidate of one search.

    Parameters
    ----------
    tell : callable
        Called with words.
    most : int
        Candidates that are priced at most [-].
    currency : str
    """

    def __init__(self, tell: Callable[[str], None], most: int, currency: str) -> None:
        self._tell, self._most, self._currency = tell, most, currency
        self._first_minor: int | None = None

    def tell(self, number: int, bound_minor: int, best_minor: int | None, worst_minor: int | None) -> None:
        """Tell of a candidate.

        Parameters
        ----------
        number : int
            From 1.
        bound_minor : int
            No candidate from here on is cheaper [minor units].
        best_minor : int or None
            Burden of the best option so far [minor units].
        worst_minor : int or None
            Burden at which the search ends [minor units]; None while options are wanting.
        """
        if self._first_minor is None:
            self._first_minor = bound_minor
        words = [f"candidate {number} of at most {self._most}"]
        if best_minor is not None:
            words.append(f"best {in_currency(best_minor):,.0f}")
        words.append(f"lower bound {in_currency(bound_minor):,.0f} {self._currency}")
        share = None
        if worst_minor is not None:
            way = worst_minor - self._first_minor
            share = 1.0 if way <= 0 else min(max((bound_minor - self._first_minor) / way, 0.0), 1.0)
        self._tell(SearchProgress("; ".join(words), share))
