"""`EmergencyTables` for many hits: what single questions work out each time is looked up here."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
import shapely

from netplan.core.arrays import Ints
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import PipeBoxes
from netplan.isolation.stop_methods import fault_pressures, method_codes, piece_fault_pressure
from netplan.network.model import Network

__all__ = ["MainsTables", "PipeTree"]


class PipeTree(PipeBoxes):
    """Bounding boxes of all pipes in a tree: as `PipeBoxes`, without a look at every pipe."""

    def __init__(self, network: Network) -> None:
        super().__init__(network)
        low, high = self._corners
        self._tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))

    def meeting(self, bounds_m: Sequence[float]) -> Ints:
        """Return the rows of the pipes whose box meets another: west, south, east, north [m, working CRS]."""
        west, south, east, north = bounds_m
        return np.sort(self._tree.query(shapely.box(west, south, east, north))).astype(np.int64)


class MainsTables(EmergencyTables):
    """A network and the rules, for a hit on every main in turn."""

    @cached_property
    def boxes(self) -> PipeTree:
        """Bounding boxes of the pipes."""
        return PipeTree(self.network)

    @cached_property
    def _all_codes(self) -> Ints:
        """Why each method is refused, of the pieces of mains alone: they come first."""
        network = self.network
        rows = np.flatnonzero(network.pieces.pipe < network.pipes.n_mains)
        codes = np.zeros((len(network.pieces), len(self.rules.method)), dtype=np.int64)
        fault_pa, _ = piece_fault_pressure(self, rows, *fault_pressures(self))
        codes[rows] = method_codes(self, self.rules, rows, fault_pa)
        return codes

    def codes_of(self, piece: int) -> Ints:
        """Return why each method of the rules is refused on a piece of a main; 0: it is not."""
        codes: Ints = self._all_codes[piece]
        return codes
