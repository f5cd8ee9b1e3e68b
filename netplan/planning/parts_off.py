"""Which parts can't be off together, because the crew's day is too short to relight them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.customers import most_meters
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.feeds_for_part import DeficientPart
from netplan.planning.outage_hours import queue_of, times_of

__all__ = ["PartsOffInDay"]


class PartsOffInDay:
    """Asks of parts off, before anything is solved for them, whether the day holds their relighting.

    Parameters
    ----------
    context, reach
        Who is off because of the zones alone.
    parts : sequence of DeficientPart
        Parts that may be off as well.

    Attributes
    ----------
    reason : str
        Why the first parts asked for that the day doesn't hold can't be off; empty without such.
    """

    def __init__(
        self, context: PlanningContext, reach: CutConnectivity, parts: Sequence[DeficientPart]
    ) -> None:
        request = context.request
        crew = request.rules.crew
        meters = np.maximum(request.network.customers.meters, 1)
        self._context, self._reach, self._parts = context, reach, parts
        self._most = most_meters(request.start, request.window_hours, crew.relights_per_hour, crew.day_end)
        self._in_zones = int(meters[reach.isolated].sum())
        self._in_part = [int(meters[part.customers].sum()) for part in parts]
        self.reason = ""

    def is_too_short(self, off: Sequence[bool]) -> bool:
        """Return whether the day is too short with those parts off."""
        meters = self._in_zones + sum(
            of_part for of_part, is_off in zip(self._in_part, off, strict=True) if is_off
        )
        if meters <= self._most:
            return False
        if not self.reason:
            gone = self._reach.isolated.copy()
            for part, is_off in zip(self._parts, off, strict=True):
                gone[part.customers] |= is_off
            request = self._context.request
            self.reason = times_of(request, queue_of(request, np.flatnonzero(gone))).reason
        return True
