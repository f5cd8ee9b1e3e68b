"""Options and the plan that lists them."""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import ConfigDict, Field

from netplan.planfile.model.excavations import Excavation
from netplan.planfile.model.order_of_work import LossRow, OrderItem, Step, Timeline, ZoneGauge, ZonePart
from netplan.planfile.model.plan_inputs import (
    Conditions,
    FindingRow,
    NetworkFacts,
    PipeSetAside,
    PlanElement,
    Provenance,
    ReplacedPlan,
    WorkItem,
)
from netplan.planfile.model.stops_and_gas import Purge, Stop, Vent, Zone
from netplan.planfile.model.supply_and_failures import (
    AffectedCustomer,
    Bypass,
    Fallback,
    Gauge,
    InDoubt,
    Loss,
    OpenedValve,
    PreparedFallback,
    Pressures,
    State,
    Trust,
    WeatherLine,
)
from netplan.planfile.numbers import Money

__all__ = ["SCHEMA_NAME", "BurdenParts", "Option", "Plan", "Proof"]

SCHEMA_NAME: Final = "netplan/plan/1"


class BurdenParts(PlanElement):
    """The parts of the burden [currency]; they add up to it to the minor unit."""

    stops: Money
    interruption: Money
    feeds: Money
    gas: Money
    excavations: Money = Field(default=0.0, description="what stops and feeds do not include")
    fallbacks: Money = Field(default=0.0, description="prepared fallbacks; 0 where none are prepared")


class Proof(PlanElement):
    """What is proven about the rank: no different option is cheaper beyond those listed."""

    optimal: bool
    lower_bound: Money
    gap: Money
    reason: str


class Option(PlanElement):
    """One complete answer."""

    rank: int
    burden: Money
    burden_parts: BurdenParts
    currency: str
    proof: Proof
    stops: tuple[Stop, ...]
    zones: tuple[Zone, ...]
    customers: tuple[AffectedCustomer, ...]
    bypasses: tuple[Bypass, ...]
    opened_valves: tuple[OpenedValve, ...]
    pressures: Pressures
    vent: Vent
    purge: Purge
    gauges: tuple[Gauge, ...]
    fallback: tuple[Fallback, ...]
    steps: tuple[Step, ...]
    states: tuple[State, ...]
    weather: tuple[WeatherLine, ...] = ()
    warnings: tuple[str, ...]
    trust: Trust = Trust()
    losses: tuple[Loss, ...] = Field(default=(), description="what else may fail while the main is cut")
    in_doubt: tuple[InDoubt, ...] = Field(
        default=(),
        description="customers who would lose gas if one doubtful record near the work were otherwise, "
        "by id; none of them is off by this option",
    )
    excavations: tuple[Excavation, ...] = Field(
        default=(), description="where the ground is opened; empty in plans of version 0.1"
    )

    @property
    def holes(self) -> int:
        """How many excavations it takes; for a plan that lists none, the holes of its stops."""
        if self.excavations:
            return len(self.excavations)
        return len({stop.hole_id for stop in self.stops if stop.kind != "valve"})

    prepared_fallbacks: tuple[PreparedFallback, ...] = Field(
        default=(), description="fallback stops dug, tapped and proved before the first stop goes in"
    )

    items: tuple[OrderItem, ...] = Field(
        default=(),
        description="what the steps change, with ids of their own",
    )
    parts: tuple[ZonePart, ...] = Field(default=(), description="zones, and what the cut parts them into")
    zone_gauges: tuple[ZoneGauge, ...] = ()
    loss_sheet: tuple[LossRow, ...] = Field(
        default=(), description="what to do when something fails, in each state of the work"
    )
    timeline: Timeline | None = None

    @property
    def standby(self) -> tuple[str, ...]:
        """Customers on standby, ascending: off only if a planned stop fails and its fallback is used.

        Every paper, list and count takes them from here. Many are customers that a feed keeps on.
        """
        off = {customer.id for customer in self.customers if customer.effect == "off"}
        return tuple(sorted({id_ for fallback in self.fallback for id_ in fallback.standby} - off))

    @property
    def shut_in(self) -> tuple[str, ...]:
        """Ids of the stations that carry nothing while the stops are in, ascending."""
        return tuple(sorted({one.station_id for stop in self.stops for one in stop.shuts_in}))


class Plan(PlanElement):
    """A plan: planning help, never a permit."""

    schema_: Literal["netplan/plan/1"] = Field(alias="schema", default=SCHEMA_NAME)
    caution: str
    network: NetworkFacts
    provenance: Provenance
    work: tuple[WorkItem, ...]
    conditions: Conditions
    rules: dict[str, Any]
    not_checked: tuple[str, ...]
    findings: tuple[FindingRow, ...] = ()
    options: tuple[Option, ...]
    set_aside: tuple[PipeSetAside, ...] = Field(
        default=(), description="live pipes without a usable size that are taken as not live, mains first"
    )
    replaces: ReplacedPlan | None = Field(default=None, description="the plan that this one supersedes")

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
