"""Lengths of a line inside a circle."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats

__all__ = ["lengths_in_circle"]


def lengths_in_circle(
    coords: Floats, centre: tuple[float, float], radius: float
) -> list[tuple[float, float]]:
    """Return from where to where along a line it lies inside a circle, its edge included.

    Parameters
    ----------
    coords : float64 array, shape (n, 2)
        Vertices of the line.
    centre : (float, float)
    radius : float
        In the unit of the coordinates; none is inside where it is negative.

    Returns
    -------
    list of (float, float)
        Measured along the line from its first vertex, in the unit of the coordinates, ascending and apart.
    """
    if radius < 0.0:
        return []
    start, step = coords[:-1] - np.array(centre), np.diff(coords, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    passed = np.concatenate([[0.0], np.cumsum(length)[:-1]])
    square = np.where(length > 0.0, length**2, 1.0)
    # |start + t step|² = radius², for t from 0 to 1 on each straight part.
    nearest = -(start * step).sum(axis=1) / square
    half = nearest**2 - ((start**2).sum(axis=1) - radius**2) / square
    inside = half >= 0.0
    reach = np.sqrt(np.maximum(half, 0.0))
    low, high = np.maximum(nearest - reach, 0.0), np.minimum(nearest + reach, 1.0)
    inside &= low <= high
    found: list[tuple[float, float]] = []
    for one, two in zip((passed + low * length)[inside], (passed + high * length)[inside], strict=True):
        if found and one <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], float(two)))
        else:
            found.append((float(one), float(two)))
    return found
