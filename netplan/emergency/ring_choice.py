"""The ring that some crews shut soonest, with what is proven of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from netplan.emergency.crew_schedule import ScheduledStop, schedule
from netplan.emergency.ring_search import RingCut, RingQuestion

__all__ = ["ChosenRing", "fewer_meters_ring", "quickest_ring"]


@dataclass(frozen=True, slots=True, eq=False)
class ChosenRing:
    """A ring, who shuts what, and what is proven.

    Parameters
    ----------
    cut : RingCut
    order : tuple of ScheduledStop
        In the order of shutting; rows are those of ``cut.stops``.
    crews : int
    lower_bound : int
        No ring of that kind is shut sooner by these crews [s].
    reason : str
        How that is known.
    """

    cut: RingCut
    order: tuple[ScheduledStop, ...]
    crews: int
    lower_bound: int
    reason: str

    @property
    def seconds(self) -> int:
        """Until the last stop is shut [s]."""
        return max((stop.ends for stop in self.order), default=0)

    @property
    def is_optimal(self) -> bool:
        """Whether no ring of that kind is shut sooner."""
        return self.seconds <= self.lower_bound


def quickest_ring(question: RingQuestion, crews: int, failed: frozenset[int] = frozenset()) -> ChosenRing:
    """Return the ring that is shut soonest, proven for one crew and for as many crews as stops.

    Parameters
    ----------
    question : RingQuestion
    crews : int
        At least 1.
    failed : frozenset of int
        Pieces on which no stop holds.
    """
    least = question.least_sum(failed)
    if crews == 1:
        order, _ = schedule([stop.seconds for stop in least.stops], 1)
        return ChosenRing(least, order, 1, least.seconds, "least sum of recorded minutes, by a minimum cut")
    shortest = question.least_longest(failed)
    bound = max(shortest.longest, -(-least.seconds // crews))
    if shortest.supplies > least.supplies:
        bound = 0
    best: ChosenRing | None = None
    for cut in _between(question, shortest, least, failed):
        order, _ = schedule([stop.seconds for stop in cut.stops], crews)
        ring = ChosenRing(cut, order, crews, bound, "")
        if best is None or (ring.seconds, cut.seconds) < (best.seconds, best.cut.seconds):
            best = ring
        if best.seconds <= bound:
            break
    if best is None:
        raise AssertionError("at least the ring of least sum is listed")
    reason = (
        "its time is that of the longest stop no ring does without, or of all stops shared among the crews"
        if best.is_optimal
        else "best of the rings listed; no ring is shut sooner than the bound"
    )
    return ChosenRing(best.cut, best.order, crews, bound, reason)


def fewer_meters_ring(
    question: RingQuestion,
    crews: int,
    meters_per_minute: float,
    failed: frozenset[int] = frozenset(),
    *,
    least_seconds: int | None = None,
) -> ChosenRing:
    """Return the ring of least minutes and meters together.

    Parameters
    ----------
    question : RingQuestion
    crews : int
        At least 1.
    meters_per_minute : float
        Meters fewer inside the ring that are worth a minute more [1/min].
    failed : frozenset of int
        Pieces on which no stop holds.
    least_seconds : int, optional
        Least sum of the ring of least sum, where it is known [s].
    """
    cut = question.least_sum(failed, meters_per_minute=meters_per_minute)
    order, _ = schedule([stop.seconds for stop in cut.stops], crews)
    bound = question.least_sum(failed).seconds if least_seconds is None else least_seconds
    reason = f"least of minutes and meters, {meters_per_minute:g} meters worth a minute, by a minimum cut"
    return ChosenRing(cut, order, crews, -(-bound // crews), reason)


def _between(
    question: RingQuestion, shortest: RingCut, least: RingCut, failed: frozenset[int]
) -> Iterator[RingCut]:
    """Yield rings from the one whose longest stop is shortest to the one of least sum."""
    yield shortest
    yield least
    for limit in question.times_between(shortest.longest, least.longest):
        cut = question.least_sum(failed, limit)
        if cut.supplies <= least.supplies:
            yield cut
