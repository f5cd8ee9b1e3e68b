"""Arithmetic along many polylines held as flat coordinate arrays."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats, Ints

__all__ = ["along", "measures"]


def measures(coords_m: Floats, start: Ints) -> Floats:
    """Return the running planar length [m] at each vertex, counted through all lines one after another."""
    step = np.zeros(len(coords_m))
    if len(coords_m) > 1:
        step[1:] = np.hypot(*np.diff(coords_m, axis=0).T)
        step[start[1:-1]] = 0.0
    return np.cumsum(step)


def along(values: Floats, start: Ints, running_m: Floats, line: Ints, measure_m: Floats) -> Floats:
    """Return vertex values interpolated at planar measures on lines.

    Parameters
    ----------
    values : float array, shape (k,) or (k, d)
        What to interpolate, one row a vertex.
    start : int64 array, shape (n + 1,)
        Offsets of the lines.
    running_m : float array, shape (k,)
        Result of `measures`.
    line, measure_m : arrays, shape (m,)
        Rows of lines, and measures on them [m]; measures beyond an end are taken at the end.

    Returns
    -------
    float array, shape (m,) or (m, d)
    """
    first, last = start[line], start[line + 1] - 1
    goal = np.clip(running_m[first] + measure_m, running_m[first], running_m[last])
    left = np.clip(np.searchsorted(running_m, goal, side="right") - 1, first, np.maximum(last - 1, first))
    right = np.minimum(left + 1, last)
    span = running_m[right] - running_m[left]
    share = np.divide(goal - running_m[left], span, out=np.zeros_like(goal), where=span > 0)
    share = share if values.ndim == 1 else share[:, None]
    return np.asarray(values[left] * (1.0 - share) + values[right] * share)
