"""Where mains may be tapped for a hose: clear of ends and fittings, in lengths with room for tees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import ops

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M
from netplan.feeds.feed_kinds import MOST_PARALLEL
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.rules.outlets_by_diameter import bypass_outlet_mm
from netplan.rules.rule_set import Rules

__all__ = ["APART_M", "ROUNDING_M", "MainLines", "TappableLengths", "rows_within", "tappable_lengths"]

ROUNDING_M = 1e-3
"""What a length cut out of a line may lie beside it (own) [m]."""
APART_M: Final = 20.0
"""Greatest length of main of which one place is looked at for each length of another main (own) [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class MainLines:
    """Pieces of mains with their geometry.

    Parameters
    ----------
    link : int array, shape (k,)
        Link of the flow network, of the direction of the geometry.
    line : array of shapely LineStrings, shape (k,)
        Geometry in the working CRS [m].
    od_m : float array, shape (k,)
        Outside diameter [m], for the clearance of tappings.
    fittings_m : tuple of tuple of float, optional
        Distances of recorded fittings from the start of each line, along it [m]; none by default. One a
        little before or beyond a line claims its clearance too.
    """

    link: Ints
    line: NDArray[np.object_]
    od_m: Floats
    fittings_m: tuple[tuple[float, ...], ...] = ()

    def __len__(self) -> int:
        return len(self.link)


@dataclass(frozen=True, slots=True, eq=False)
class TappableLengths:
    """What may be tapped: rows of mains, lines, and of each the outlet [mm] and how many tees fit."""

    rows: Ints
    lines: NDArray[np.object_]
    outlet_mm: list[float]
    most_tees: list[int]

    def outlet(self, row: int) -> tuple[float, int]:
        """Return the size of the outlets on a line [mm nominal], and how many fit."""
        return self.outlet_mm[row], self.most_tees[row]


def rows_within(some: NDArray[np.object_], others: NDArray[np.object_], distance: float) -> tuple[Ints, Ints]:
    """Return the rows of lines that have one of the others within a distance, of both."""
    if not len(some) or not len(others):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    rows, other_rows = shapely.STRtree(others).query(some, predicate="dwithin", distance=distance)
    return np.unique(rows), np.unique(other_rows)


def tappable_lengths(mains: MainLines, rules: Rules, scale: float, wanted: Ints) -> TappableLengths:
    """Return what may be tapped of the wanted rows of mains."""
    length = np.zeros(len(mains.line))
    length[wanted] = shapely.length(mains.line[wanted])
    keep = np.maximum(rules.clearance.fitting_m, rules.clearance.fitting_od * mains.od_m) * scale
    rows: list[int] = []
    found: list[Any] = []
    outlets: list[float] = []
    tees: list[int] = []
    narrowest = nominal_outlet_mm(rules.bypass.bores_mm[0])
    for row in np.flatnonzero(length > 2.0 * keep).tolist():
        outlet_mm = bypass_outlet_mm(rules, float(mains.od_m[row]) * MM_PER_M)
        if outlet_mm < narrowest:
            continue
        marks = [at * scale for at in mains.fittings_m[row]] if mains.fittings_m else []
        for low, high in _free(float(length[row]), float(keep[row]), marks):
            rows.append(row)
            count = max(int(np.ceil((high - low) / (APART_M * scale))), 1)
            bounds = np.linspace(low, high, count + 1)
            rows += [row] * (count - 1)
            found += [ops.substring(mains.line[row], a, b) for a, b in pairwise(bounds.tolist())]
            outlets += [outlet_mm] * count
            tees += [_tees(high - low, float(keep[row]))] * count
    lines = np.empty(len(rows), dtype=object)
    lines[:] = found
    return TappableLengths(np.array(rows, dtype=np.int64), lines, outlets, tees)


def _tees(length: float, keep: float) -> int:
    """Return how many tees fit on a free length, so far from each other as from fittings."""
    return MOST_PARALLEL if keep <= 0.0 else min(1 + int(length / keep + 1e-9), MOST_PARALLEL)


def _free(length: float, keep: float, marks: Sequence[float]) -> list[tuple[float, float]]:
    """Return the lengths of a line that are clear of its ends and of marks on it."""
    free, low = [], keep
    for mark in sorted(marks):
        if mark - keep > low:
            free.append((low, min(mark - keep, length - keep)))
        low = max(low, mark + keep)
    return [(a, b) for a, b in [*free, (low, length - keep)] if b > a]
