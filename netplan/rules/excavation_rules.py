"""Rules of what is dug: prices by surface, excavations, and fallbacks prepared beforehand."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from netplan.rules.rule_types import Flag, Metres, Money, RulesTable, Whole

__all__ = ["ExcavationRules", "FallbackRules", "SurfacePrices"]


class SurfacePrices(RulesTable):
    """Surcharge of a hole by surface [currency]."""

    unknown: Money = 0.0
    verge: Money = 0.0
    footway: Money = 0.0
    carriageway: Money = 0.0
    unmade: Money = 0.0


class ExcavationRules(RulesTable):
    """Excavations: what one costs that no method's price includes, its size, and when two are one.

    ``price`` with ``price_surface`` pays one excavation, ``length_m`` of work section included; each further
    metre of the work costs ``price_per_m``. Rules of before this table, kept in an old plan, price none.
    """

    price: Money = 0.0
    price_surface: SurfacePrices = SurfacePrices()
    price_per_m: Money = 0.0
    length_m: Metres = 3.0
    margin_m: Annotated[Metres, Field(gt=0, le=20)] = 0.5
    width_m: Annotated[Metres, Field(gt=0, le=20)] = 1.2
    merge_m: Annotated[Metres, Field(le=100)] = 5.0
    depth_m: Metres = 0.9
    below_m: Metres = 0.3
    shoring_depth_m: Metres = 1.2


class FallbackRules(RulesTable):
    """Whether the stops to use when one fails are dug, tapped and proved beforehand, and paid.

    ``max_zones`` counts work, as those of ``choice`` do.
    """

    prepared: Flag = False
    max_zones: Annotated[Whole, Field(ge=1, le=1_000_000)] = 300
