"""The rules' table of outlets: how wide a main may be tapped for each purpose, by its outside diameter."""

from __future__ import annotations

from itertools import pairwise

from pydantic import field_validator, model_validator

from netplan.reference.outlet_sizes import NOMINAL_OUTLETS_MM, is_nominal_outlet, nominal_outlet_mm
from netplan.rules.rule_types import Millimetres, RulesTable

__all__ = ["Outlet", "outlets_in_order"]


class Outlet(RulesTable):
    """Outlets on mains from one outside diameter to another, both included: nominal sizes [mm], 0 for none.

    `bypass_mm` is the widest for a bypass or hose; `bag_mm` that through which a bag goes in.
    """

    od_min_mm: Millimetres
    od_max_mm: Millimetres
    gauge_mm: Millimetres
    vent_mm: Millimetres
    zone_vent_mm: Millimetres
    bypass_mm: Millimetres
    bag_mm: Millimetres

    @field_validator("gauge_mm", "vent_mm", "zone_vent_mm", "bypass_mm", "bag_mm")
    @classmethod
    def _nominal(cls, value: float) -> float:
        if value and not is_nominal_outlet(value):
            sizes = ", ".join(f"{size:g}" for size in NOMINAL_OUTLETS_MM)
            raise ValueError(f"{value:g} mm is no nominal size; write one of {sizes}, or 0 for none")
        return nominal_outlet_mm(value)

    @model_validator(mode="after")
    def _range(self) -> Outlet:
        if self.od_min_mm > self.od_max_mm:
            raise ValueError("od_min_mm is above od_max_mm; swap them")
        return self


def outlets_in_order(outlets: tuple[Outlet, ...]) -> tuple[Outlet, ...]:
    """Return a table of outlets as it is.

    Raises
    ------
    ValueError
        When its ranges of outside diameters do not rise, or two of them hold the same diameter.
    """
    for before, after in pairwise(outlets):
        if after.od_min_mm <= before.od_max_mm:
            raise ValueError(
                f"{before.od_min_mm:g} to {before.od_max_mm:g} mm and {after.od_min_mm:g} to "
                f"{after.od_max_mm:g} mm are not in order or overlap; correct od_min_mm and od_max_mm"
            )
    return outlets
