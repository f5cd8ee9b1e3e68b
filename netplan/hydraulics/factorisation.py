"""Sparse symmetric factorisations behind one small door, passed to the solver as a callable."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np
from scipy.sparse import csc_array, csc_matrix, triu
from scipy.sparse.linalg import splu

from netplan.core.arrays import Floats

try:
    import qdldl
except ImportError:  # no wheel for every Python
    qdldl = None

__all__ = ["Factorisation", "LinearSolver", "default_linear_solver", "ldl_solver", "lu_solver"]


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
