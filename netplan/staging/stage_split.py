"""The split itself: dynamic programmes over borders along the renewal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["NoSplitError", "StageCandidate", "StageSplit", "split_exactly"]


class NoSplitError(Exception):
    """No series of stages from one end to the other exists, or was found.

    Parameters
    ----------
    spent : bool
        Whether the plans that the rules allow were spent before it was shown that there is none.
    """

    def __init__(self, *, spent: bool = False) -> None:
        super().__init__()
        self.spent = spent


@dataclass(frozen=True, slots=True)
class StageCandidate:
    """One way to stop a stage.

    Parameters
    ----------
    off : int
        Customers off while it is worked on.
    burden_minor : int
        Its burden alone [minor units].
    what : object
        The caller's own.
    """

    off: int
    burden_minor: int
    what: Any = None


@dataclass(frozen=True, slots=True)
class StageSplit:
    """Stages from end to end.

    Parameters
    ----------
    borders : tuple of int
        Rows of the borders, the two ends included.
    ways : tuple of StageCandidate
        The way chosen for each stage.
    most_off : int
        Customers off in the worst stage.
    burden_minor : int
        Of all stages, what neighbours share paid for once [minor units].
    """

    borders: tuple[int, ...]
    ways: tuple[StageCandidate, ...]
    most_off: int
    burden_minor: int


Ways = Callable[[int, int], Sequence[StageCandidate]]
Shared = Callable[[StageCandidate, StageCandidate], int]


def split_exactly(count: int, ways: Ways, shared_minor: Shared) -> StageSplit:
    """Return the best split: fewest off in the worst stage, then lowest burden, then fewest stages.

    Parameters
    ----------
    count : int
        Number of borders, the two ends included.
    ways : callable
        Ways to stop the stage between two borders; none where it may not be a stage.
    shared_minor : callable
        What two neighbouring stages, the first first, pay for once less [minor units].

    Raises
    ------
    NoSplitError
        When no series of stages reaches from one end to the other.

    Notes
    -----
    What a stage shares depends on the ways of the stage and its neighbour alone, so the best series up to a
    stage with its way is all that has to be remembered. Ties go to the earlier borders and ways.
    """
    found = {(i, j): tuple(ways(i, j)) for i in range(count) for j in range(i + 1, count)}
    most = _least_most(count, found)
    if most is None:
        raise NoSplitError
    return _cheapest(count, found, most, shared_minor)


def _least_most(count: int, found: dict[tuple[int, int], tuple[StageCandidate, ...]]) -> int | None:
    """Return the least number off in the worst stage of any series."""
    best: list[int | None] = [0, *[None] * (count - 1)]
    for j in range(1, count):
        for i in range(j):
            before = best[i]
            if before is not None and found[i, j]:
                worst = max(before, min(way.off for way in found[i, j]))
                known = best[j]
                best[j] = worst if known is None else min(known, worst)
    return best[-1]


def _cheapest(
    count: int, found: dict[tuple[int, int], tuple[StageCandidate, ...]], most: int, shared_minor: Shared
) -> StageSplit:
    """Return the series with the lowest burden in which no stage has more off than `most`."""
    ending: list[dict[tuple[int, int], tuple[int, int, tuple[int, int] | None]]] = [{} for _ in range(count)]
    for j in range(1, count):
        for i in range(j):
            for k, way in enumerate(found[i, j]):
                if way.off > most:
                    continue
                best: tuple[int, int, tuple[int, int] | None] | None = (
                    (way.burden_minor, 1, None) if i == 0 else None
                )
                for before, (burden, stages, _) in ending[i].items():
                    left = found[before[0], i][before[1]]
                    total = burden + way.burden_minor - shared_minor(left, way)
                    if best is None or (total, stages + 1) < best[:2]:
                        best = (total, stages + 1, before)
                if best is not None:
                    ending[j][i, k] = best
    last = min(ending[-1], key=lambda state: (*ending[-1][state][:2], state))
    burden = ending[-1][last][0]
    borders, chosen = [count - 1], []
    state: tuple[int, int] | None = last
    while state is not None:
        i, k = state
        chosen.append(found[i, borders[-1]][k])
        state = ending[borders[-1]][i, k][2]
        borders.append(i)
    ways = tuple(reversed(chosen))
    return StageSplit(tuple(reversed(borders)), ways, max(way.off for way in ways), burden)
