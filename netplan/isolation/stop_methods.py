"""What each stop method allows on each piece of main, and how far its assembly reaches."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Codes, Floats, Ints32
from netplan.core.constants import MM_PER_M, PA_PER_MBAR
from netplan.isolation.segment_graph import SegmentGraph
from netplan.network.model import Network
from netplan.network.station_pressures import supply_of_parts
from netplan.network.vocabulary import Host, Joint, Material, Operable, ValveState
from netplan.rules.outlets_by_diameter import needs_outlet, no_outlet_words
from netplan.rules.rule_set import MethodKind, Rules, StopMethod

__all__ = [
    "MethodRefusal",
    "NetworkWithParts",
    "StopExtent",
    "fault_pressures",
    "length_taken_m",
    "method_codes",
    "refused_words",
    "stop_extent",
]


class NetworkWithParts(Protocol):
    """A network and the part, joined by open pieces, of each node."""

    @property
    def network(self) -> Network:
        """The network."""

    @property
    def part(self) -> Ints32:
        """Part of each node."""


class MethodRefusal(IntEnum):
    """Why a method is refused on a whole piece; 0 is: not refused."""

    NO = 0
    NOT_A_VALVE = 1
    VALVE_PIECE = 2
    MATERIAL = 3
    SIZE = 4
    FAULT_PRESSURE_UNKNOWN = 5
    RATING = 6
    EARLY_PE = 7
    UNKNOWN_RESIN = 8
    INSERTED = 9
    JOINT = 10
    TRANSITION = 11
    VALVE_STATE = 12
    VALVE_OPERABLE = 13
    FORBIDDEN_VALVE = 14
    NO_OUTLET = 15

    @property
    def code(self) -> str:
        """The code in refusals."""
        return self.name.lower().replace("_", "-")


@dataclass(frozen=True, slots=True)
class StopExtent:
    """How far an assembly reaches from the barrier nearest the work, on a main of one size.

    Parameters
    ----------
    least_m, most_m : float
        Least and greatest offset of its parts, the bypass tee left out [m]; positive away from the work.
    near_m, far_m : float
        The same with each part's clearance to fittings added [m].
    mark_near_m, mark_far_m : float
        The same with the clearance to a squeeze mark [m].
    bypass_m, bypass_clear_m : float
        Offset of the bypass tee and its clearance [m]; NaN without one.
    """

    least_m: float
    most_m: float
    near_m: float
    far_m: float
    mark_near_m: float
    mark_far_m: float
    bypass_m: float
    bypass_clear_m: float


def stop_extent(rules: Rules, method: StopMethod, od_m: float) -> StopExtent:
    """Return the extent of a method's assembly on a main of outside diameter `od_m` [m]."""
    if method.kind is MethodKind.VALVE:
        return StopExtent(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, math.nan, math.nan)
    tapping_m = max(rules.clearance.fitting_m, rules.clearance.fitting_od * od_m)
    barrier_m = max(method.fitting_m, method.fitting_od * od_m)
    same_m = max(method.same_m, method.same_od * od_m) if method.kind is MethodKind.SQUEEZE else 0.0
    parts, bypass_m = [], math.nan
    for part in method.assembly:
        if part.role == "bypass":
            bypass_m = part.offset_m
            continue
        tapped_m = tapping_m if needs_outlet(method, part.role) else 0.0
        clear = max(tapped_m, barrier_m if part.role == "barrier" else 0.0)
        parts.append((part.offset_m, clear, max(clear, same_m if part.role == "barrier" else 0.0)))
    return StopExtent(
        least_m=min(offset for offset, _, _ in parts),
        most_m=max(offset for offset, _, _ in parts),
        near_m=min(offset - clear for offset, clear, _ in parts),
        far_m=max(offset + clear for offset, clear, _ in parts),
        mark_near_m=min(offset - mark for offset, _, mark in parts),
        mark_far_m=max(offset + mark for offset, _, mark in parts),
        bypass_m=bypass_m,
        bypass_clear_m=tapping_m,
    )


