"""How long a stop takes on each piece of main in an emergency: by valves alone, and by any method."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints, Ints32
from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.graph.minimum_cut import INFINITE
from netplan.isolation.stop_methods import (
    NetworkWithParts,
    fault_pressures,
    method_codes,
    piece_fault_pressure,
)
from netplan.network.model import Network
from netplan.network.valve_table import Valves
from netplan.network.vocabulary import Operable, Surface, ValveState
from netplan.rules import MethodKind, Rules, StopMethod

__all__ = [
    "BarrierLength",
    "StopSeconds",
    "barrier_length",
    "dug_seconds",
    "is_usable",
    "longest_gaps_m",
    "stop_seconds",
    "usable_valves",
]

ROUNDING_M: Final = 1e-6


@dataclass(frozen=True, slots=True)
class BarrierLength:
    """What the barriers of a method take of a main of one size [m].

    Parameters
    ----------
    clear_m : float
        Least distance of any of them to a fitting, tee or end.
    span_m : float
        From the barrier nearest the hit to the one farthest from it.
    mark_m : float
        How much farther than `clear_m` they keep from a squeeze on record; 0 but for a squeeze.
    """

    clear_m: float
    span_m: float
    mark_m: float = 0.0

    @property
    def needed_m(self) -> float:
        """Length of plain main that it needs."""
        return 2.0 * self.clear_m + self.span_m


@dataclass(frozen=True, slots=True, eq=False)
class StopSeconds:
    """Time of a stop on each piece, from arriving to shut, travel left out [s].

    Parameters
    ----------
    by_valve : int64 array, shape (pieces,)
        Of a valve recorded as operable and open; `INFINITE` elsewhere.
    quickest : int64 array, shape (pieces,)
        By any method; `INFINITE` where none can be.
    method : int16 array, shape (pieces,)
        Row of the quickest method in the rules; -1 where none can be.
    """

    by_valve: Ints
    quickest: Ints
    method: np.ndarray[tuple[int], np.dtype[np.int16]]


def barrier_length(rules: Rules, method: StopMethod, od_m: float) -> BarrierLength:
    """Return what the barriers of a method take of a main of outside diameter `od_m` [m]."""
    offsets = [part.offset_m for part in method.assembly if part.role == "barrier"] or [0.0]
    clear_m = max(
        method.fitting_m,
        method.fitting_od * od_m,
        rules.clearance.fitting_m,
        rules.clearance.fitting_od * od_m,
    )
    same_m = max(method.same_m, method.same_od * od_m) if method.kind is MethodKind.SQUEEZE else 0.0
    return BarrierLength(clear_m, max(offsets) - min(offsets), max(same_m - clear_m, 0.0))


def usable_valves(network: Network) -> Flags:
    """Return which valves are recorded as operable and open, and placed."""
    valves = network.valves
    known = (valves.operable == Operable.YES) & (valves.state == ValveState.OPEN)
    return np.asarray(known & (valves.piece >= 0), dtype=np.bool_)


def is_usable(valves: Valves, row: int) -> bool:
    """Return whether a valve is recorded as operable and open, wherever it lies."""
    return valves.operable.item(row) == Operable.YES and valves.state.item(row) == ValveState.OPEN


def stop_seconds(index: NetworkWithParts, rules: Rules) -> StopSeconds:
    """Return how long a stop takes on each piece of a network.

    Parameters
    ----------
    index : NetworkWithParts
    rules : Rules
        ``emergency.minutes_*``; methods as for planned work. Pipes without a usable size take valves alone.
    """
    network = index.network
    pieces, emergency = network.pieces, rules.emergency
    by_valve = np.full(len(pieces), INFINITE, dtype=np.int64)
    valves = network.valves.piece[usable_valves(network)]
    by_valve[valves] = _seconds(emergency.minutes_valve)
    method = np.full(len(pieces), -1, dtype=np.int16)
    of_valves = [row for row, one in enumerate(rules.method) if one.kind is MethodKind.VALVE]
    method[valves] = of_valves[0] if of_valves else -1
    quickest = by_valve.copy()
    dug = (pieces.pipe < network.pipes.n_mains) & (pieces.valve < 0) & pieces.is_open
    rows = np.flatnonzero(dug & ~np.isin(pieces.pipe, network.set_aside.pipe))
    fault_pa, _ = piece_fault_pressure(index, rows, *fault_pressures(index))
    codes = method_codes(index, rules, rows, fault_pa)
    gap_m = longest_gaps_m(network, rows)
    for row, one in enumerate(rules.method):
        if one.kind is MethodKind.VALVE:
            continue
        fits = (codes[:, row] == 0) & (gap_m >= _needed_m(network, rules, one, rows) - ROUNDING_M)
        seconds = np.where(fits, dug_seconds(network, rules, one, rows), INFINITE)
        quicker = seconds < quickest[rows]
        quickest[rows[quicker]] = seconds[quicker]
        method[rows[quicker]] = row
    return StopSeconds(by_valve, quickest, method)


def _seconds(minutes: float) -> int:
    return max(round(minutes * SECONDS_PER_MINUTE), 1)


def dug_seconds(network: Network, rules: Rules, method: StopMethod, rows: Ints) -> Ints:
    """Return how long a stop that is dug takes on each of some pieces, ground included [s]."""
    emergency = rules.emergency
    own = emergency.minutes_squeeze if method.kind is MethodKind.SQUEEZE else emergency.minutes_bag
    surfaces = emergency.minutes_surface
    extra = {
        Surface.UNKNOWN: surfaces.unknown,
        Surface.VERGE: surfaces.verge,
        Surface.FOOTWAY: surfaces.footway,
        Surface.CARRIAGEWAY: surfaces.carriageway,
        Surface.UNMADE: surfaces.unmade,
    }
    by_code = np.zeros(max(extra) + 1, dtype=np.int64)
    for surface, minutes in extra.items():
        by_code[surface] = _seconds(own + minutes)
    of_rows: Ints = by_code[network.pipes.surface[network.pieces.pipe[rows]]]
    return of_rows


def _needed_m(network: Network, rules: Rules, method: StopMethod, rows: Ints) -> Floats:
    sizes, size = np.unique(network.pipes.od_m[network.pieces.pipe[rows]], return_inverse=True)
    needed = np.array([barrier_length(rules, method, float(od_m)).needed_m for od_m in sizes])
    return needed[size] if len(sizes) else np.zeros(0)


def longest_gaps_m(network: Network, rows: Ints | Ints32) -> Floats:
    """Return the longest length without a fitting of each piece [m]."""
    pieces, fittings = network.pieces, network.fittings
    length = pieces.to_m[rows] - pieces.from_m[rows]
    placed = np.flatnonzero(fittings.pipe >= 0)
    if not len(placed) or not len(rows):
        return np.asarray(length, dtype=np.float64)
    # One long axis of all pipes: a fitting on the border of two pieces leaves both as they are.
    base = np.concatenate([[0.0], np.cumsum(network.pipes.length_m + 1.0)])
    start, stop = base[pieces.pipe[rows]] + pieces.from_m[rows], base[pieces.pipe[rows]] + pieces.to_m[rows]
    at = np.sort(base[fittings.pipe[placed]] + fittings.chainage_m[placed])
    first, last = np.searchsorted(at, start, "right"), np.searchsorted(at, stop, "left")
    result = np.asarray(length, dtype=np.float64).copy()
    held = np.flatnonzero(last > first)
    first, last = first[held], last[held]
    result[held] = np.maximum(at[first] - start[held], stop[held] - at[last - 1])
    several = last - first > 1
    # Longest gap between neighbouring fittings of a piece: every other slice of the running differences.
    bounds = np.column_stack([first[several], last[several] - 1]).ravel()
    if len(bounds):
        between = np.maximum.reduceat(np.append(np.diff(at), 0.0), bounds)[::2]
        result[held[several]] = np.maximum(result[held[several]], between)
    return result
