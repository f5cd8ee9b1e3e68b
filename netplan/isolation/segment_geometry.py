"""Segments of main laid out along one coordinate, so that a stop's assembly can be placed on them."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from netplan.isolation.segment_graph import SegmentGraph

__all__ = ["SegmentGeometry", "SegmentJoint", "SegmentLeg", "part_of", "segment_geometry"]


class SegmentLeg(NamedTuple):
    """A length of one piece as part of a segment.

    Parameters
    ----------
    piece, pipe : int
        Rows.
    start_m, end_m : float
        Where it lies on the segment's coordinate [m].
    chainage_m : float
        Chainage on the pipe at `start_m` [m].
    sign : int
        +1 where chainage rises along the segment, -1 where it falls.
    """

    piece: int
    pipe: int
    start_m: float
    end_m: float
    chainage_m: float
    sign: int

    def chainage(self, at_m: float) -> float:
        """Return the chainage at a place on the segment's coordinate [m]."""
        return self.chainage_m + self.sign * (at_m - self.start_m)

    def chainage_within(self, at_m: float) -> float:
        """Return the chainage of a place [m], on the leg however the sums were rounded."""
        return self.chainage(min(max(at_m, self.start_m), self.end_m))

    def turned(self, length_m: float) -> SegmentLeg:
        """Return the same leg from the other end of a segment of some length [m]."""
        piece, pipe, start_m, end_m, chainage_m, sign = self
        far_m = chainage_m + sign * (end_m - start_m)
        return SegmentLeg(piece, pipe, length_m - end_m, length_m - start_m, far_m, -sign)


class SegmentJoint(NamedTuple):
    """Where an end of a main lies on the coordinate of a segment, whatever is recorded there.

    Parameters
    ----------
    at_m : float
        Place [m]; below 0 or beyond the length for one inside the work section beside the segment.
    before, after : int
        Rows of the mains that meet there, along the segment; -1 at an end of the segment.
    """

    at_m: float
    before: int = -1
    after: int = -1


class SegmentGeometry(NamedTuple):
    """A segment, or what is left of one beside the work section, from the zone's side outward.

    Parameters
    ----------
    legs : tuple of SegmentLeg
    length_m : float
        Length [m].
    starts_at_work, ends_at_work : bool
        Whether an end is an end of the work section and not a node.
    start_to_work_m, end_to_work_m : float
        Distance between that end and the nearest end of the work section [m]; infinite when far.
    joints : tuple of SegmentJoint
        Ends of mains on it and, beside the work, those of the same segment inside the work, in order. Its own
        two ends are none unless the segment goes on there.
    """

    legs: tuple[SegmentLeg, ...]
    length_m: float
    starts_at_work: bool = False
    ends_at_work: bool = False
    start_to_work_m: float = float("inf")
    end_to_work_m: float = float("inf")
    joints: tuple[SegmentJoint, ...] = ()

    def turned(self) -> SegmentGeometry:
        """Return the same geometry from its other end."""
        legs, length_m, starts_at_work, ends_at_work, start_to_work_m, end_to_work_m, joints = self
        turned = [leg.turned(length_m) for leg in reversed(legs)]
        reverse = [SegmentJoint(length_m - at_m, after, before) for at_m, before, after in reversed(joints)]
        return SegmentGeometry(
            tuple(turned),
            length_m,
            ends_at_work,
            starts_at_work,
            end_to_work_m,
            start_to_work_m,
            tuple(reverse),
        )

    def with_work_distances(self, start_to_work_m: float, end_to_work_m: float) -> SegmentGeometry:
        """Return the same geometry, knowing how near its ends are to the work [m]."""
        return self._replace(start_to_work_m=start_to_work_m, end_to_work_m=end_to_work_m)

    def leg_at(self, at_m: float) -> SegmentLeg:
        """Return the leg that holds a place; at a joint the one nearer the start."""
        for leg in self.legs:
            if at_m <= leg.end_m + 1e-9:
                return leg
        return self.legs[-1]


def segment_geometry(index: SegmentGraph, segment: int) -> SegmentGeometry:
    """Return a whole segment from the end at ``index.segment_a`` to the end at ``index.segment_b``."""
    pieces = index.network.pieces
    rows: list[int] = index.pieces_of(segment).tolist()
    if len(rows) > 1:
        rows, starts = _in_order(index, segment, rows)
    else:
        starts = [pieces.from_node.item(rows[0])]
    legs, along = [], 0.0
    for row, start in zip(rows, starts, strict=True):
        low, high = pieces.from_m.item(row), pieces.to_m.item(row)
        at, sign = (low, 1) if start == pieces.from_node.item(row) else (high, -1)
        legs.append(SegmentLeg(row, pieces.pipe.item(row), along, along + high - low, at, sign))
        along += high - low
    return SegmentGeometry(tuple(legs), along, joints=_joints(legs))


def _joints(legs: list[SegmentLeg]) -> tuple[SegmentJoint, ...]:
    """Return the joints between legs; where a main goes straight on there is none."""
    if len(legs) == 1:
        return ()
    return tuple(
        SegmentJoint(after.start_m, before.pipe, after.pipe)
        for before, after in pairwise(legs)
        if before.pipe != after.pipe or abs(before.chainage(before.end_m) - after.chainage_m) > 1e-6
    )


def _in_order(index: SegmentGraph, segment: int, rows: list[int]) -> tuple[list[int], list[int]]:
    pieces = index.network.pieces
    ends = {row: (int(pieces.from_node[row]), int(pieces.to_node[row])) for row in rows}
    at: dict[int, list[int]] = {}
    for row, pair in ends.items():
        for node in pair:
            at.setdefault(node, []).append(row)
    first = [
        (row, node)
        for row, pair in ends.items()
        for node in pair
        if not index.is_inner[node] and index.super_of[node] == index.segment_a[segment]
    ]
    row, node = first[0] if first else (rows[0], ends[rows[0]][0])
    order, starts, seen = [row], [node], {row}
    while True:
        a, b = ends[row]
        node = b if node == a else a
        following = [other for other in at[node] if other not in seen] if index.is_inner[node] else []
        if not following:
            return order, starts
        row = following[0]
        seen.add(row)
        order.append(row)
        starts.append(node)


def part_of(
    geometry: SegmentGeometry, low_m: float, high_m: float, at_work: tuple[bool, bool]
) -> SegmentGeometry:
    """Return the part of a segment between two places; `at_work` says which of them are ends of the work."""
    legs = []
    for leg in geometry.legs:
        start, end = max(leg.start_m, low_m), min(leg.end_m, high_m)
        inside = low_m - 1e-9 <= leg.start_m and leg.end_m <= high_m + 1e-9
        if end - start > 1e-9 or (inside and leg.start_m == leg.end_m):
            legs.append(
                SegmentLeg(leg.piece, leg.pipe, start - low_m, end - low_m, leg.chainage(start), leg.sign)
            )
    # Beyond an end at the work the segment goes on inside it, to its own end.
    joints = (
        *([SegmentJoint(0.0)] if at_work[0] else ()),
        *geometry.joints,
        *([SegmentJoint(geometry.length_m)] if at_work[1] else ()),
    )
    return SegmentGeometry(
        tuple(legs),
        high_m - low_m,
        *at_work,
        0.0 if at_work[0] else geometry.start_to_work_m,
        0.0 if at_work[1] else geometry.end_to_work_m,
        tuple([joint._replace(at_m=joint.at_m - low_m) for joint in joints]),
    )
