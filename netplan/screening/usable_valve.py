"""Valves that no stop may use as recorded, and the network with one of them usable."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netplan.isolation import SegmentGraph
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState

__all__ = ["valves_to_mend", "with_usable_valve"]


def valves_to_mend(index: SegmentGraph) -> list[tuple[int, int]]:
    """Return each valve on a main that no stop may use as recorded, and its segment."""
    valves = index.network.valves
    if not len(valves):
        return []
    unusable = (valves.operable != Operable.YES) | (valves.state == ValveState.UNKNOWN)
    rows = np.flatnonzero(unusable & (valves.piece >= 0))
    segment = index.segment_of[valves.piece[rows]]
    return [(int(row), int(at)) for row, at in zip(rows, segment, strict=True) if at >= 0]


def with_usable_valve(network: Network, valve: int) -> Network:
    """Return the network with a valve operable, and open where its state is not recorded."""
    valves = network.valves
    operable, state = valves.operable.copy(), valves.state.copy()
    operable[valve] = Operable.YES
    if state[valve] == ValveState.UNKNOWN:
        state[valve] = ValveState.OPEN
    return replace(network, valves=replace(valves, operable=operable, state=state))
