"""The answer of a recheck: whether an issued plan still holds with today's records, closures and weather."""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import ConfigDict, Field

from netplan.planfile.json_files import published_schema
from netplan.planfile.model.plan_inputs import Conditions, NetworkFacts, PlanElement, Provenance
from netplan.planfile.numbers import HeldPressure, Metres, NeededPressure, Pressure, Rounded1, Rounded3

__all__ = [
    "RECHECK_SCHEMA",
    "Against",
    "LeastNow",
    "MovedReading",
    "RecheckAnswer",
    "RecordChange",
    "TouchedCustomer",
    "recheck_schema",
]

RECHECK_SCHEMA: Final = "netplan/recheck/1"

Subject = Literal[
    "superseded",
    "work section",
    "stop",
    "zone",
    "feed",
    "pressure",
    "priority",
    "crew day",
    "purge",
    "order of work",
    "fallback",
    "failure",
    "customers",
    "reading",
]


class Against(PlanElement):
    """One reason why the plan does not hold any more, or one thing to correct in its papers."""

    subject: Subject = Field(description="which constraint, or what that was told, is broken")
    what: str = Field(description="what is so today, in one line")


class RecordChange(PlanElement):
    """A record that is another one than when the plan was made."""

    layer: str
    feature_id: str
    what: str = Field(description="what has changed, and from what to what")
    does: str = Field(default="", description="what that changes of the plan; empty: nothing that was found")
    away_m: Rounded1 | None = Field(
        default=None, description="nearest to the work, its stops and feeds, as the crow flies [m]"
    )


class TouchedCustomer(PlanElement):
    """A customer for whom the plan says one thing and today's records another."""

    id: str = Field(description="meter point")
    address: str
    priority: str = ""
    meters: int = 1
    told: tuple[str, ...] = Field(description="what the plan says of them; empty: not in any of its lists")
    now: tuple[str, ...] = Field(description="what is so today; empty: in none of the lists")
    by_milder_weather: bool = Field(
        default=False, description="not on standby in weather milder than planned: a correction, no reason"
    )


class MovedReading(PlanElement):
    """A pressure that the pack tells people to read, and that is another one today [mbar gauge]."""

    step: int = Field(description="number of the step in the plan")
    gauge_id: str
    main_id: str = ""
    chainage_m: Metres | None = None
    planned_mbar: Pressure
    band_mbar: Rounded3
    today_mbar: Pressure
    planned_abort_mbar: NeededPressure | None = None
    today_abort_mbar: NeededPressure | None = None
    by_milder_weather: bool = Field(
        default=False,
        description="higher than the pack says, in weather milder than planned: a correction, no reason",
    )


class LeastNow(PlanElement):
    """The least pressure of kept meter inlets in a state of the work, planned and today [mbar gauge]."""

    state: str
    planned_mbar: HeldPressure | None = None
    today_mbar: HeldPressure | None = None
    at: str = Field(default="", description="customer it is at today")
    holds: bool = True


class RecheckAnswer(PlanElement):
    """Whether one option of an issued plan still holds."""

    schema_: Literal["netplan/recheck/1"] = Field(alias="schema", default=RECHECK_SCHEMA)
    caution: str
    holds: bool
    plan_sha256: str = Field(description="digest of what the plan says, its provenance apart")
    revision: str = Field(default="", description="revision code of the plan; empty where it has none")
    superseded_by: str = Field(default="", description="what supersedes the plan; empty: nothing known")
    option: int
    network: NetworkFacts = Field(description="today's network")
    same_records: bool = Field(description="whether today's records are those the plan was made on")
    provenance: Provenance
    planned: Conditions
    conditions: Conditions | None = Field(
        default=None, description="today's; null where the network was not solved"
    )
    rules_differ: tuple[str, ...] = Field(default=(), description="rules that are not those of the plan")
    against: tuple[Against, ...] = Field(description="why it does not hold; empty where it holds")
    corrections: tuple[Against, ...] = Field(
        default=(), description="what is to be corrected in the pack though the plan holds"
    )
    changes: tuple[RecordChange, ...] = Field(description="records changed near the work, nearest first")
    changes_elsewhere: int = Field(default=0, description="records changed farther from the work")
    customers: tuple[TouchedCustomer, ...] = Field(description="whom the plan tells otherwise, by id")
    customers_unknown: Literal["", "standby and doubt", "all"] = Field(
        default="", description="which lists of today could not be worked out with these stops"
    )
    readings: tuple[MovedReading, ...] = ()
    states: tuple[LeastNow, ...] = ()
    not_compared: tuple[str, ...] = Field(default=(), description="what a plan folder does not hold")

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def recheck_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a recheck; ``digits`` says how floats are rounded."""
    return published_schema(RecheckAnswer, RECHECK_SCHEMA)
