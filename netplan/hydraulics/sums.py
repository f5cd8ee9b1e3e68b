"""Sums of values by place."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["sum_at"]


def sum_at(
    where: npt.NDArray[np.int64], values: npt.NDArray[np.float64], size: int
) -> npt.NDArray[np.float64]:
    """Return, for each of `size` places, the sum of the values that belong there."""
    return np.asarray(np.bincount(where, weights=values, minlength=size), dtype=float)
