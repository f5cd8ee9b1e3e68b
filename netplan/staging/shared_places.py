"""What two stages, one after the other, pay for once: stops at one place, hoses that are moved along."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from netplan.isolation import MINOR_PER_UNIT, SegmentGraph
from netplan.network.model import Network
from netplan.planfile.model import Bypass, Option, Stop
from netplan.rules import Rules

__all__ = ["MovedHoses", "SharedPlaces", "SharedStop", "Sharing"]


@dataclass(frozen=True, slots=True)
class SharedStop:
    """A stop that the stage before has made already.

    Parameters
    ----------
    stop_id, before_id : str
        Ids of the stop in its stage, and of that of the stage before.
    saved_minor : int
        The lower of both prices [minor units].
    """

    stop_id: str
    before_id: str
    saved_minor: int


@dataclass(frozen=True, slots=True)
class MovedHoses:
    """Bypasses or hoses of one bore that come from the stage before.

    Parameters
    ----------
    bore_mm : float
    hoses : int
    saved_minor : int
        The price of as many bypasses, less that of moving them [minor units].
    """

    bore_mm: float
    hoses: int
    saved_minor: int


@dataclass(frozen=True, slots=True)
class Sharing:
    """What a stage need not pay for again.

    Parameters
    ----------
    stops : tuple of SharedStop
        In the order of the stops of the stage.
    hoses : tuple of MovedHoses
        By bore, ascending.
    """

    stops: tuple[SharedStop, ...] = ()
    hoses: tuple[MovedHoses, ...] = ()

    @property
    def saved_minor(self) -> int:
        """All of it [minor units]."""
        return sum(one.saved_minor for one in self.stops) + sum(one.saved_minor for one in self.hoses)


class SharedPlaces:
    """Finds what two options of neighbouring stages share.

    Two stops are one place where they are the same valve; else where they are made by the same method on one
    run of main without a junction between, no farther apart than the rules' ``staging.share_m``, whatever
    the ids of the mains. Each stop is in one pair at most, so that as much as can be is saved.

    Parameters
    ----------
    network : Network
    index : SegmentGraph
        Of the network.
    rules : Rules
    """

    def __init__(self, network: Network, index: SegmentGraph, rules: Rules) -> None:
        self._network, self._index, self._rules = network, index, rules

    def between(self, left: Option, right: Option) -> Sharing:
        """Return what an option shares with that of the stage before.

        Parameters
        ----------
        left, right : Option
            Of the stage before, and of the stage.
        """
        return Sharing(self._stops(left.stops, right.stops), self._hoses(left.bypasses, right.bypasses))

    def _stops(self, left: tuple[Stop, ...], right: tuple[Stop, ...]) -> tuple[SharedStop, ...]:
        saved = np.zeros((len(right), len(left)), dtype=np.int64)
        for row, b in enumerate(right):
            for column, a in enumerate(left):
                if self.is_one_place(a, b):
                    saved[row, column] = round(min(a.price, b.price) * MINOR_PER_UNIT)
        rows, columns = linear_sum_assignment(saved, maximize=True)
        return tuple(
            SharedStop(right[row].id, left[column].id, int(saved[row, column]))
            for row, column in zip(rows.tolist(), columns.tolist(), strict=True)
            if self.is_one_place(left[column], right[row])
        )

    def is_one_place(self, a: Stop, b: Stop) -> bool:
        """Return whether one valve, or one method at one place, serves as both stops."""
        if a.valve_id or b.valve_id:
            return a.valve_id == b.valve_id
        apart_m = float(np.hypot(a.x - b.x, a.y - b.y)) / self._network.scale
        near = apart_m <= self._rules.staging.share_m
        return near and a.method == b.method and self._chain(a) == self._chain(b)

    def _chain(self, stop: Stop) -> int:
        """Return the run of main between junctions that a stop is on."""
        pieces, pipes = self._network.pieces, self._network.pipes
        pipe = pipes.id.find(stop.main_id, 0, pipes.n_mains)
        first, end = np.searchsorted(pieces.pipe, [pipe, pipe + 1]).tolist()
        piece = first + int(np.searchsorted(pieces.from_m[first:end], stop.chainage_m, side="right")) - 1
        return int(self._index.segment_chain[self._index.segment_of[max(piece, first)]])

    def _hoses(self, left: tuple[Bypass, ...], right: tuple[Bypass, ...]) -> tuple[MovedHoses, ...]:
        rules = self._rules
        each = max(round((rules.price.bypass - rules.staging.bypass_move) * MINOR_PER_UNIT), 0)
        there, wanted = Counter[float](), Counter[float]()
        for some, counted in ((left, there), (right, wanted)):
            for one in some:
                counted[one.bore_mm] += one.parallel
        both = {bore: min(count, there[bore]) for bore, count in wanted.items() if there[bore]}
        return tuple(MovedHoses(bore, count, count * each) for bore, count in sorted(both.items()))
