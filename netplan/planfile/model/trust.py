"""What would change if a doubtful record were wrong."""

from __future__ import annotations

from pydantic import Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import Metres

__all__ = ["InDoubt", "Trust", "TrustRow"]


class TrustRow(Part):
    """A doubtful record that would change the option if it were wrong; each is taken by itself."""

    code: str = Field(description="code of the finding; valve-closed: a recorded state that is only believed")
    layer: str
    feature_id: str
    other_id: str = Field(default="", description="for a joint the main it may be joined to")
    taken_as: str = Field(description="what the plan takes to be so")
    may_be: str = Field(description="what may be so instead")
    main_id: str = Field(description="where a further stop, or the proof, would go")
    chainage_m: Metres
    x: Metres
    y: Metres
    gas_reaches_work: bool = False
    further_stop: bool = False
    zone_parted: bool = False
    customers_off: tuple[str, ...] = Field(default=(), description="without gas besides those of the plan")
    customers_on: tuple[str, ...] = Field(default=(), description="counted as without gas, but would have it")
    meters_off: int = 0
    what: str


class Trust(Part):
    """Doubtful records near an option: how many were tried, and those that would change it."""

    checked: int = 0
    would_change: tuple[TrustRow, ...] = ()


class InDoubt(Part):
    """A customer who would lose gas during the work if one doubtful record were otherwise; never one off."""

    id: str = Field(description="meter point")
    address: str
    priority: str = Field(default="", description="priority code; empty: none")
    layer: str = Field(description="layer of the doubtful record")
    record_id: str = Field(
        description="id of the doubtful record; the customer's own where no recorded way feeds it"
    )
    why: str = Field(description="what is doubtful, and what would follow, in one line")
    meters: int = 1
    x: Metres = Field(description="place of the customer, working CRS")
    y: Metres
