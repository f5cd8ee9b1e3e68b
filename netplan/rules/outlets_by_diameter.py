"""How wide a main is tapped for each part of a stop, a bypass or a purge."""

from __future__ import annotations

from typing import Final

from netplan.reference.outlet_sizes import widest_outlet_mm
from netplan.rules.outlet_table import Outlet
from netplan.rules.rule_set import MethodKind, Rules, StopMethod

__all__ = ["bypass_outlet_mm", "needs_outlet", "no_outlet_words", "outlet_at", "tapping_mm"]

_ROUNDED_MM: Final = 0.05
"""What an outside diameter on record may lie beyond the ends of a range (own) [mm]."""

_WORDS: Final = {
    "barrier": "a bag",
    "gauge": "a gauge",
    "vent": "a vent between barriers",
    "zone_vent": "a zone vent",
}


def outlet_at(rules: Rules, od_mm: float) -> Outlet | None:
    """Return the row of the table of outlets for a main of an outside diameter [mm]; None in a gap."""
    return next(
        (
            outlet
            for outlet in rules.outlet
            if outlet.od_min_mm - _ROUNDED_MM <= od_mm <= outlet.od_max_mm + _ROUNDED_MM
        ),
        None,
    )


def bypass_outlet_mm(rules: Rules, od_mm: float) -> float:
    """Return the widest outlet for a bypass or hose on a main of an outside diameter [mm].

    Returns
    -------
    float
        Nominal size [mm], never wider than ``bypass.tapping_bore_mm``; 0 where none can be made.
    """
    outlet = outlet_at(rules, od_mm)
    return 0.0 if outlet is None else min(outlet.bypass_mm, widest_outlet_mm(rules.bypass.tapping_bore_mm))


def needs_outlet(method: StopMethod, role: str) -> bool:
    """Whether a part of a stop goes through an outlet: all but the barriers of a squeeze."""
    return role != "barrier" or method.kind is MethodKind.BAG


def tapping_mm(rules: Rules, method: StopMethod, role: str, od_mm: float) -> float:
    """Return how wide a main is tapped for a part of a stop.

    Parameters
    ----------
    rules : Rules
    method : StopMethod
    role : str
        zone_vent, barrier, vent, gauge or bypass.
    od_mm : float
        Outside diameter of the main [mm].

    Returns
    -------
    float
        Nominal size of the outlet [mm]; 0 for a squeeze, and where the table has none.
    """
    if role == "bypass":
        return bypass_outlet_mm(rules, od_mm)
    outlet = outlet_at(rules, od_mm)
    if outlet is None or not needs_outlet(method, role):
        return 0.0
    if role == "barrier":
        return outlet.bag_mm
    return {"gauge": outlet.gauge_mm, "vent": outlet.vent_mm, "zone_vent": outlet.zone_vent_mm}[role]


def no_outlet_words(rules: Rules, method: StopMethod, od_mm: float) -> str:
    """Return why a method cannot be used on a main for want of an outlet; empty where all it needs fit.

    A bypass tee is no need: a stop without one may stand, and gives no bypass.
    """
    wanted = dict.fromkeys(
        part.role for part in method.assembly if part.role != "bypass" and needs_outlet(method, part.role)
    )
    missing = [role for role in wanted if tapping_mm(rules, method, role, od_mm) <= 0.0]
    if not missing:
        return ""
    outlet = outlet_at(rules, od_mm)
    if outlet is None:
        return f"no outlet on {od_mm:g} mm: no row of the rules' table of outlets holds this outside diameter"
    what = " or ".join(_WORDS[role] for role in missing)
    return (
        f"no outlet for {what} on {od_mm:g} mm: the rules' table of outlets gives none from "
        f"{outlet.od_min_mm:g} to {outlet.od_max_mm:g} mm"
    )
