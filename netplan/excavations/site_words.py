"""What an excavation asks for on site: shoring by depth, traffic by surface, utilities located first."""

from __future__ import annotations

from typing import Final

import numpy as np

from netplan.network.model import Network
from netplan.network.vocabulary import Surface
from netplan.rules import ExcavationRules

__all__ = ["LOCATE_FIRST", "TRAFFIC", "excavation_depth_m", "needs_shoring"]

LOCATE_FIRST: Final = (
    "have the records of all other utilities on site; trace them with a locator and mark them; dig by hand "
    "near them"
)
"""What comes before any excavation (common practice)."""
TRAFFIC: Final = {
    Surface.UNKNOWN: "surface not on record: look on site before arranging traffic control",
    Surface.VERGE: "barriers all round",
    Surface.FOOTWAY: "footway closed: barriers, and a marked way past for people on foot",
    Surface.CARRIAGEWAY: "lane closed: signs, barriers and traffic control as the road authority permits",
    Surface.UNMADE: "barriers all round",
}
"""What the traffic past it asks for, by surface (common practice)."""

_ROUNDING_M: Final = 1e-9


def excavation_depth_m(network: Network, rules: ExcavationRules, mains: list[int]) -> tuple[float, bool]:
    """Return how deep an excavation over some mains is, and whether the cover of each is on record.

    It is dug to ``below_m`` under the deepest of them: cover, outside diameter and that room [m]. A main
    without a cover on record counts with the rules' ``depth_m``.
    """
    cover = network.pipes.depth_m[mains]
    known = np.isfinite(cover) & (cover > 0.0)
    deepest = np.where(known, cover, rules.depth_m) + network.pipes.od_m[mains]
    return float(deepest.max()) + rules.below_m, bool(known.all())


def needs_shoring(rules: ExcavationRules, depth_m: float) -> bool:
    """Return whether an excavation of a depth [m] is shored: as deep as the rules' ``shoring_depth_m``."""
    return depth_m >= rules.shoring_depth_m - _ROUNDING_M
