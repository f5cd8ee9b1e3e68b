"""The order in which customers get their gas back, priorities first, and until when each waits."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from importlib import resources
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import MINUTES_PER_HOUR, SECONDS_PER_MINUTE
from netplan.core.errors import BadInputError
from netplan.customers.walking_order import address_groups, walking_key

__all__ = [
    "EARLIEST_START_H",
    "OffOnTimes",
    "PriorityCode",
    "RelightOrder",
    "day_end_after_min",
    "meters_of_round",
    "off_on_times",
    "priority_codes",
    "priority_rank",
    "relight_order",
    "relight_rounds",
]


EARLIEST_START_H: Final = 7.0
"""Clock hour a window without a start is taken to begin at, to see whether the crew's day holds the work
[h] (source: own)."""
ROUNDED_TO_MIN: Final = 30
"""Times promised to customers are rounded to this [min] (source: own)."""


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
    has_priority : bool array, shape (n,)
        Whether each ordered customer has a priority code.
    """

    order: Ints
    visit: Ints
    meters: Ints
    has_priority: Flags

    def back_on_h(self, relights_per_hour: float) -> Floats:
        """Return how long each ordered customer waits for its turn, its own meters counted [h]."""
        return np.cumsum(self.meters) / relights_per_hour

    def relit_h(self, relights_per_hour: float) -> Floats:
        """Return when each ordered customer is relit, round by round [h after gas is back].

        Half of a round's time goes into purging its services, the other half into relighting.
        """
        found = np.cumsum(self.meters) / relights_per_hour
        most = meters_of_round(relights_per_hour)
        for one in relight_rounds(self.meters.tolist(), self.has_priority.tolist(), most):
            rows = slice(one.start, one.stop)
            end = found[one.stop - 1]
            found[rows] = end - (end - found[rows]) / 2.0
        return found


def meters_of_round(relights_per_hour: float) -> int:
    """Return how many meters are relit in one round: about an hour's [-]."""
    return max(1, int(relights_per_hour))


@dataclass(frozen=True, slots=True)
class OffOnTimes:
    """From when to when customers are off, as it is promised to them.

    Parameters
    ----------
    off_from : str or None
        Local time, ISO 8601 to the minute, the same for all; None for a window without a start.
    on_by : tuple of str or None
        For each customer in the order of the input; None for a window without a start.
    """

    off_from: str | None
    on_by: tuple[str | None, ...]


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
    return RelightOrder(
        order=rows,
        visit=np.array(visit, dtype=np.int64),
        meters=owned[rows],
        has_priority=np.array([bool(priority[row]) for row in order], dtype=bool),
    )


def relight_rounds(meters: Sequence[int], has_priority: Sequence[bool], most: int) -> list[range]:
    """Return the rounds in which customers are relit, as ranges of their order.

    In a round all services are purged first, then one customer is relit after another.

    Parameters
    ----------
    meters : sequence of int
        Of each customer in the order they are relit.
    has_priority : sequence of bool
        No round has both kinds.
    most : int
        Meters of a round, unless a customer alone has more.
    """
    rounds: list[range] = []
    first = count = 0
    for place, own in enumerate(meters):
        is_new = count + own > most or bool(has_priority[place]) != bool(has_priority[first])
        if place > first and is_new:
            rounds.append(range(first, place))
            first, count = place, 0
        count += own
    if len(meters):
        rounds.append(range(first, len(meters)))
    return rounds


def off_on_times(
    queue: RelightOrder,
    *,
    start: datetime | None,
    off_from_min: float,
    gas_back_min: float,
    relights_per_hour: float,
    overrun: float,
    latest_min: float = math.inf,
) -> OffOnTimes:
    """Return from when to when every customer of a queue is off.

    All go off when the first meter is turned off, rounded down to half an hour of the clock. The queue begins
    when gas is back; each is promised its time with the overrun, rounded up to half an hour.

    Parameters
    ----------
    queue : RelightOrder
    start : datetime or None
        Local start of the window.
    off_from_min, gas_back_min : float
        When the first meter is turned off, and when gas is back, ≥ 0 [min after the start].
    relights_per_hour : float
        Meters the crew relights in an hour, > 0 [1/h].
    overrun : float
        What times after the start are multiplied by, ≥ 1 [-].
    latest_min : float
        End of the crew's day: nothing later is promised where rounding alone is later [min after the start].

    Raises
    ------
    BadInputError
        When times or the rate are impossible.
    """
    if not (0.0 <= off_from_min <= gas_back_min and relights_per_hour > 0.0 and overrun >= 1.0):
        raise BadInputError(
            f"relighting: off after {off_from_min:g} min, gas back after {gas_back_min:g} min, "
            f"{relights_per_hour:g} relights an hour, overrun {overrun:g}; give times in order, a rate above "
            "0 and an overrun of at least 1"
        )
    if start is None:
        return OffOnTimes(None, (None,) * len(queue.order))
    on_by = [""] * len(queue.order)
    for row, back_h in zip(queue.order.tolist(), queue.relit_h(relights_per_hour).tolist(), strict=True):
        late_min = overrun * (gas_back_min + MINUTES_PER_HOUR * back_h)
        on_by[row] = _iso(_half_hour(start, late_min, latest_min))
    off_from = start + timedelta(minutes=math.floor(round(off_from_min, 6)))
    off_from -= timedelta(minutes=off_from.minute % ROUNDED_TO_MIN)
    return OffOnTimes(_iso(off_from), tuple(on_by))


def day_end_after_min(start: datetime | None, hours: float, day_end: str) -> float:
    """Return how long after the start of a window the crew's day ends, that in which the window ends [min].

    Parameters
    ----------
    start : datetime or None
        Local start of the window; None takes `EARLIEST_START_H`.
    hours : float
        Length of the window, ≥ 0 [h].
    day_end : str
        When the crew's day ends, ``"20:00"``; before the window ends where the crew has no time left.
    """
    begin = datetime.combine(date.min, time()) + timedelta(hours=EARLIEST_START_H)
    begin = begin if start is None else start
    end, window_end = time.fromisoformat(day_end), begin + timedelta(hours=hours)
    last = window_end.replace(hour=end.hour, minute=end.minute, second=0, microsecond=0)
    return (last - begin).total_seconds() / SECONDS_PER_MINUTE


def _half_hour(start: datetime, minutes: float, latest_min: float) -> datetime:
    """Return a time rounded up to half an hour of the clock, and down to the latest one."""
    exact = start + timedelta(minutes=math.ceil(round(minutes, 6)))
    rounded = exact + timedelta(minutes=-exact.minute % ROUNDED_TO_MIN)
    if math.isinf(latest_min):
        return rounded
    return max(exact, min(rounded, start + timedelta(minutes=math.floor(latest_min))))


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
