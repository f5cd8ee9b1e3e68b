"""The arcs of all plain segments of a network at once, in arrays."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Ints
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.simple_segments import SimpleSegments

__all__ = ["plain_arcs"]


def plain_arcs(segments: SimpleSegments, stranded: Ints) -> tuple[Ints, Ints, Ints]:
    """Return the arcs of all plain segments, priced as `bridges.arcs_of` does one by one.

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