def length_taken_m(rules: Rules, method: StopMethod) -> float:
    """Return how far beyond a barrier that of the next assembly outward stays [m].

    The next assembly starts beyond the last part of this one, with a tapping's clearance between them.
    """
    offsets = [part.offset_m for part in method.assembly] or [0.0]
    return max(offsets) + rules.clearance.fitting_m - min(0.0, *offsets)


def fault_pressures(index: NetworkWithParts) -> tuple[Floats, NDArray[np.bool_]]:
    """Return, per part of the network, the greatest fault pressure [Pa gauge] and whether one is missing.

    The greatest over the part's stations, never below what one of them is set to; NaN without a station.
    Where a station records none the greatest operating pressure of the main itself has to stand in for it.
    Feeds that join parts raise it: see `netplan.planning.pressure_areas`.
    """
    supply = supply_of_parts(index.network, index.part, int(index.part.max(initial=-1)) + 1)
    return supply.fault_pa_gauge, supply.fault_is_missing


def piece_fault_pressure(
    index: NetworkWithParts, rows: NDArray[Any], known: Floats, missing: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the greatest fault pressure at each of the pieces `rows`, and where the main's own stands in.

    A closed valve has a part on either side: the greater counts.

    Returns
    -------
    float array
        [Pa gauge]; NaN where it is unknown and the main records no greatest operating pressure either.
    bool array
        Where a station records none, so that the main's greatest operating pressure counts as well.
    """
    pieces = index.network.pieces
    mop = index.network.pipes.mop_pa_gauge[pieces.pipe[rows]]
    result = np.full(len(rows), -np.inf)
    unknown = np.zeros(len(rows), dtype=np.bool_)
    for node in (pieces.from_node[rows], pieces.to_node[rows]):
        part = index.part[node]
        result = np.fmax(result, known[part])
        unknown |= missing[part]
    result = np.where(unknown, np.maximum(result, mop), result)
    return np.where(np.isneginf(result), 0.0, result), unknown


def method_codes(index: NetworkWithParts, rules: Rules, rows: NDArray[Any], fault_pa: Floats) -> Codes:
    """Return why each method is refused on the whole of each piece.

    Parameters
    ----------
    rows : int array
        Pieces of mains.
    fault_pa : float array
        Their greatest fault pressures [Pa gauge]; NaN where unknown.

    Returns
    -------
    uint8 array, shape (len(rows), methods)
        Codes of `MethodRefusal`; 0 where the method may be used.
    """
    codes = np.zeros((len(rows), len(rules.method)), dtype=np.uint8)
    for column, method in enumerate(rules.method):
        for refused, where in _tests(index, rules, method, rows, fault_pa):
            codes[:, column] = np.where((codes[:, column] == 0) & where, np.uint8(refused), codes[:, column])
    return codes


def _tests(
    index: NetworkWithParts, rules: Rules, method: StopMethod, rows: NDArray[Any], fault_pa: Floats
) -> list[tuple[MethodRefusal, NDArray[np.bool_]]]:
    network = index.network
    pieces, pipes = network.pieces, network.pipes
    pipe, valve = pieces.pipe[rows], pieces.valve[rows]
    od_mm = pipes.od_m[pipe] * MM_PER_M
    allowed = [member.value for member in Material if member.word in method.materials]
    limit_pa = (method.rating_mbar - method.rating_margin_mbar) * PA_PER_MBAR
    tests = [
        (MethodRefusal.MATERIAL, ~np.isin(pipes.material[pipe], allowed)),
        (MethodRefusal.SIZE, (od_mm < method.od_min_mm - 1e-6) | (od_mm > method.od_max_mm + 1e-6)),
        (MethodRefusal.NO_OUTLET, _without_outlet(rules, method, od_mm)),
        (MethodRefusal.FAULT_PRESSURE_UNKNOWN, np.isnan(fault_pa)),
        (MethodRefusal.RATING, fault_pa > limit_pa + 1e-6),
    ]
    if method.kind is MethodKind.VALVE:
        at = np.maximum(valve, 0)
        state, operable = (
            (network.valves.state[at], network.valves.operable[at])
            if len(network.valves)
            else (np.zeros(len(rows), np.uint8), np.zeros(len(rows), np.uint8))
        )
        return [
            (MethodRefusal.NOT_A_VALVE, valve < 0),
            (MethodRefusal.VALVE_STATE, state == ValveState.UNKNOWN),
            (MethodRefusal.VALVE_OPERABLE, operable != Operable.YES),
            *tests,
        ]
    year, general = pipes.year[pipe], rules.method_general
    joints = [member.value for member in Joint if member.word in method.refuse_joints]
    tests = [(MethodRefusal.VALVE_PIECE, valve >= 0), *tests]
    if method.refuse_early_pe:
        resin = pipes.resin.take(pipe).arrow
        early = np.asarray(pc.is_in(resin, pa.array(general.early_resins, pa.string())), dtype=np.bool_)
        with np.errstate(invalid="ignore"):
            early = early | (year < general.early_pe_before_year)
        tests.append((MethodRefusal.EARLY_PE, early))
        if not general.squeeze_unknown_resin:
            unnamed = np.asarray(pc.equal(resin, ""), dtype=np.bool_)
            tests.append((MethodRefusal.UNKNOWN_RESIN, np.isnan(year) & unnamed))
    if method.refuse_inserted:
        tests.append((MethodRefusal.INSERTED, pipes.host[pipe] != Host.NONE))
    tests.append((MethodRefusal.JOINT, np.isin(pipes.joint[pipe], joints)))
    return tests


def _without_outlet(rules: Rules, method: StopMethod, od_mm: Floats) -> NDArray[np.bool_]:
    """Return where the table of outlets has none for something that a method needs."""
    sizes, size = np.unique(od_mm, return_inverse=True)
    return np.array([bool(no_outlet_words(rules, method, od)) for od in sizes.tolist()], dtype=np.bool_)[size]


def refused_words(
    index: SegmentGraph, rules: Rules, method: StopMethod, row: int, code: int, fault_pa: float
) -> str:
    """Return one line saying why `method` is refused on the whole of piece `row`."""
    network = index.network
    pipe = int(network.pieces.pipe[row])
    valve = int(network.pieces.valve[row])
    od_mm = network.pipes.od_m[pipe] * MM_PER_M
    material = Material(int(network.pipes.material[pipe])).word
    name = network.valves.id[valve] if valve >= 0 else ""
    year = network.pipes.year[pipe]
    return {
        MethodRefusal.NOT_A_VALVE: "there is no valve on this length",
        MethodRefusal.VALVE_PIECE: f"valve {name} sits here",
        MethodRefusal.MATERIAL: f"{method.name} is not for {material}",
        MethodRefusal.SIZE: (
            f"{method.name} serves {method.od_min_mm:g} to {method.od_max_mm:g} mm, "
            f"this main has {od_mm:g} mm"
        ),
        MethodRefusal.FAULT_PRESSURE_UNKNOWN: (
            "no fault pressure is recorded for its stations (max_outlet_mbar) or this main (mop_mbar)"
        ),
        MethodRefusal.RATING: (
            f"fault pressure {fault_pa / PA_PER_MBAR:g} mbar is above the rating {method.rating_mbar:g} mbar"
            + (f" less {method.rating_margin_mbar:g} mbar" if method.rating_margin_mbar else "")
        ),
        MethodRefusal.EARLY_PE: f"early PE ({year:.0f})" if not np.isnan(year) else "early PE by its resin",
        MethodRefusal.UNKNOWN_RESIN: "neither year nor resin of this PE is recorded",
        MethodRefusal.INSERTED: f"inserted main ({Host(int(network.pipes.host[pipe])).word} host)",
        MethodRefusal.JOINT: f"{Joint(int(network.pipes.joint[pipe])).word} joints would take the thrust",
        MethodRefusal.TRANSITION: "a transition fitting on this length would take the thrust",
        MethodRefusal.VALVE_STATE: f"state of valve {name} is unknown",
        MethodRefusal.VALVE_OPERABLE: f"valve {name} is not known to be operable",
        MethodRefusal.FORBIDDEN_VALVE: f"valve {name} is forbidden by order",
        MethodRefusal.NO_OUTLET: no_outlet_words(rules, method, od_mm),
    }[MethodRefusal(code)]
