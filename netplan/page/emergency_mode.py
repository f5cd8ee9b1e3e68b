"""The emergency answer as a mode of the page: one click, the rings at once, one key for a failed valve."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import hits_near
from netplan.emergency.next_rings import EmergencyRequest
from netplan.network.linear_reference import lon_lat
from netplan.network.model import Network
from netplan.planfile.emergency_answer import EmergencyAnswer
from netplan.rules import Rules

__all__ = ["EmergencyMode", "PageHit"]

Plane = Annotated[float, Field(ge=-1e8, le=1e8, allow_inf_nan=False)]


class PageHit(BaseModel):
    """Where the page was pointed at [m, working CRS], how many crews come, and valves that failed to shut."""

    x: Plane
    y: Plane
    crews: Annotated[int, Field(ge=1, le=100)] = 1
    failed: Annotated[tuple[Annotated[str, Field(max_length=200)], ...], Field(max_length=1_000)] = ()

    model_config = ConfigDict(extra="forbid", frozen=True)


class EmergencyMode:
    """Answers for one network, its tables worked out at the first.

    Parameters
    ----------
    network : Network
    rules : Rules
    """

    def __init__(self, network: Network, rules: Rules) -> None:
        self._tables = EmergencyTables(network, rules)
        self._last: tuple[float, float] | None = None
        self._answer: EmergencyAnswer | None = None

    def answer(self, hit: PageHit) -> dict[str, Any]:
        """Return the first answer, as emergency.json has it; the log goes on while the place is the same.

        Raises
        ------
        BadInputError
            When a valve is not in the network, or no main lies near.
        """
        tables = self._tables
        before = self._answer if self._last == (hit.x, hit.y) else None
        lon, lat = lon_lat(tables.network, np.array([[hit.x, hit.y]]))[0].tolist()
        error_m = tables.rules.emergency.location_error_m
        words = f"--at {lon:.7f},{lat:.7f}"
        request = EmergencyRequest(words, hit.crews, error_m, hit.failed)
        found = hits_near(tables.boxes, hit.x, hit.y, error_m, words)
        answer = first_answer(
            tables,
            found,
            request,
            revision=1 if before is None else before.revision + 1,
            log=() if before is None else before.log,
        )
        self._last, self._answer = (hit.x, hit.y), answer
        return answer.model_dump(mode="json", by_alias=True, exclude={"provenance"})
