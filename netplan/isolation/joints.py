"""Ends of mains within a segment: joints that stops keep clear of, whatever is recorded there."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from netplan.isolation.segment_geometry import BlockedLength, SegmentGeometry, SegmentJoint
from netplan.isolation.stop_methods import StopExtent
from netplan.network.model import Network

__all__ = ["BESIDE_M", "Joints"]

BESIDE_M: Final = 0.05
"""Least distance of the barrier nearest the work from any end of a main (own): the default snap distance,
nearer than which the records do not tell on which of the two mains it lies [m]."""
_ROUNDED_M: Final = 1e-3
"""What a plan states chainages to (own): by less no clearance rests on a joint [m]."""


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

    def near(self, shape: SegmentGeometry) -> tuple[SegmentJoint, ...]:
        """Return the joints on a shape and those inside the work that are not too far to matter."""
        if not shape.joints:
            return ()
        low, high = -self._farthest_m, shape.length_m + self._farthest_m
        return tuple([joint for joint in shape.joints if low < joint.at_m < high])

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
        self, shape: SegmentGeometry, reach: StopExtent, with_words: bool = True
    ) -> list[BlockedLength]:
        """Return where the joints keep off a method that taps or closes the pipe, zone at the start."""
        blocks = []
        for at_m, before, after in self.near(shape):
            if self.is_passed(before, after):
                near_m, far_m = -BESIDE_M, BESIDE_M
            else:
                near_m, far_m = min(reach.near_m, -BESIDE_M), max(reach.far_m, BESIDE_M)
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

    def passed(self, shape: SegmentGeometry, low_m: float, high_m: float) -> tuple[SegmentJoint, ...]:
        """Return the joints between two places of a shape [m] that are taken for mere record boundaries."""
        return tuple(
            joint
            for joint in shape.joints
            if low_m + _ROUNDED_M < joint.at_m < high_m - _ROUNDED_M
            and self.is_passed(joint.before, joint.after)
        )

    def in_the_way(self, shape: SegmentGeometry) -> list[float]:
        """Return the places of the joints that no assembly may lie across, near a shape [m]."""
        return [at_m for at_m, before, after in self.near(shape) if not self.is_passed(before, after)]
