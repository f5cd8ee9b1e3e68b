"""Rules of the emergency answer: how long a stop takes, how far to keep off, and who is told."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from netplan.rules.rule_types import Metres, Millimetres, Minutes, Number, RulesTable, Whole

__all__ = ["EmergencyRules", "EmergencySurfaceMinutes", "NotifyThreshold"]


class EmergencySurfaceMinutes(RulesTable):
    """Minutes that the surface adds to a stop that is dug [min]."""

    unknown: Minutes = 10.0
    verge: Minutes = 0.0
    footway: Minutes = 10.0
    carriageway: Minutes = 25.0
    unmade: Minutes = 0.0


class NotifyThreshold(RulesTable):
    """Who is told once so many meters are without gas."""

    meters: Annotated[Whole, Field(ge=0, le=10**9)]
    whom: Annotated[str, Field(min_length=1, max_length=200)]


class EmergencyRules(RulesTable):
    """An emergency: minutes to shut, travel left out; distances; holes for the escape of gas.

    ``minutes_squeeze`` and ``minutes_bag`` hold everything from the first cut of the ground to a barrier that
    is set. No stop is offered within ``keep_away_m`` of the place that was hit, valves included. Within
    ``location_error_m`` of the place that was given every live main may be the one. Beside the quickest ring
    one is shown that takes longer where each minute more keeps ``meters_per_minute`` meters on.
    """

    meters_per_minute: Annotated[Number, Field(gt=0, le=1e6)] = 5.0
    location_error_m: Annotated[Metres, Field(gt=0, le=200)] = 10.0
    keep_away_m: Annotated[Metres, Field(le=1000)] = 25.0
    crews: Annotated[Whole, Field(ge=1, le=100)] = 1
    minutes_valve: Annotated[Minutes, Field(gt=0)] = 10.0
    minutes_squeeze: Annotated[Minutes, Field(gt=0)] = 75.0
    minutes_bag: Annotated[Minutes, Field(gt=0)] = 150.0
    minutes_surface: EmergencySurfaceMinutes = EmergencySurfaceMinutes()
    nearby_m: Annotated[Metres, Field(le=1000)] = 50.0
    holes_mm: tuple[Annotated[Millimetres, Field(gt=0)], ...] = (10.0, 25.0, 50.0)
    notify: tuple[NotifyThreshold, ...] = (NotifyThreshold(meters=0, whom="network control"),)

    @field_validator("notify")
    @classmethod
    def _by_meters(cls, rows: tuple[NotifyThreshold, ...]) -> tuple[NotifyThreshold, ...]:
        return tuple(sorted(rows, key=lambda row: (row.meters, row.whom)))
