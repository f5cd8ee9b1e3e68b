"""Where on a segment no stop can be: too near to its ends, the work, fittings and joints of mains."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np

from netplan.isolation.segment_geometry import SegmentGeometry, SegmentJoint
from netplan.isolation.segment_graph import SegmentGraph
from netplan.isolation.stop_methods import MethodRefusal, StopExtent
from netplan.network.model import Network
from netplan.network.vocabulary import FittingKind
from netplan.rules.rule_set import MethodKind, StopMethod

__all__ = [
    "BESIDE_M",
    "BlockedLength",
    "Ends",
    "FeasibleInterval",
    "Joints",
    "blocked_by_ends",
    "blocked_by_fittings",
    "ends_of",
    "feasible_interval",
    "fittings_on",
    "free_intervals",
]


BESIDE_M: Final = 0.05
"""Least distance of the barrier nearest the work from any end of a main (own): the default snap distance,
nearer than which the records do not tell on which of the two mains it lies [m]."""
_ROUNDED_M: Final = 1e-3
"""What a plan states chainages to (own): by less no clearance rests on a joint [m]."""


@dataclass(frozen=True, slots=True)
class BlockedLength:
    """A length of a segment, its ends left out, where the barrier nearest the work cannot be."""

    low_m: float
    high_m: float
    code: str
    words: str


class Joints:
    """Which ends of mains count as joints, and what they keep stops off.

    Parameters
    ----------
    network : Network
    through_record_joints : bool
        Whether an assembly may lie across a joint that is a mere record boundary: two mains of the same
        outside diameter, bore, material and year, all recorded, that meet end to end with nothing on record.
    farthest_m : float
        Reach of the longest assembly with its clearance [m]: joints farther off than this do not matter.
    """

    def __init__(self, network: Network, through_record_joints: bool, farthest_m: float) -> None:
        self._network, self._through, self._farthest_m = network, through_record_joints, farthest_m
        self.is_passed = lru_cache(maxsize=4096)(self._is_passed)

    def near(self, geometry: SegmentGeometry) -> tuple[SegmentJoint, ...]:
        """Return the joints on a segment and those inside the work that are not too far to matter."""
        if not geometry.joints:
            return ()
        low, high = -self._farthest_m, geometry.length_m + self._farthest_m
        return tuple([joint for joint in geometry.joints if low < joint.at_m < high])

    def _is_passed(self, before: int, after: int) -> bool:
        """Whether an assembly may lie across the joint of two mains."""
        if not self._through or min(before, after) < 0:
            return False
        pipes = self._network.pipes
        # An unknown year equals no other: NaN.
        return all(
            bool(values[before] == values[after])
            for values in (pipes.od_m, pipes.bore_m, pipes.material, pipes.year)
        )

    def blocks(
        self, geometry: SegmentGeometry, extent: StopExtent, with_words: bool = True
    ) -> list[BlockedLength]:
        """Return where the joints keep off a method that taps or closes the pipe, zone at the start."""
        blocks = []
        for at_m, before, after in self.near(geometry):
            if self.is_passed(before, after):
                near_m, far_m = -BESIDE_M, BESIDE_M
            else:
                near_m, far_m = min(extent.near_m, -BESIDE_M), max(extent.far_m, BESIDE_M)
            words = self._words(before, after) if with_words else ""
            blocks.append(BlockedLength(at_m - far_m, at_m - near_m, "main-end", words))
        return blocks

    def _words(self, before: int, after: int) -> str:
        if min(before, after) < 0:
            return "too near to the fitting or tapping where this length ends inside the work"
        return f"too near to {self.name(before, after)}"

    def name(self, before: int, after: int) -> str:
        """Return how the joint of two mains is called."""
        a, b = sorted((self._network.pipes.id[before], self._network.pipes.id[after]))
        return f"the joint between {a} and {b}"

    def passed(self, geometry: SegmentGeometry, low_m: float, high_m: float) -> tuple[SegmentJoint, ...]:
        """Return the joints between two places of a segment [m] that are taken for mere record boundaries."""
        return tuple(
            joint
            for joint in geometry.joints
            if low_m + _ROUNDED_M < joint.at_m < high_m - _ROUNDED_M
            and self.is_passed(joint.before, joint.after)
        )

    def impassable(self, geometry: SegmentGeometry) -> list[float]:
        """Return the places of the joints that no assembly may lie across, near a segment [m]."""
        return [at_m for at_m, before, after in self.near(geometry) if not self.is_passed(before, after)]


def blocked_by_ends(geometry: SegmentGeometry, extent: StopExtent, work_m: float) -> list[BlockedLength]:
    """Return where the ends of a segment, and the work, keep an assembly off, zone at its start."""
    blocks = []
    if not geometry.starts_at_work:
        blocks.append(
            BlockedLength(
                -1.0,
                -extent.near_m,
                "clearance",
                f"less than {-extent.near_m:.2f} m beyond the fitting or tapping on the work's side",
            )
        )
    need = work_m - geometry.start_to_work_m
    if need > 0:
        blocks.append(
            BlockedLength(
                -1.0,
                need - extent.least_m,
                "work-clearance",
                f"the first tapping would be less than {work_m:g} m from the work",
            )
        )
    if not geometry.ends_at_work:
        blocks.append(
            BlockedLength(
                geometry.length_m - extent.far_m,
                geometry.length_m + 1.0,
                "assembly",
                f"the assembly needs {extent.far_m:.2f} m before the next fitting or tapping",
            )
        )
    else:
        blocks.append(
            BlockedLength(
                geometry.length_m - extent.most_m - work_m,
                geometry.length_m + 1.0,
                "work-clearance",
                "another part of the work lies ahead",
            )
        )
    return blocks


def blocked_by_fittings(
    index: SegmentGraph, geometry: SegmentGeometry, method: StopMethod, extent: StopExtent
) -> list[BlockedLength]:
    """Return where recorded fittings keep a method off, zone at the start."""
    fittings = index.network.fittings
    squeeze = method.kind is MethodKind.SQUEEZE
    blocks = []
    for at, row in fittings_on(index, geometry):
        kind = FittingKind(int(fittings.kind[row]))
        marked = squeeze and kind is FittingKind.SQUEEZE_MARK
        near, far = (extent.mark_near_m, extent.mark_far_m) if marked else (extent.near_m, extent.far_m)
        words = f"too near to {kind.word.replace('_', ' ')} {fittings.id[row]}"
        blocks.append(BlockedLength(at - far, at - near, "squeeze-mark" if marked else "fitting", words))
        if kind is FittingKind.TRANSITION and "mechanical" in method.refuse_joints:
            blocks.append(
                BlockedLength(
                    -1.0,
                    geometry.length_m + 1.0,
                    MethodRefusal.TRANSITION.code,
                    f"transition fitting {fittings.id[row]} would take the thrust",
                )
            )
    return blocks


def fittings_on(index: SegmentGraph, geometry: SegmentGeometry) -> list[tuple[float, int]]:
    """Return (place on the segment [m], fitting row) for the fittings on it or within a metre of its legs.

    Fittings a little beyond an end still claim their clearance.
    """
    found = []
    if not len(index.fitting_key):
        return []
    for leg in geometry.legs:
        base = index.pipe_base_m[leg.pipe]
        low, high = sorted((leg.chainage(leg.start_m), leg.chainage(leg.end_m)))
        first = np.searchsorted(index.fitting_key, base + low - 1e-6)
        last = np.searchsorted(index.fitting_key, base + high + 1e-6)
        for place in range(int(first), int(last)):
            chainage = float(index.fitting_key[place] - base)
            found.append(
                (leg.start_m + leg.sign * (chainage - leg.chainage_m), int(index.fitting_row[place]))
            )
    return sorted(set(found))


def free_intervals(length_m: float, blocks: list[BlockedLength]) -> list[tuple[float, float]]:
    """Return the closed intervals of [0, length_m] that no block covers, in order."""
    free, low = [], 0.0
    for block in sorted(blocks, key=lambda block: (block.low_m, block.high_m)):
        if block.high_m <= block.low_m:
            continue
        if block.low_m >= low:
            if block.low_m <= length_m:
                free.append((low, block.low_m))
            else:
                break
        low = max(low, block.high_m)
    if low <= length_m:
        free.append((low, length_m))
    return free


class Ends(NamedTuple):
    """What the two ends of a segment are: see `segment_geometry.SegmentGeometry`."""

    starts_at_work: bool
    ends_at_work: bool
    start_to_work_m: float


class FeasibleInterval(NamedTuple):
    """The places between the ends of a segment: from `start_m` to `reach_m` and `clear_m` before its end."""

    start_m: float
    reach_m: float
    clear_m: float

    def end(self, length_m: float) -> float:
        """Return the last place on a segment of some length [m]; before `start_m` where there is none."""
        return min(length_m, length_m - self.reach_m - self.clear_m)


def ends_of(geometry: SegmentGeometry) -> Ends:
    """Return the ends of a segment."""
    return Ends(geometry.starts_at_work, geometry.ends_at_work, geometry.start_to_work_m)


def feasible_interval(ends: Ends, extent: StopExtent, work_m: float) -> FeasibleInterval:
    """Return what the ends of a segment leave an assembly.

    Parameters
    ----------
    ends : Ends
    extent : StopExtent
    work_m : float
        Clearance of its parts to the work [m].
    """
    start, need = 0.0, work_m - ends.start_to_work_m
    if not ends.starts_at_work:
        start = max(start, -extent.near_m)
    if need > 0:
        start = max(start, need - extent.least_m)
    return (
        FeasibleInterval(start, extent.most_m, work_m)
        if ends.ends_at_work
        else FeasibleInterval(start, extent.far_m, 0.0)
    )
