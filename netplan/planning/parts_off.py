"""Which parts can't be off together, because the day is too short for it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

import numpy as np

from netplan.isolation import Cut
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import least_counts_of, most_meters, refusal
from netplan.planning.deficient_parts import DeficientPart

__all__ = ["PartsOffInDay", "too_many_off"]

MOST_CHOSEN: Final = 10
"""Parts of which every choice to be off is gone through; more are priced one by one (own) [-]."""


def too_many_off(context: PlanningContext, meters: int) -> str:
    """Return that more meters are off than ordered, in words; empty where they are not."""
    most = context.request.orders.max_meters_off
    return f"{meters} meters off, more than the {most} ordered" if most is not None and meters > most else ""


class PartsOffInDay:
    """Asks of parts off, before anything is solved for them, whether order and day allow it.

    Feeds and the purge are left out: they only make it longer.

    Parameters
    ----------
    context, cut, reach
        Who is off because of the zones alone.
    parts : sequence of DeficientPart
        Parts that may be off as well.

    Attributes
    ----------
    reason : str
        Why the first parts asked for that may not be off together may not; empty without such.
    """

    def __init__(
        self, context: PlanningContext, cut: Cut, reach: CutConnectivity, parts: Sequence[DeficientPart]
    ) -> None:
        meters = np.maximum(context.request.network.customers.meters, 1)
        self._context = context
        self._counts = least_counts_of(context, cut, reach, 0)
        ordered = context.request.orders.max_meters_off
        in_day = most_meters(context, self._counts)
        self._most = in_day if ordered is None else min(in_day, ordered)
        self._in_zones = int(meters[reach.isolated].sum())
        self._in_part = [int(meters[part.customers].sum()) for part in parts]
        self.reason = ""

    def is_too_short(self, off: Sequence[bool]) -> bool:
        """Return whether the day is too short, or more are off than ordered, with those parts off."""
        meters = self._in_zones + sum(
            of_part for of_part, is_off in zip(self._in_part, off, strict=True) if is_off
        )
        if meters <= self._most:
            return False
        if not self.reason:
            self.reason = too_many_off(self._context, meters) or refusal(
                self._context, self._counts.with_meters(meters)
            )
        return True

    def least_minor(self, feed_minor: Sequence[int | None], off_minor: Sequence[int | None]) -> int | None:
        """Return what all parts cost at least where the day is long enough; None where it never is.

        Parameters
        ----------
        feed_minor, off_minor : sequences of (int or None)
            What feeding a part costs at least, and what it costs off [minor units]; None where that is
            no way. Every part has one of them.
        """
        if len(feed_minor) > MOST_CHOSEN:
            pairs = zip(feed_minor, off_minor, strict=True)
            return sum(min(price for price in pair if price is not None) for pair in pairs)
        least: int | None = None
        ways = [
            [is_off for is_off, price in ((False, feed), (True, off)) if price is not None]
            for feed, off in zip(feed_minor, off_minor, strict=True)
        ]
        for off in product(*ways):
            if not self.is_too_short(off):
                price = sum(
                    (gone if is_off else fed) or 0
                    for is_off, fed, gone in zip(off, feed_minor, off_minor, strict=True)
                )
                least = price if least is None else min(least, price)
        return least
