"""Values grouped, or summed, by a whole number: rows of a compressed sparse matrix."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["grouped", "sum_at"]


def grouped(
    group: NDArray[np.integer], n: int, values: NDArray[np.integer]
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Return values grouped, in their order within each group.

    Parameters
    ----------
    group : int array, shape (m,)
        Group of each value, from 0 to n - 1.
    n : int
        Number of groups.
    values : int array, shape (m,)
        Each below 2^31.

    Returns
    -------
    start : int64 array, shape (n + 1,)
        Values of group g stand from ``start[g]`` to ``start[g + 1]``.
    values : int32 array, shape (m,)
    """
    order = np.argsort(group, kind="stable")
    start = np.zeros(n + 1, dtype=np.int64)
    np.cumsum(np.bincount(group, minlength=n), out=start[1:])
    return start, values[order].astype(np.int32)


def sum_at(where: NDArray[np.int64], values: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Return, for each of `size` places, the sum of the values that belong there."""
    return np.asarray(np.bincount(where, weights=values, minlength=size), dtype=float)
