"""Where a stage may begin and end along a renewal."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from netplan.network.model import Network
from netplan.rules.staging_rules import StagingRules
from netplan.staging.renewal import Renewal

__all__ = ["Pair", "allowed_lengths", "borders_of"]

Pair = tuple[int, int]
"""Places of two borders in their order along the renewal: a length that may be a stage."""

SAME_M: Final = 0.01
"""How far a length may be beyond the rules' lengths (own) [m]."""


def borders_of(network: Network, renewal: Renewal, step_m: float) -> tuple[float, ...]:
    """Return where stages may end along a renewal [m]: ends of mains and pieces, and places between.

    Places between are set so that no two neighbours are farther apart than `step_m`. Of piece ends nearer
    to each other than half of that the first is taken; ends of mains always are.
    """
    pieces = network.pieces
    sure = {0.0, renewal.length_m, *(leg.start_m for leg in renewal.legs)}
    wished: set[float] = set()
    for leg in renewal.legs:
        rows = np.arange(*np.searchsorted(pieces.pipe, [leg.pipe, leg.pipe + 1]))
        for at in np.unique(pieces.from_m[rows]).tolist():
            wished.add(leg.start_m + (at if leg.forward else leg.length_m - at))
    chosen = sorted(sure)
    for at in sorted(wished):
        if min(abs(at - other) for other in chosen) >= step_m / 2:
            chosen.append(at)
    chosen.sort()
    full: list[float] = []
    for low, high in pairwise(chosen):
        count = max(1, int(np.ceil((high - low) / step_m - 1e-9)))
        full += [low + (high - low) * k / count for k in range(count)]
    return tuple(round(at, 3) for at in [*full, chosen[-1]])


def allowed_lengths(borders: Sequence[float], rules: StagingRules) -> tuple[Pair, ...]:
    """Return the pairs of borders whose length the rules allow a stage; the whole may be too short.

    Parameters
    ----------
    borders : sequence of float
        Ascending [m].
    rules : StagingRules
    """
    last = len(borders) - 1
    return tuple(
        (i, j)
        for i in range(last)
        for j in range(i + 1, last + 1)
        if borders[j] - borders[i] <= rules.longest_m + SAME_M
        and (borders[j] - borders[i] >= rules.shortest_m - SAME_M or (i, j) == (0, last))
    )
