"""How much of the network a state holds: all of a small one, the surroundings of the work of a large one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.network.linear_reference import PipeLines
from netplan.network.model import Network
from netplan.planfile.model import Option, WorkItem

__all__ = ["Extent", "extent_of"]

WHOLE_NETWORK_PIECES = 50_000
SURROUNDINGS_M = 600.0


@dataclass(frozen=True, slots=True, eq=False)
class Extent:
    """What the states of a plan hold.

    Parameters
    ----------
    whole : bool
        Whether they hold the whole network.
    box : tuple of float
        The surroundings of the work: least and greatest x and y [m].
    own : bool array
        Which pipes are of the pressure system of the work; the others are held, but nothing happens there.
    """

    whole: bool
    box: tuple[float, float, float, float]
    own: NDArray[np.bool_]

    @property
    def note(self) -> str:
        """What is left out, in words; empty when nothing is."""
        if self.whole:
            return ""
        return (
            f"the layers hold the pipes within about {SURROUNDINGS_M:.0f} m of the work and all that change "
            "state; the rest of this large network is left out"
        )

    def inside(self, x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Return which places lie in the box."""
        x_low, y_low, x_high, y_high = self.box
        return np.asarray((x_m >= x_low) & (x_m <= x_high) & (y_m >= y_low) & (y_m <= y_high))


def extent_of(
    network: Network, lines: PipeLines, work: Sequence[WorkItem], options: Sequence[Option]
) -> Extent:
    """Return what of a network the states of a plan hold.

    Parameters
    ----------
    network : Network
        What the plan was made on.
    lines : PipeLines
        Its pipes.
    work : sequence of WorkItem
    options : sequence of Option
        All of the plan: each of their stops is among the surroundings of the work.
    """
    mains = [network.pipes.id.find(w.main_id, 0, network.pipes.n_mains) for w in work]
    own = np.isin(network.pipes.system, network.pipes.system[mains])
    xy = _places(network, lines, work, options)
    low, high = xy.min(axis=0) - SURROUNDINGS_M, xy.max(axis=0) + SURROUNDINGS_M
    box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    whole = network.beyond is None and len(network.pieces) < WHOLE_NETWORK_PIECES
    return Extent(whole, box, own)


def _places(
    network: Network, lines: PipeLines, work: Sequence[WorkItem], options: Sequence[Option]
) -> NDArray[np.float64]:
    rows = [(network.pipes.id.find(w.main_id, 0, network.pipes.n_mains), w) for w in work]
    pipe = np.array([row for row, _ in rows for _ in range(2)], dtype=np.int64)
    chainage = np.array([c for _, w in rows for c in (w.from_m, w.to_m)])
    stops = [(s.x, s.y) for option in options for s in option.stops]
    return np.vstack([lines.xy_at(pipe, chainage), np.array(stops, dtype=float).reshape(-1, 2)])
