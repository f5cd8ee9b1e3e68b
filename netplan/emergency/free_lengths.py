"""Lengths of main on which a barrier can go: clear of fittings, areas nobody digs in, and the hit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from netplan.core.arrays import Floats, Ints32
from netplan.emergency.hit_places import HitPlace, PipeBoxes
from netplan.emergency.stop_seconds import BarrierLength
from netplan.isolation.stop_exclusions import KeepOutAreas, keep_out_areas
from netplan.network.model import Network

__all__ = ["FreeLengths", "KeepAway", "barrier_place_m"]

ROUNDING_M: Final = 1e-6

Span = tuple[float, float]


class KeepAway:
    """The lengths of pipes within the keep-away distance of what was hit.

    Parameters
    ----------
    boxes : PipeBoxes
    hits : sequence of HitPlace
    keep_away_m : float
        Straight distance from each hit [m].
    """

    def __init__(self, boxes: PipeBoxes, hits: Sequence[HitPlace], keep_away_m: float) -> None:
        self.spans: dict[int, list[Span]] = {}
        pipes, scale = boxes.network.pipes, boxes.network.scale
        for hit in hits:
            if keep_away_m <= 0.0:
                break
            circle = shapely.Point(hit.x_m, hit.y_m).buffer(keep_away_m * scale, quad_segs=64)
            for row in boxes.within(hit.x_m, hit.y_m, keep_away_m * scale).tolist():
                line = shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
                for part in shapely.get_parts(line.intersection(circle)).tolist():
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
