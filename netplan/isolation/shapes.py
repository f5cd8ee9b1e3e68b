"""Runs of main laid out along one coordinate, so that a stop's assembly can be placed on them."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.isolation.index import Index

__all__ = ["Block", "Leg", "Shape", "part_of", "run_shape"]


@dataclass(frozen=True, slots=True)
class Leg:
    """A length of one piece in a shape.

    Parameters
    ----------
    piece, pipe : int
        Rows.
    start_m, end_m : float
        Where it lies on the shape's coordinate [m].
    chainage_m : float
        Chainage on the pipe at `start_m` [m].
    sign : int
        +1 where chainage rises along the shape, -1 where it falls.
    """

    piece: int
    pipe: int
    start_m: float
    end_m: float
    chainage_m: float
    sign: int

    def chainage(self, at_m: float) -> float:
        """Return the chainage at a place on the shape's coordinate [m]."""
        return self.chainage_m + self.sign * (at_m - self.start_m)


@dataclass(frozen=True, slots=True)
class Block:
    """Places (strictly between low_m and high_m on a shape) where the barrier nearest the work cannot be."""

    low_m: float
    high_m: float
    code: str
    words: str


@dataclass(frozen=True, slots=True)
class Shape:
    """A run, or the rest of one beside the work section, from the zone's side outward.

    Parameters
    ----------
    legs : tuple of Leg
    length_m : float
        Length [m].
    starts_at_work, ends_at_work : bool
        Whether an end is an end of the work section and not a node.
    start_gap_m, end_gap_m : float
        Distance between that end and the nearest end of the work section [m]; infinite when far.
    """

    legs: tuple[Leg, ...]
    length_m: float
    starts_at_work: bool = False
    ends_at_work: bool = False
    start_gap_m: float = float("inf")
    end_gap_m: float = float("inf")

    def turned(self) -> Shape:
        """Return the same shape from its other end."""
        legs = tuple(
            Leg(
                leg.piece,
                leg.pipe,
                self.length_m - leg.end_m,
                self.length_m - leg.start_m,
                leg.chainage(leg.end_m),
                -leg.sign,
            )
            for leg in reversed(self.legs)
        )
        return Shape(
            legs, self.length_m, self.ends_at_work, self.starts_at_work, self.end_gap_m, self.start_gap_m
        )

    def leg_at(self, at_m: float) -> Leg:
        """Return the leg that holds a place; at a joint the one nearer the start."""
        for leg in self.legs:
            if at_m <= leg.end_m + 1e-9:
                return leg
        return self.legs[-1]


def run_shape(index: Index, run: int) -> Shape:
    """Return a whole run from the end at ``index.run_a`` to the end at ``index.run_b``."""
    pieces = index.network.pieces
    rows = [int(row) for row in index.pieces_of(run)]
    if len(rows) > 1:
        rows, starts = _in_order(index, run, rows)
    else:
        starts = [int(pieces.from_node[rows[0]])]
    legs, along = [], 0.0
    for row, start in zip(rows, starts, strict=True):
        low, high = float(pieces.from_m[row]), float(pieces.to_m[row])
        forward = start == int(pieces.from_node[row])
        legs.append(
            Leg(
                row,
                int(pieces.pipe[row]),
                along,
                along + high - low,
                low if forward else high,
                1 if forward else -1,
            )
        )
        along += high - low
    return Shape(tuple(legs), along)


def _in_order(index: Index, run: int, rows: list[int]) -> tuple[list[int], list[int]]:
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
        if not index.plain[node] and index.super_of[node] == index.run_a[run]
    ]
    row, node = first[0] if first else (rows[0], ends[rows[0]][0])
    order, starts, seen = [row], [node], {row}
    while True:
        a, b = ends[row]
        node = b if node == a else a
        following = [other for other in at[node] if other not in seen] if index.plain[node] else []
        if not following:
            return order, starts
        row = following[0]
        seen.add(row)
        order.append(row)
        starts.append(node)


def part_of(shape: Shape, low_m: float, high_m: float, at_work: tuple[bool, bool]) -> Shape:
    """Return the part of a shape between two places; `at_work` says which of them are ends of the work."""
    legs = []
    for leg in shape.legs:
        start, end = max(leg.start_m, low_m), min(leg.end_m, high_m)
        inside = low_m - 1e-9 <= leg.start_m and leg.end_m <= high_m + 1e-9
        if end - start > 1e-9 or (inside and leg.start_m == leg.end_m):
            legs.append(Leg(leg.piece, leg.pipe, start - low_m, end - low_m, leg.chainage(start), leg.sign))
    return Shape(
        tuple(legs),
        high_m - low_m,
        *at_work,
        0.0 if at_work[0] else shape.start_gap_m,
        0.0 if at_work[1] else shape.end_gap_m,
    )
