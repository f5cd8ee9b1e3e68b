"""Published curves of how many appliances run at their peak together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from netplan.core.arrays import Floats
from netplan.reference import table_rows

__all__ = ["DiversityCurve", "diversity", "diversity_curve"]


@dataclass(frozen=True, slots=True)
class DiversityCurve:
    """g(N) = limit + span / (1 + (N / half_at)^power), never above 1.

    Parameters
    ----------
    name : str
        What it is a curve of.
    limit, span, half_at, power : float
        Coefficients [-].
    source : str
        Source key.
    """

    name: str
    limit: float
    span: float
    half_at: float
    power: float
    source: str


@lru_cache(maxsize=1)
def diversity_curve() -> DiversityCurve:
    """Return the curve in use: one of heating peaks, not of hot water."""
    row = table_rows("diversity_curves.csv")[0]
    return DiversityCurve(
        row["curve"],
        float(row["limit"]),
        float(row["span"]),
        float(row["half_at"]),
        float(row["power"]),
        row["source"],
    )


def diversity(curve: DiversityCurve, appliances: Floats | float) -> Floats:
    """Return the share g of the summed peaks [-] that `appliances` ≥ 1 of one kind reach together.

    In (0, 1], never rising with N, while N · g(N) never falls. Below one appliance it is 1.
    """
    count = np.maximum(np.asarray(appliances, dtype=float), 1.0)
    shared: Floats = curve.limit + curve.span / (1.0 + (count / curve.half_at) ** curve.power)
    return np.minimum(shared, 1.0)
