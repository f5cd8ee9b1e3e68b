"""The arcs of all plain segments of a network at once, in arrays."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.simple_segments import SimpleSegments

__all__ = ["Arcs", "arcs_of", "plain_arcs"]

Arcs = tuple[int, int, int, int]
"""Capacity from the first end to the second and back, what either end pays for being in the zone
[minor units]."""


def arcs_of(out_u: int, out_v: int, gas_minor: int) -> Arcs:
    """Return a segment as arcs, from the least price of a stop with the zone at either end and its gas.

    The gas of a segment wholly inside is shared by its ends. So that no arc becomes negative, no end pays
    more than a stop there costs.
    """
    gas = min(gas_minor, out_u + out_v)
    share = min(max(gas // 2, gas - out_v), out_u)
    return (
        out_u - share if out_u < INFINITE else INFINITE,
        out_v - gas + share if out_v < INFINITE else INFINITE,
        share,
        gas - share,
    )


def plain_arcs(segments: SimpleSegments, stranded: Ints) -> tuple[Ints, Ints, Ints]:
    """Return the arcs of all plain segments, priced as `arcs_of` does one by one.

    Parameters
    ----------
    segments : SimpleSegments
    stranded : int64 array, shape (segments, 2)
        What a stop strands with the zone at the segment's a, and at its b [minor units].

    Returns
    -------
    int64 arrays, shape (segments, 2)
        From the segment's a, and from its b: capacity along the segment, capacity back, and what that end
        pays for being in the zone [minor units]. They hold where a segment is plain.
    """
    out = np.minimum(segments.cost_minor[:, np.newaxis] + stranded, INFINITE)
    out_a, out_b = out[:, 0], out[:, 1]
    gas = np.minimum(segments.gas_minor, out_a + out_b)
    share = np.minimum(np.maximum(gas // 2, gas - out_b), out_a)
    pay = np.column_stack([share, gas - share])
    forth = np.where(out < INFINITE, out - pay, INFINITE)
    return forth, forth[:, ::-1], pay
