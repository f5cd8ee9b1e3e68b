"""Which crew shuts which stop: least time until the last one is shut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

__all__ = ["ScheduledStop", "schedule"]

MOST_EXACT: Final = 12
"""Stops up to which every way is tried; beyond, the longest first to whoever is free first (own) [-]."""


class ScheduledStop(NamedTuple):
    """Row of a stop, its crew from 0, and when it is begun and shut [s]."""

    row: int
    crew: int
    begins: int
    ends: int


def schedule(seconds: Sequence[int], crews: int) -> tuple[tuple[ScheduledStop, ...], bool]:
    """Return who shuts what and when, in the order of shutting, and whether no way ends sooner.

    Each crew shuts its quickest stop first, so that the sum of the times at which stops are shut is least.

    Parameters
    ----------
    seconds : sequence of int
        Of each stop, from arriving to shut; ways between them are left out [s].
    crews : int
        At least 1.
    """
    assigned = _longest_first(seconds, crews)
    bound = max([-(-sum(seconds) // crews), *seconds], default=0)
    is_exact = _makespan(seconds, assigned, crews) <= bound
    if not is_exact and len(seconds) <= MOST_EXACT:
        assigned, is_exact = _exact(seconds, crews, assigned), True
    found = []
    for crew in range(crews):
        at = 0
        own = [row for row, of in enumerate(assigned) if of == crew]
        for row in sorted(own, key=lambda row: (seconds[row], row)):
            found.append(ScheduledStop(row, crew, at, at + seconds[row]))
            at += seconds[row]
    return tuple(sorted(found, key=lambda stop: (stop.ends, stop.begins, stop.row))), is_exact


def _makespan(seconds: Sequence[int], assigned: Sequence[int], crews: int) -> int:
    loads = [0] * crews
    for row, crew in enumerate(assigned):
        loads[crew] += seconds[row]
    return max(loads)


def _longest_first(seconds: Sequence[int], crews: int) -> list[int]:
    loads, assigned = [0] * crews, [0] * len(seconds)
    for row in sorted(range(len(seconds)), key=lambda row: (-seconds[row], row)):
        crew = min(range(crews), key=lambda crew: (loads[crew], crew))
        assigned[row] = crew
        loads[crew] += seconds[row]
    return assigned


def _exact(seconds: Sequence[int], crews: int, known: list[int]) -> list[int]:
    """Return the best of all ways, by depth first with the known way as a bound."""
    order = sorted(range(len(seconds)), key=lambda row: (-seconds[row], row))
    best, best_at = known, _makespan(seconds, known, crews)
    loads, assigned = [0] * crews, [0] * len(seconds)

    def place(depth: int) -> None:
        nonlocal best, best_at
        if max(loads) >= best_at:
            return
        if depth == len(order):
            best, best_at = assigned.copy(), max(loads)
            return
        row, tried = order[depth], set()
        for crew in range(crews):
            if loads[crew] in tried:
                continue  # crews that have as much to do are alike
            tried.add(loads[crew])
            loads[crew] += seconds[row]
            assigned[row] = crew
            place(depth + 1)
            loads[crew] -= seconds[row]

    place(0)
    return best
