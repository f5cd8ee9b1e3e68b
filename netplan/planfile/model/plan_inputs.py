"""What a plan was made from: network, work, conditions, findings, and the base of every part of a plan."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from netplan.planfile.numbers import Metres, Millimetres, Pressure, Rounded2, Rounded3

__all__ = [
    "Conditions",
    "DemandPart",
    "FindingRow",
    "NetworkFacts",
    "PipeSetAside",
    "PlanElement",
    "Provenance",
    "ReplacedPlan",
    "WorkItem",
]


class PlanElement(BaseModel):
    """A part of a plan: frozen; keys this version does not know are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class NetworkFacts(PlanElement):
    """Which network the plan is for."""

    content_sha256: str = Field(description="digest of the normalised layers sorted by id")
    counts: dict[str, int]
    crs: str = Field(description="working CRS of x and y")
    crs_note: str = ""
    length_scale: float = Field(description="projection scale that planar lengths were divided by [-]")


class Provenance(PlanElement):
    """Where the plan comes from; left out of comparisons."""

    source: str
    versions: dict[str, str]
    created: str


class ReplacedPlan(PlanElement):
    """The plan that this one stands in for: its papers are void."""

    revision: str = Field(description="its revision code")
    plan_sha256: str = Field(description="digest of what it says, provenance apart")
    start: str | None = Field(default=None, description="start of its window, ISO 8601 local time")


class WorkItem(PlanElement):
    """One length to be made gas-free."""

    main_id: str
    from_m: Metres
    to_m: Metres


class DemandPart(PlanElement):
    """One part of the demand at the worst hour [m³/h]."""

    name: str
    customers: int
    flow_m3h: Rounded3


class Conditions(PlanElement):
    """The window of the work and its weather."""

    start: str | None = Field(description="start of the window, ISO 8601 local time; null: any working day")
    hours: Rounded2
    air_temp_c: Rounded2
    ground_temp_c: Rounded2
    demand_total_m3h: Rounded3
    worst_hour: str = ""
    note: str = ""
    orders: tuple[str, ...] = Field(default=(), description="what the planner ordered, a line each")
    demand_parts: tuple[DemandPart, ...] = ()
    gas_outlet_mbar: Pressure | None = Field(
        default=None,
        description="greatest set outlet of the work's system: the gas of the zones is priced at it",
    )


class FindingRow(PlanElement):
    """A data finding that touches the plan."""

    code: str
    layer: str
    feature_id: str
    severity: str
    what: str
    mend: str


class PipeSetAside(PlanElement):
    """A live pipe without a usable size, taken as not live; the plan is the same with it live."""

    layer: Literal["mains", "services"]
    pipe_id: str
    code: str = Field(description="code of the error about it")
    what: str
    mend: str
    distance_m: Metres = Field(description="nearest to any work section, as the crow flies")
    least_bore_mm: Millimetres = Field(description="the plan was made with it live in this size too")
    greatest_bore_mm: Millimetres
    customers: tuple[str, ...] = Field(
        default=(), description="who has no gas by the records while it is taken as not live"
    )
