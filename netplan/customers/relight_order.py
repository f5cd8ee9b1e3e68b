"""The order in which customers get their gas back, priorities first, and until when each waits."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import lru_cache
from importlib import resources
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats, Ints
from netplan.core.errors import BadInputError
from netplan.core.units import rounded_down, rounded_up
from netplan.customers.walking_order import address_groups, walking_key

__all__ = [
    "EARLIEST_START_H",
    "OffOnTimes",
    "PriorityCode",
    "RelightOrder",
    "most_meters",
    "off_on_times",
    "priority_codes",
    "priority_rank",
    "relight_order",
]


EARLIEST_START_H: Final = 7.0
"""Clock hour a window without a start is taken to begin at, to see whether relighting fits the day
[h] (source: own)."""
ROUNDED_UP_TO_MIN: Final = 5
"""Times promised to customers are rounded up to this [min] (source: own)."""
SPARE_H: Final = 1e-9
"""What rounding may cost the crew's day [h]."""
_HOURS_A_DAY: Final = 24.0


@dataclass(frozen=True, slots=True, eq=False)
class RelightOrder:
    """Customers in the order they are relit.

    Parameters
    ----------
    order : int array, shape (n,)
        Positions in the input, first relit first; a permutation.
    visit : int array, shape (n,)
        Number of the visit of each ordered customer, from 1; flats of one house that follow each other
        share one.
    meters : int array, shape (n,)
        Meters of each ordered customer, at least 1.
    """

    order: Ints
    visit: Ints
    meters: Ints

    def back_on_h(self, relights_per_hour: float) -> Floats:
        """Return when each ordered customer is back, all its meters relit [h after gas is back]."""
        return np.cumsum(self.meters) / relights_per_hour

    def crew_hours(self, relights_per_hour: float) -> float:
        """Return how long the crew needs for all of them [h]."""
        return float(self.meters.sum()) / relights_per_hour


@dataclass(frozen=True, slots=True)
class OffOnTimes:
    """From when to when customers are off.

    Parameters
    ----------
    off_from : str or None
        Local time, ISO 8601 to the minute, the same for all; None for a window without a start.
    on_by : tuple of str or None
        For each customer in the order of the input; None for a window without a start.
    hours_off : tuple of float
        For each customer in the order of the input: from the start until relit [h].
    crew_hours : float
        Relighting all of them [h].
    fits : bool
        Whether the last is relit before the crew's day ends.
    reason : str
        One line on that.
    """

    off_from: str | None
    on_by: tuple[str | None, ...]
    hours_off: tuple[float, ...]
    crew_hours: float
    fits: bool
    reason: str


def relight_order(
    customer_id: Sequence[str],
    address: Sequence[str],
    street: Sequence[str],
    number: Sequence[str],
    postcode: Sequence[str],
    priority: Sequence[str],
    meters: npt.ArrayLike,
    price_per_meter_hour: npt.ArrayLike,
) -> RelightOrder:
    """Return the order in which customers are relit.

    Priority codes come first, in their rank; then the houses whose waiting is dearest per meter; then the
    way a person walks: street, house number, flat, id. The order depends on the customers alone, never on
    the order of the input.

    Parameters
    ----------
    customer_id, address, street, number, postcode, priority : sequences of str, length n
        As in the customers layer.
    meters : array_like of int, shape (n,)
        Meters of each; fewer than 1 counts as 1.
    price_per_meter_hour : array_like of float, shape (n,)
        What an hour without gas costs a meter of each [currency/h].
    """
    count = len(customer_id)
    owned = np.maximum(np.asarray(meters, dtype=np.int64), 1)
    price = np.asarray(price_per_meter_hour, dtype=float)
    keys = [
        (
            priority_rank(priority[row]),
            -float(price[row]),
            walking_key(street[row], number[row], address[row], customer_id[row]),
        )
        for row in range(count)
    ]
    order = sorted(range(count), key=keys.__getitem__)
    house = address_groups(address, street, number, postcode)
    visit, last = [], 0
    for k, row in enumerate(order):
        last += 1 if k == 0 or house[row] != house[order[k - 1]] else 0
        visit.append(last)
    rows = np.array(order, dtype=np.int64)
    return RelightOrder(order=rows, visit=np.array(visit, dtype=np.int64), meters=owned[rows])


