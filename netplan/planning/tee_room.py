"""How many bypass tees a main has room for beside each other: each hose of a bypass has a tee of its own."""

from __future__ import annotations

import numpy as np

from netplan.isolation import CutStop
from netplan.network.model import Network
from netplan.planning.stopped_network import live_tee, piece_at
from netplan.rules import Rules

__all__ = ["outlet_of_tee", "tees_at_stop"]


def outlet_of_tee(stop: CutStop) -> float:
    """Return the nominal size of a stop's bypass tee [mm]; 0 without one."""
    return next((tapping.size_mm for tapping in stop.tappings if tapping.role == "bypass"), 0.0)


def tees_at_stop(network: Network, rules: Rules, stop: CutStop) -> int:
    """Return how many bypass tees fit at a stop, the planned one included; at most ``bypass.parallel_max``.

    The others follow it away from the work, a tapping's clearance apart and as far from fittings and from the
    end of their length of main.
    """
    tee = live_tee(stop)
    if tee is None:
        return 0
    pipe, at_m = tee
    clear = max(rules.clearance.fitting_m, rules.clearance.fitting_od * float(network.pipes.od_m[pipe]))
    if clear <= 0.0:
        return rules.bypass.parallel_max
    pieces, fittings = network.pieces, network.fittings
    piece = piece_at(network, pipe, at_m, near=stop)
    rising = at_m > stop.chainage_m if piece == stop.piece else int(pieces.from_node[piece]) == stop.live_node
    marks = fittings.chainage_m[np.flatnonzero(fittings.pipe == pipe)] if len(fittings) else np.zeros(0)
    ahead = marks[marks > at_m] - at_m if rising else at_m - marks[marks < at_m]
    end = float(pieces.to_m[piece]) - at_m if rising else at_m - float(pieces.from_m[piece])
    room = min([end, *ahead.tolist()]) - clear
    return min(rules.bypass.parallel_max, 1 + max(int(room / clear + 1e-9), 0))
