"""A record that is another one today, before it is said what that does."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

__all__ = ["FoundChange"]


@dataclass(frozen=True, slots=True, eq=False)
class FoundChange:
    """A record that differs.

    Parameters
    ----------
    layer, feature_id, what : str
    shape : shapely geometry
        Where it lies in the plan's CRS.
    away_m : float
        From the work [m]; NaN before it is known.
    is_figure : bool
        Whether a figure or word of a record has changed alone: it is there as before, at the same place.
    """

    layer: str
    feature_id: str
    what: str
    shape: Any
    away_m: float = math.nan
    is_figure: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Layer and id."""
        return self.layer, self.feature_id

    def at(self, away_m: float) -> FoundChange:
        """Return it with its distance from the work [m]."""
        return replace(self, away_m=away_m)
