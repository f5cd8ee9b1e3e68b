"""Series of stages as paths over borders: the least in the worst stage, or the least in sum."""

from __future__ import annotations

from collections.abc import Mapping

from netplan.staging.stage_borders import Pair

__all__ = ["least_sum_path", "least_sum_through", "least_worst_path"]

Path = tuple[Pair, ...]


def least_worst_path(count: int, figure: Mapping[Pair, int], doubts: Mapping[Pair, int]) -> Path | None:
    """Return the path with the least figure in its worst stage, of these one with the fewest doubts.

    Parameters
    ----------
    count : int
        Number of borders, the two ends included.
    figure : mapping
        Of each length that may be a stage.
    doubts : mapping
        Of each length, at least 0.

    Returns
    -------
    tuple of pairs, or None
        None where no path reaches the other end.
    """
    worst = _least_worst(count, figure)
    if worst is None:
        return None
    allowed = {pair: (doubts[pair], 1) for pair, value in figure.items() if value <= worst}
    return _least_path(count, allowed)


def _least_worst(count: int, figure: Mapping[Pair, int]) -> int | None:
    best: list[int | None] = [None] * count
    best[0] = -1
    for i, j in sorted(figure, key=lambda pair: (pair[1], pair[0])):
        before = best[i]
        if before is not None:
            reached, known = max(before, figure[i, j]), best[j]
            best[j] = reached if known is None else min(known, reached)
    return best[-1]


def least_sum_path(count: int, figure: Mapping[Pair, int]) -> Path | None:
    """Return the path with the least sum, of equal ones one with the fewest stages; None where there is none.

    Parameters
    ----------
    count, figure
        As in `least_worst_path`.
    """
    return _least_path(count, {pair: (value, 1) for pair, value in figure.items()})


def _least_path(count: int, weight: Mapping[Pair, tuple[int, int]]) -> Path | None:
    best: list[tuple[int, int] | None] = [None] * count
    came: list[int] = [-1] * count
    best[0] = (0, 0)
    for i, j in sorted(weight, key=lambda pair: (pair[1], pair[0])):
        before = best[i]
        if before is None:
            continue
        reached, known = (before[0] + weight[i, j][0], before[1] + weight[i, j][1]), best[j]
        if known is None or reached < known:
            best[j], came[j] = reached, i
    if best[-1] is None:
        return None
    path, at = list[Pair](), count - 1
    while at:
        path.append((came[at], at))
        at = came[at]
    return tuple(reversed(path))


def least_sum_through(count: int, figure: Mapping[Pair, int]) -> dict[Pair, int]:
    """Return for each length on a path the least sum of any path that holds it.

    Parameters
    ----------
    count, figure
        As in `least_worst_path`.
    """
    ahead, behind = dict[int, int]({0: 0}), dict[int, int]({count - 1: 0})
    for i, j in sorted(figure, key=lambda pair: (pair[1], pair[0])):
        if i in ahead:
            reached = ahead[i] + figure[i, j]
            ahead[j] = min(ahead.get(j, reached), reached)
    for i, j in sorted(figure, key=lambda pair: (-pair[0], -pair[1])):
        if j in behind:
            reached = behind[j] + figure[i, j]
            behind[i] = min(behind.get(i, reached), reached)
    return {
        (i, j): ahead[i] + value + behind[j] for (i, j), value in figure.items() if i in ahead and j in behind
    }
