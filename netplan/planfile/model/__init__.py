"""The plan as it stands in plan.json: frozen, checked, and the one truth for its JSON Schema.

Pressures are gauge, flows are m³/h at 15 °C and 101.325 kPa, lengths are metres in plan, volumes inside
pipes are actual volumes, unless a name says otherwise.
"""

from netplan.planfile.model.facts import (
    Conditions,
    DemandPart,
    FindingRow,
    NetworkFacts,
    PipeSetAside,
    Provenance,
    WorkItem,
)
from netplan.planfile.model.gas import LetBy, Purge, PurgeLoad, PurgePoint, Vent, VentComparison
from netplan.planfile.model.option import SCHEMA_NAME, BurdenParts, Option, Plan, Proof
from netplan.planfile.model.order import Fallback, FallbackUse, FeedShut, Loss, Step
from netplan.planfile.model.pressures import Gauge, LeastPressure, Pressures, State
from netplan.planfile.model.stops import NotNearer, Stop, Tapping, Zone, ZonePipe
from netplan.planfile.model.supply import AffectedCustomer, Bypass, OpenedValve, Place, WeatherLine
from netplan.planfile.model.trust import InDoubt, Trust, TrustRow

__all__ = [
    "SCHEMA_NAME",
    "AffectedCustomer",
    "BurdenParts",
    "Bypass",
    "Conditions",
    "DemandPart",
    "Fallback",
    "FallbackUse",
    "FeedShut",
    "FindingRow",
    "Gauge",
    "InDoubt",
    "LeastPressure",
    "LetBy",
    "Loss",
    "NetworkFacts",
    "NotNearer",
    "OpenedValve",
    "Option",
    "PipeSetAside",
    "Place",
    "Plan",
    "Pressures",
    "Proof",
    "Provenance",
    "Purge",
    "PurgeLoad",
    "PurgePoint",
    "State",
    "Step",
    "Stop",
    "Tapping",
    "Trust",
    "TrustRow",
    "Vent",
    "VentComparison",
    "WeatherLine",
    "WorkItem",
    "Zone",
    "ZonePipe",
]
