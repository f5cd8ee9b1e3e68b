"""The linear system of a Newton step: factorised, or solved from the factors of a nearby matrix."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, Protocol

import numpy as np
from scipy.sparse import csc_array, csc_matrix, triu
from scipy.sparse.linalg import splu

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.grouping import sum_at
from netplan.hydraulics.prepared_network import CorePattern

try:
    import qdldl
except ImportError:  # no wheel for every Python
    qdldl = None

__all__ = ["CoreMatrix", "Factorisation", "LinearSolver", "default_linear_solver", "ldl_solver", "lu_solver"]


class Factorisation(Protocol):
    """A factorised symmetric positive definite matrix whose values may change, its pattern never."""

    def update(self, data: Floats) -> None:
        """Factorise again with new values `data` of the upper triangle, in the pattern's order."""

    def solve(self, right: Floats) -> Floats:
        """Return x with A x = right."""


LinearSolver = Callable[[csc_array], Factorisation]
"""Takes the upper triangle (compressed columns, sorted, diagonal included), returns a factorisation."""


class _Ldl:
    def __init__(self, upper: csc_array) -> None:
        self._upper = csc_matrix(upper)
        self._solver: Any = qdldl.Solver(self._upper, upper=True)

    def update(self, data: Floats) -> None:
        self._upper.data[:] = data
        self._solver.update(self._upper, upper=True)

    def solve(self, right: Floats) -> Floats:
        return np.asarray(self._solver.solve(right), dtype=float)


class _Lu:
    def __init__(self, upper: csc_array) -> None:
        self._upper = csc_matrix(upper)
        self._factor: Any = None
        self.update(np.asarray(self._upper.data))

    def update(self, data: Floats) -> None:
        self._upper.data[:] = data
        full = csc_matrix(self._upper + triu(self._upper, k=1).T)
        # Without SymmetricMode the same fill-reducing order costs a thousand times more on big grids.
        self._factor = splu(
            full, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )

    def solve(self, right: Floats) -> Floats:
        return np.asarray(self._factor.solve(right), dtype=float)


class _Nothing:
    """The factors of a matrix without rows."""

    def update(self, data: Floats) -> None:
        pass

    def solve(self, right: Floats) -> Floats:
        return right


def ldl_solver(upper: csc_array) -> Factorisation:
    """Factorise by LDLᵀ (qdldl): the pattern is analysed once, new values are fast."""
    return _Ldl(upper) if upper.shape[0] else _Nothing()


def lu_solver(upper: csc_array) -> Factorisation:
    """Factorise by LU in symmetric mode (scipy's SuperLU): everywhere available."""
    return _Lu(upper) if upper.shape[0] else _Nothing()


def default_linear_solver() -> LinearSolver:
    """Return the LDLᵀ solver where its library is installed, else the LU solver."""
    return lu_solver if qdldl is None else ldl_solver


EXACT_KG_PER_S: Final = 2e-13
"""Imbalance that the iterative way leaves, at most, in the last Newton step [kg/s]."""
_RELATIVE: Final = 1e-3
_MOST_ROUNDS: Final = 16
_MOVED_BY: Final = 0.05
_MOVED_SHARE: Final = 0.04
_EXTRA_FIXED: Final = 64


class CoreMatrix:
    """The weighted Laplacian of the core, with some junctions fixed.

    A stop moves flows near itself only, so the matrix of the changed network is the old one but for few
    entries. Then a handful of conjugate-gradient rounds with the old factors as preconditioner cost less
    than new factors and leave the imbalance just as small.

    Parameters
    ----------
    pattern : CorePattern
        Where entries go.
    start, end : ndarray of int, shape (k,)
        Junctions at the ends of each chain.
    factor : Factorisation
        Of the pattern.
    """

    def __init__(self, pattern: CorePattern, start: Ints, end: Ints, factor: Factorisation) -> None:
        self._pattern = pattern
        self._start, self._end = start, end
        self._factor = factor
        self._known: Floats | None = None
        self._known_fixed: Flags | None = None
        self._conductance = np.zeros(start.size)
        self._fixed = np.zeros(pattern.diagonal.size, dtype=bool)
        self._near = False
        self.left = 0.0
        """Imbalance that the last solution left [kg/s]; 0 when it came from its own factors."""

    def set(self, conductance: Floats, fixed: Flags) -> None:
        """Take new conductances [kg/(s Pa²)] of the chains and fixed junctions."""
        self._conductance, self._fixed = conductance, fixed
        self._near = self._is_near()
        if not self._near:
            self._factorise()

    def solve(self, right: Floats) -> Floats:
        """Return x with A x = right at the free junctions, 0 at the fixed ones; `right` is overwritten."""
        right[self._fixed] = 0.0
        if self._near:
            found = self._iterate(right)
            if found is not None:
                return found
            self._factorise()
            self._near = False
        self.left = 0.0
        found = self._factor.solve(right)
        found[self._fixed] = 0.0
        return found

    def _is_near(self) -> bool:
        if self._known is None or self._known_fixed is None:
            return False
        freed = self._known_fixed & ~self._fixed
        extra = self._fixed & ~self._known_fixed
        if freed.any() or extra.sum() > _EXTRA_FIXED:
            return False
        moved = np.abs(self._conductance - self._known) > _MOVED_BY * self._known
        return int(moved.sum()) <= _MOVED_SHARE * moved.size

    def _factorise(self) -> None:
        self._factor.update(self._pattern.values(self._conductance, self._start, self._end, self._fixed))
        self._known, self._known_fixed = self._conductance, self._fixed

    def _times(self, x: Floats) -> Floats:
        flow = self._conductance * (x[self._start] - x[self._end])
        out = sum_at(self._start, flow, x.size) - sum_at(self._end, flow, x.size)
        out[self._fixed] = 0.0
        return out

    def _precondition(self, residual: Floats) -> Floats:
        out = self._factor.solve(residual)
        out[self._fixed] = 0.0
        return out

    def _iterate(self, right: Floats) -> Floats | None:
        enough = max(EXACT_KG_PER_S, _RELATIVE * float(np.abs(right).max(initial=0.0)))
        found = np.zeros(right.size)
        residual = right.copy()
        direction, worth = found, 1.0
        for number in range(_MOST_ROUNDS):
            self.left = float(np.abs(residual).max(initial=0.0))
            if self.left <= enough:
                return found
            ahead = self._precondition(residual)
            before, worth = worth, float(np.sum(residual * ahead))
            direction = ahead + (worth / before) * direction if number else ahead
            image = self._times(direction)
            bend = float(np.sum(direction * image))
            if not bend > 0.0:
                return None
            step = worth / bend
            found = found + step * direction
            residual -= step * image
        return None
