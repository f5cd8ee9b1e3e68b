"""Ground for hoses that tests draw themselves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from netplan.feeds.free_ground import BUILDING, FreeGround, Obstacles
from netplan.feeds.hose_routes import HoseRoutes

__all__ = ["routes_round"]


def routes_round(
    obstacles: Sequence[Any] = (),
    streets: Sequence[Any] = (),
    mains: Sequence[Any] = (),
    *,
    kind: str = "",
    scale: float = 1.0,
) -> HoseRoutes:
    """Return the routes round obstacles of a kind: by default buildings, lines of them rail."""
    kinds = tuple(kind or ("rail" if one.geom_type == "LineString" else BUILDING) for one in obstacles)
    ground = FreeGround(Obstacles(_array(obstacles), kinds), _array(streets), _array(mains))
    return HoseRoutes(ground, scale)


def _array(shapes: Sequence[Any]) -> Any:
    found = np.empty(len(shapes), dtype=object)
    found[:] = list(shapes)
    return found
