"""Where one operable valve more parts what none parts now: valves to prove, places for a new one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.emergency.stop_seconds import usable_valves
from netplan.graph.minimum_cut import INFINITE
from netplan.graph.spanning_forest import SpanningForest, spanning_forest
from netplan.network.model import Network

__all__ = ["ValvePlace", "ValveSplits", "new_valve_places", "valves_to_prove"]

FROM_JUNCTION_M: Final = 1.0
"""Distance of a new valve from the junction (own); half the piece where that is shorter [m]."""


@dataclass(frozen=True, slots=True)
class ValvePlace:
    """A place where a valve may be shut one day.

    Parameters
    ----------
    piece : int
        Of the valve, or the piece of main that the new one is put into.
    chainage_m : float
        On its main [m].
    valve : int
        Row of the valve to prove; -1 for a new one.
    """

    piece: int
    chainage_m: float
    valve: int = -1


class ValveSplits:
    """What a valve on each piece would part, of the groups that valves alone part now.

    Parameters
    ----------
    network : Network
    seconds : int64 array, shape (pieces,)
        Of a valve on each piece; `INFINITE` where none is usable.
    """

    def __init__(self, network: Network, seconds: Ints) -> None:
        self._network, pieces = network, network.pieces
        self._rows = np.flatnonzero(pieces.is_open & (seconds >= INFINITE))
        self._forest: SpanningForest = spanning_forest(
            len(network.nodes),
            pieces.from_node[self._rows].astype(np.int64),
            pieces.to_node[self._rows].astype(np.int64),
        )

    @property
    def bridges(self) -> Ints:
        """Pieces on which one valve alone parts its group in two."""
        pieces = self._network.pieces
        alone = self._forest.labels == 0
        alone &= pieces.from_node[self._rows] != pieces.to_node[self._rows]
        return np.asarray(self._rows[alone], dtype=np.int64)

    def beyond(self, piece: int) -> Ints:
        """Return the nodes on one side of a piece of `bridges`, within its group."""
        pieces, forest = self._network.pieces, self._forest
        one, two = pieces.from_node.item(piece), pieces.to_node.item(piece)
        child = two if forest.parent.item(two) == one else one
        first = forest.position.item(child)
        return forest.preorder[first : first + forest.size.item(child)]


def valves_to_prove(network: Network) -> tuple[ValvePlace, ...]:
    """Return every valve on a main that no ring may use as recorded, closed ones left out."""
    valves, pieces = network.valves, network.pieces
    placed = np.flatnonzero((valves.piece >= 0) & ~usable_valves(network))
    on_main = placed[(valves.pipe[placed] < network.pipes.n_mains) & pieces.is_open[valves.piece[placed]]]
    return tuple(
        ValvePlace(valves.piece.item(row), float(valves.chainage_m[row]), row) for row in on_main.tolist()
    )


def new_valve_places(network: Network, bridges: Ints) -> tuple[ValvePlace, ...]:
    """Return places for a new valve: at each end of a chain of mains between junctions, where it parts.

    Parameters
    ----------
    network : Network
    bridges : int64 array
        Pieces on which one valve alone parts what valves do not part now.
    """
    pieces, n_mains = network.pieces, network.pipes.n_mains
    mains: Flags = np.asarray((pieces.pipe < n_mains) & pieces.is_open, dtype=np.bool_)
    degree = np.bincount(
        np.concatenate([pieces.from_node[mains], pieces.to_node[mains]]), minlength=len(network.nodes)
    )
    found = []
    for piece in bridges[mains[bridges] & (pieces.valve[bridges] < 0)].tolist():
        low_m, high_m = pieces.from_m.item(piece), pieces.to_m.item(piece)
        inward_m = min(FROM_JUNCTION_M, (high_m - low_m) / 2.0)
        places = []
        if degree.item(pieces.from_node.item(piece)) > 2:
            places.append(low_m + inward_m)
        if degree.item(pieces.to_node.item(piece)) > 2:
            places.append(high_m - inward_m)
        found += [ValvePlace(piece, at_m) for at_m in sorted(set(places)) if low_m < at_m < high_m]
    return tuple(found)
