"""The outlet on the live side that gas goes back in from: a bypass tee that is free, or one of its own."""

from __future__ import annotations

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.isolation import CutStop, CutTapping
from netplan.network.model import Network
from netplan.planning.stopped_network import piece_at
from netplan.rules import Rules
from netplan.rules.outlets_by_diameter import bypass_outlet_mm

__all__ = ["purge_tee"]

EPS_M = 1e-9
"""Places nearer than this are one (own) [m]."""


def purge_tee(
    network: Network, rules: Rules, cut_stops: tuple[CutStop, ...], place: int, tees: int
) -> CutTapping | None:
    """Return the tapping of its own that gas for a purge is taken from on the live side of a stop.

    It follows the outermost outlet of the stop's own pit, a tapping's clearance further from the work, and is
    as far from fittings, from the end of its length of main and from what other stops tap. The outlet of the
    gauge is never taken: its reading says when to stop.

    Parameters
    ----------
    network : Network
    rules : Rules
        For clearances and the table of outlets.
    cut_stops : tuple of CutStop
        All stops of the cut.
    place : int
        Which of them.
    tees : int
        Bypass tees that are tapped there for hoses, beside each other.

    Returns
    -------
    CutTapping or None
        None where there is no room, or no outlet for the main.
    """
    stop = cut_stops[place]
    elsewhere = stop.bypass_elsewhere
    own = [t for t in stop.tappings if t.size_mm > 0.0 and not (elsewhere and t.role == "bypass")]
    outer = max((t for t in own if t.offset_m > 0.0), key=lambda t: t.offset_m, default=None)
    if outer is None:
        return None
    pipes, pieces, fittings = network.pipes, network.pieces, network.fittings
    od_m = float(pipes.od_m[outer.pipe])
    size_mm = bypass_outlet_mm(rules, od_m * MM_PER_M)
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    piece = piece_at(network, outer.pipe, outer.chainage_m, near=stop)
    rising = _rises(network, stop, outer, piece)
    sign = 1.0 if rising else -1.0
    further = (max(tees, 1) - 1 if outer.role == "bypass" else 0) + 1
    at_m = outer.chainage_m + sign * further * clear
    end = float(pieces.to_m[piece] if rising else pieces.from_m[piece])
    marks = fittings.chainage_m[np.flatnonzero(fittings.pipe == outer.pipe)].tolist() if len(fittings) else []
    marks += [
        t.chainage_m
        for row, one in enumerate(cut_stops)
        if row != place
        for t in one.tappings
        if t.pipe == outer.pipe
    ]
    ahead = [sign * (mark - outer.chainage_m) for mark in (*marks, end)]
    room = min(away for away in ahead if away > EPS_M) if any(a > EPS_M for a in ahead) else 0.0
    if size_mm <= 0.0 or room < (further + 1) * clear - EPS_M:
        return None
    return CutTapping("purge_in", outer.pipe, at_m, size_mm, outer.offset_m + further * clear)


def _rises(network: Network, stop: CutStop, outer: CutTapping, piece: int) -> bool:
    """Return whether chainages rise away from the work at the outermost outlet of a stop."""
    if piece == stop.piece and stop.valve < 0:
        return outer.chainage_m > stop.chainage_m
    return int(network.pieces.from_node[piece]) == stop.live_node or (
        int(network.pieces.to_node[piece]) != stop.live_node and outer.chainage_m > stop.chainage_m
    )
