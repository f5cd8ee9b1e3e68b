"""How far a place on a main is from the nearest fitting, joint, tee or end, and an earlier squeeze."""

from __future__ import annotations

import numpy as np

from netplan.network.model import Network
from netplan.network.vocabulary import FittingKind

__all__ = ["nearest_fitting", "nearest_mark_m"]

_ROUNDED_M = 1e-6


def nearest_fitting(network: Network, pipe: int, chainage_m: float) -> tuple[float, str]:
    """Return how far along a main the nearest fitting, joint, tee or end is [m], and what it is.

    Of recorded fittings those that are no squeeze marks; where mains and services meet there is a joint or
    tee. Of two that are as near the fitting is named.

    Parameters
    ----------
    network : Network
    pipe : int
        Row of the main.
    chainage_m : float
        Place on it [m].
    """
    fittings, pieces = network.fittings, network.pieces
    found = []
    for row in np.flatnonzero(fittings.pipe == pipe).tolist():
        kind = FittingKind(int(fittings.kind[row]))
        if kind is not FittingKind.SQUEEZE_MARK:
            words = f"{kind.word.replace('_', ' ')} {fittings.id[row]}"
            found.append((abs(float(fittings.chainage_m[row]) - chainage_m), 0, words))
    length_m = float(network.pipes.length_m[pipe])
    for row in pieces.rows_of(pipe):
        for at in (float(pieces.from_m[row]), float(pieces.to_m[row])):
            is_end = at <= _ROUNDED_M or at >= length_m - _ROUNDED_M
            found.append((abs(at - chainage_m), 1, "end of the main" if is_end else "joint or tee"))
    distance_m, _, words = min(found)
    return distance_m, words


def nearest_mark_m(network: Network, pipe: int, chainage_m: float) -> float | None:
    """Return how far along a main the nearest squeeze mark on record is [m]; None without one."""
    fittings = network.fittings
    rows = np.flatnonzero((fittings.pipe == pipe) & (fittings.kind == FittingKind.SQUEEZE_MARK))
    if not len(rows):
        return None
    return float(np.min(np.abs(fittings.chainage_m[rows] - chainage_m)))
