"""Whether the stations that feeds join can give what is drawn at all: asked before anything is solved."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds.feed_case import FeedCase
from netplan.feeds.feed_kinds import Feed
from netplan.graph.connected_components import component_labels

__all__ = ["StationCapacity"]

SLACK: Final = 1e-6
"""Share by which the draw must be above the capacity to be told apart from rounding (own) [-]."""


class StationCapacity:
    """Compares the draw of every part of a case with what its stations can give.

    A part that draws more has no solution, whatever the size of its feeds.

    Parameters
    ----------
    case : FeedCase
    """

    def __init__(self, case: FeedCase) -> None:
        self._case = case
        self._joined_by: dict[frozenset[tuple[int, int]], Ints] = {}

    def is_exceeded(self, feeds: Sequence[Feed], demand_m3_per_s_std: Floats, skip_inlets: Flags) -> bool:
        """Return whether an inlet that must hold lies in a part that draws more than its stations give.

        Parameters
        ----------
        feeds : sequence of Feed
            In use, of whatever size.
        demand_m3_per_s_std : float array, shape (nodes,)
            [m³/s at 15 °C, 101.325 kPa].
        skip_inlets : bool array, shape (inlets,)
            Inlets that are off and need not hold.
        """
        network, inlets = self._case.solver.network, self._case.inlets
        if len(self._case.solver.supply_node) != network.station_count:
            # A part of a network is also fed across its boundary.
            return False
        part = self._joined(feeds)
        count = int(part.max(initial=-1)) + 1
        drawn = np.bincount(part, demand_m3_per_s_std, count)
        capacity = network.station_capacity_m3_per_s_std
        given = np.bincount(part[network.station_node], np.where(np.isnan(capacity), np.inf, capacity), count)
        kept = part[inlets.node[~skip_inlets]]
        return bool((drawn[kept] > given[kept] * (1.0 + SLACK) + SLACK).any())

    def _joined(self, feeds: Sequence[Feed]) -> Ints:
        """Return the part of each node once feeds join some."""
        if not feeds:
            return self._part
        part = self._part
        pairs = frozenset((int(part[feed.from_node]), int(part[feed.to_node])) for feed in feeds)
        # Most feeds join the same parts.
        if pairs not in self._joined_by:
            ends = np.array(sorted(pairs), dtype=np.int64)
            label, _ = component_labels(int(part.max()) + 1, *ends.T)
            self._joined_by[pairs] = label.astype(np.int64)
        joined: Ints = self._joined_by[pairs][part]
        return joined

    @cached_property
    def _part(self) -> Ints:
        return self._case.solver.network.open_parts()
