"""Lengths of main on which a barrier can go: clear of fittings, areas nobody digs in, and the hit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely
from shapely.ops import substring

from netplan.core.arrays import Floats, Ints32
from netplan.emergency.hit_places import HitPlace, PipeBoxes
from netplan.emergency.stop_seconds import BarrierLength
from netplan.isolation.stop_exclusions import KeepOutAreas, keep_out_areas
from netplan.network.model import Network
from netplan.network.vocabulary import FittingKind

__all__ = ["FreeLengths", "KeepAway", "barrier_place_m"]

ROUNDING_M: Final = 1e-6
SEGMENTS: Final = 64
ROUND: Final = 1.0 / math.cos(math.pi / (4.0 * SEGMENTS))
"""A buffer is a polygon inside its circle: so much wider it holds all of the circle [-]."""

Span = tuple[float, float]


class KeepAway:
    """The lengths of pipes within the keep-away distance of what was hit.

    Parameters
    ----------
    boxes : PipeBoxes
    hits : sequence of HitPlace
    keep_away_m : float
        Straight distance from all that may be hit [m].
    """

    def __init__(self, boxes: PipeBoxes, hits: Sequence[HitPlace], keep_away_m: float) -> None:
        self.spans: dict[int, list[Span]] = {}
        scale = boxes.network.scale
        for area in _areas_round(boxes.network, hits, keep_away_m) if keep_away_m > 0.0 else ():
            for row in boxes.meeting(area.bounds).tolist():
                line = _line(boxes.network, row)
                for part in shapely.get_parts(line.intersection(area)).tolist():
                    ends = shapely.get_coordinates(part)
                    if not len(ends):
                        continue
                    at = shapely.line_locate_point(line, shapely.points(ends)) / scale
                    self.spans.setdefault(row, []).append((float(at.min()), float(at.max())))

    def holds(self, pipe: int, chainage_m: float) -> bool:
        """Return whether a place on a pipe lies within the distance."""
        return any(
            low - ROUNDING_M <= chainage_m <= high + ROUNDING_M for low, high in self.spans.get(pipe, ())
        )


def _line(network: Network, row: int) -> shapely.LineString:
    pipes = network.pipes
    return shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])


def _areas_round(network: Network, hits: Iterable[HitPlace], reach_m: float) -> Iterator[Any]:
    """Yield the areas within reach of all that may be hit [m]."""
    for hit in hits:
        line = _line(network, hit.pipe)
        for low_m, high_m in hit.reaches:
            course = substring(line, low_m * network.scale, high_m * network.scale)
            yield course.buffer(reach_m * network.scale * ROUND, quad_segs=SEGMENTS)


class FreeLengths:
    """Plain lengths of the mains of a network, between fittings and outside areas nobody digs in."""

    def __init__(self, network: Network) -> None:
        self.network = network

    @cached_property
    def _areas(self) -> KeepOutAreas:
        recorded = self.network.keep_out
        return keep_out_areas(tuple(recorded.geometry.tolist()), tuple(recorded.reason))

    @cached_property
    def _fittings(self) -> tuple[Ints32, Floats]:
        fittings = self.network.fittings
        order = np.lexsort((fittings.chainage_m, fittings.pipe))
        return fittings.pipe[order], fittings.chainage_m[order]

    @cached_property
    def touched_by_areas(self) -> frozenset[int]:
        """Rows of the mains that lie in an area nobody digs in."""
        tree = self._areas.tree
        if tree is None:
            return frozenset()
        pipes = self.network.pipes
        lines = shapely.from_ragged_array(
            shapely.GeometryType.LINESTRING,
            pipes.coords_m[: pipes.coord_start[pipes.n_mains]],
            (pipes.coord_start[: pipes.n_mains + 1],),
        )
        return frozenset(tree.query(lines, predicate="intersects")[0].tolist())

    def fittings_on(self, pipe: int) -> list[float]:
        """Return the chainages of the fittings of a pipe, ascending [m]."""
        owner, at_m = self._fittings
        low, high = np.searchsorted(owner, [pipe, pipe + 1])
        return [float(value) for value in at_m[low:high]]

    @cached_property
    def with_squeeze_marks(self) -> frozenset[int]:
        """Rows of the mains on which a squeeze is recorded."""
        fittings = self.network.fittings
        marked = fittings.pipe[(fittings.kind == FittingKind.SQUEEZE_MARK) & (fittings.pipe >= 0)]
        return frozenset(np.unique(marked).tolist())

    def squeezes_on(self, pipe: int) -> list[float]:
        """Return the chainages of the squeezes recorded on a pipe, ascending [m]."""
        if pipe not in self.with_squeeze_marks:
            return []
        fittings = self.network.fittings
        own = (fittings.pipe == pipe) & (fittings.kind == FittingKind.SQUEEZE_MARK)
        return sorted(fittings.chainage_m[own].tolist())

    def on_piece(self, piece: int, low_m: float, high_m: float, barred: Iterable[Span] = ()) -> list[Span]:
        """Return the plain lengths of a piece within two chainages of its main, ascending [m].

        Parameters
        ----------
        piece : int
        low_m, high_m : float
            Chainages within which a stop is wanted [m].
        barred : iterable of (float, float)
            Lengths where none may be [m].
        """
        pieces = self.network.pieces
        pipe = pieces.pipe.item(piece)
        low_m, high_m = max(low_m, pieces.from_m.item(piece)), min(high_m, pieces.to_m.item(piece))
        taken = [(at, at) for at in self.fittings_on(pipe)]
        taken += barred
        taken += [(low, high) for low, high, _ in self._areas.on(self.network, pipe)]
        found, at = [], low_m
        for low, high in sorted(taken):
            if high < low_m or low > high_m:
                continue
            if low > at:
                found.append((at, low))
            at = max(at, high)
        if high_m > at:
            found.append((at, high_m))
        return found


def barrier_place_m(free: Sequence[Span], length: BarrierLength, *, from_low: bool) -> float | None:
    """Return the chainage of the barrier nearest the hit on the first plain length that is long enough [m].

    Parameters
    ----------
    free : sequence of (float, float)
        Plain lengths, ascending [m]; one that ends where stops are barred counts as if a fitting were there.
    length : BarrierLength
    from_low : bool
        Whether the hit lies towards lower chainages.
    """
    fitting = [(low, high) for low, high in free if high - low >= length.needed_m - ROUNDING_M]
    if not fitting:
        return None
    return fitting[0][0] + length.clear_m if from_low else fitting[-1][1] - length.clear_m
