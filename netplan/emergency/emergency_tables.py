"""What every emergency in one network shares: times of stops, groups of nodes, boxes of pipes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from netplan.core.arrays import Flags, Ints, Ints32
from netplan.emergency.free_lengths import FreeLengths, KeepAway, Span, barrier_place_m
from netplan.emergency.hit_places import HitPlace, PipeBoxes
from netplan.emergency.ring_graph import RingGraph, ring_graph
from netplan.emergency.stop_seconds import StopSeconds, barrier_length, dug_seconds, stop_seconds
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.stop_methods import fault_pressures, method_codes, piece_fault_pressure
from netplan.network.ground_marks import GroundMarks
from netplan.network.model import Network
from netplan.network.topology import components
from netplan.rules import MethodKind, Rules

__all__ = ["EmergencyTables", "PlacedStop"]


@dataclass(frozen=True, slots=True)
class PlacedStop:
    """The quickest stop on a length of a piece: seconds, row of its method, chainage of its barrier [m]."""

    seconds: int
    method: int
    chainage_m: float


@dataclass(frozen=True, eq=False)
class EmergencyTables:
    """A network and the rules, with what is the same for every place that may be hit.

    Parameters
    ----------
    network : Network
    rules : Rules
    """

    network: Network
    rules: Rules

    @cached_property
    def part(self) -> Ints32:
        """Part, joined by open pieces, of each node."""
        return components(self.network)

    @cached_property
    def fed_before(self) -> Flags:
        """Nodes joined to a station or an injection before anything is shut."""
        nodes = np.concatenate([self.network.stations.node, self.network.injections.node])
        has_supply = np.zeros(int(self.part.max(initial=-1)) + 1, dtype=np.bool_)
        has_supply[self.part[nodes[nodes >= 0]]] = True
        return np.asarray(has_supply[self.part], dtype=np.bool_)

    @cached_property
    def boxes(self) -> PipeBoxes:
        """Bounding boxes of the pipes."""
        return PipeBoxes(self.network)

    @cached_property
    def marks(self) -> GroundMarks:
        """What a crew can tape from."""
        return GroundMarks(self.network)

    @cached_property
    def free(self) -> FreeLengths:
        """Plain lengths of the mains."""
        return FreeLengths(self.network)

    @cached_property
    def seconds(self) -> StopSeconds:
        """How long a stop takes on each piece, wherever the hit is."""
        found = stop_seconds(self, self.rules)
        near = sorted(self.free.touched_by_areas | self.free.with_squeeze_marks)
        if not near:
            return found
        pieces = self.network.pieces
        quickest, method = found.quickest.copy(), found.method.copy()
        for pipe in near:
            for piece in pieces.rows_of(pipe):
                if pieces.valve.item(piece) < 0 and pieces.is_open.item(piece):
                    stop = self.stop_on(piece)
                    quickest[piece] = INFINITE if stop is None else stop.seconds
                    method[piece] = -1 if stop is None else stop.method
        return StopSeconds(found.by_valve, quickest, method)

    @cached_property
    def by_valves(self) -> RingGraph:
        """Groups of nodes where valves alone are shut."""
        return ring_graph(self.network, self.seconds.by_valve)

    @cached_property
    def by_any_method(self) -> RingGraph:
        """Groups of nodes where any method may be used."""
        return ring_graph(self.network, self.seconds.quickest)

    @cached_property
    def _without_size(self) -> frozenset[int]:
        return frozenset(self.network.set_aside.pipe.tolist())

    def keep_away(self, hits: tuple[HitPlace, ...], keep_away_m: float) -> KeepAway:
        """Return the lengths of pipes within a distance of what may be hit [m]; kept once asked for."""
        key = (hits, keep_away_m)
        if key not in self._keep_away:
            self._keep_away[key] = KeepAway(self.boxes, hits, keep_away_m)
        return self._keep_away[key]

    @cached_property
    def _keep_away(self) -> dict[tuple[tuple[HitPlace, ...], float], KeepAway]:
        return {}

    @cached_property
    def _codes(self) -> dict[int, Ints]:
        return {}

    @cached_property
    def _fault(self) -> tuple[np.ndarray, np.ndarray]:
        return fault_pressures(self)

    def codes_of(self, piece: int) -> Ints:
        """Return why each method of the rules is refused on a piece (`MethodRefusal`); 0: it is not."""
        if piece not in self._codes:
            rows = np.array([piece])
            fault_pa, _ = piece_fault_pressure(self, rows, *self._fault)
            self._codes[piece] = method_codes(self, self.rules, rows, fault_pa)[0].astype(np.int64)
        return self._codes[piece]

    def stop_on(
        self,
        piece: int,
        low_m: float = -np.inf,
        high_m: float = np.inf,
        barred: Iterable[Span] = (),
        *,
        from_low: bool = True,
    ) -> PlacedStop | None:
        """Return the quickest stop on a piece that is no valve, as near to the hit as it can be.

        Parameters
        ----------
        piece : int
        low_m, high_m : float
            Chainages of its main within which it is wanted [m].
        barred : iterable of (float, float)
            Lengths where none may be [m].
        from_low : bool
            Whether the hit lies towards lower chainages.
        """
        network, rules = self.network, self.rules
        pipe = network.pieces.pipe.item(piece)
        if pipe >= network.pipes.n_mains or pipe in self._without_size:
            return None
        codes, od_m = self.codes_of(piece), float(network.pipes.od_m[pipe])
        best: PlacedStop | None = None
        barred, squeezes = tuple(barred), self.free.squeezes_on(pipe)
        for row, method in enumerate(rules.method):
            if method.kind is MethodKind.VALVE or codes[row]:
                continue
            length = barrier_length(rules, method, od_m)
            marks = [(at - length.mark_m, at + length.mark_m) for at in squeezes]
            free = self.free.on_piece(piece, low_m, high_m, (*barred, *marks))
            at_m = barrier_place_m(free, length, from_low=from_low)
            seconds = int(dug_seconds(network, rules, method, np.array([piece]))[0])
            if at_m is not None and (best is None or seconds < best.seconds):
                best = PlacedStop(seconds, row, at_m)
        return best