def off_on_times(
    queue: RelightOrder,
    *,
    start: datetime | None,
    hours: float,
    relights_per_hour: float,
    day_end: str,
    earliest_start_h: float = EARLIEST_START_H,
) -> OffOnTimes:
    """Return from when to when every customer of a queue is off.

    All go off when the window starts; gas is back when it ends; then the queue begins. The crew's day is
    that in which the window ends.

    Parameters
    ----------
    queue : RelightOrder
    start : datetime or None
        Local start of the window.
    hours : float
        Length of the window, ≥ 0 [h].
    relights_per_hour : float
        Meters the crew relights in an hour, > 0 [1/h].
    day_end : str
        When the crew's day ends, ``"20:00"``.
    earliest_start_h : float
        Clock hour a window without a start is taken to begin at [h].

    Raises
    ------
    BadInputError
        When hours or the rate are impossible.
    """
    if not (hours >= 0.0 and relights_per_hour > 0.0):
        raise BadInputError(
            f"relighting: {hours:g} h and {relights_per_hour:g} relights an hour; "
            "give a window of at least 0 h and a rate above 0"
        )
    back = queue.back_on_h(relights_per_hour)
    count = len(queue.order)
    hours_off = np.full(count, float(hours))
    hours_off[queue.order] += back
    crew_hours = queue.crew_hours(relights_per_hour) if count else 0.0
    spare = _spare_h(start, hours, day_end, earliest_start_h)
    fits = crew_hours <= spare + SPARE_H or count == 0
    left = f"{rounded_down(max(spare, 0.0), 1):.1f} h are left from the end of the window to {day_end}"
    reason = f"relighting {int(queue.meters.sum())} meters takes {rounded_up(crew_hours, 1):.1f} h; {left}"
    if start is None:
        reason += (
            f", taken from a start at {int(earliest_start_h):02d}:{round(earliest_start_h % 1 * 60):02d}"
        )
    return OffOnTimes(
        off_from=None if start is None else _iso(start),
        on_by=tuple(None if start is None else _iso(_rounded_up(start, float(h))) for h in hours_off),
        hours_off=tuple(float(h) for h in hours_off),
        crew_hours=crew_hours,
        fits=fits,
        reason=reason,
    )


def most_meters(
    start: datetime | None,
    hours: float,
    relights_per_hour: float,
    day_end: str,
    earliest_start_h: float = EARLIEST_START_H,
) -> int:
    """Return how many meters the crew relights between the end of the window and that of its day, ≥ 0.

    Parameters are those of `off_on_times`.
    """
    spare = _spare_h(start, hours, day_end, earliest_start_h)
    return max(int(np.floor((spare + SPARE_H) * relights_per_hour)), 0)


def _spare_h(start: datetime | None, hours: float, day_end: str, earliest_start_h: float) -> float:
    end = time.fromisoformat(day_end)
    end_h = end.hour + end.minute / 60.0
    if start is None:
        window_end_h = (earliest_start_h + hours) % _HOURS_A_DAY
        return end_h - (window_end_h if earliest_start_h + hours > _HOURS_A_DAY else earliest_start_h + hours)
    window_end = start + timedelta(hours=hours)
    last = window_end.replace(hour=end.hour, minute=end.minute, second=0, microsecond=0)
    return (last - window_end).total_seconds() / 3600.0


def _rounded_up(start: datetime, hours: float) -> datetime:
    minutes = int(np.ceil(round(hours * 60.0, 6)))
    exact = start + timedelta(minutes=minutes)
    over = exact.minute % ROUNDED_UP_TO_MIN
    return exact + timedelta(minutes=(ROUNDED_UP_TO_MIN - over) % ROUNDED_UP_TO_MIN)


def _iso(moment: datetime) -> str:
    return moment.replace(tzinfo=None).isoformat(timespec="minutes")


@dataclass(frozen=True, slots=True)
class PriorityCode:
    """A priority code of the customers layer: its rank (1 first) and what it stands for."""

    code: str
    rank: int
    words: str
    source: str


@lru_cache(maxsize=1)
def priority_codes() -> dict[str, PriorityCode]:
    """Return the known priority codes by their code, first in rank first."""
    text = resources.files("netplan.customers").joinpath("priority.csv").read_text(encoding="utf-8")
    rows = [
        PriorityCode(row["code"], int(row["rank"]), row["words"], row["source"])
        for row in csv.DictReader(text.splitlines())
    ]
    return {row.code: row for row in sorted(rows, key=lambda row: row.rank)}


def priority_rank(code: str) -> int:
    """Return the rank of a priority code: 1 first; unknown codes after the known ones, none at all last."""
    known = priority_codes()
    if code in known:
        return known[code].rank
    return len(known) + (1 if code.strip() else 2)
