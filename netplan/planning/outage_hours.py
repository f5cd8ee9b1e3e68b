"""Customers that are off wait for the crew: in which order, until when, and what that costs on top."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.customers import OffOnTimes, RelightOrder, off_on_times, relight_order
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.vocabulary import Category
from netplan.planning.request import PlanRequest

__all__ = ["money", "queue_minor", "queue_of", "times_of"]


def money(minor: int) -> float:
    """Return minor units as an amount of the currency."""
    return minor / MINOR_PER_UNIT


def _rates(request: PlanRequest, off: Ints) -> NDArray[np.float64]:
    of = request.rules.price.off_per_hour
    by_code = np.array([getattr(of, category.word) for category in Category], dtype=float)
    return by_code[request.network.customers.category[off]]


def queue_of(request: PlanRequest, off: Ints) -> RelightOrder:
    """Return the order in which customers that are off are relit; positions are those in `off`."""
    customers = request.network.customers
    return relight_order(
        [customers.id[row] for row in off],
        [customers.address[row] for row in off],
        [customers.street[row] for row in off],
        [customers.number[row] for row in off],
        [customers.postcode[row] for row in off],
        [customers.priority[row] for row in off],
        customers.meters[off],
        _rates(request, off),
    )


def times_of(request: PlanRequest, queue: RelightOrder) -> OffOnTimes:
    """Return from when to when each of them is off, and whether the crew's day holds it."""
    return off_on_times(
        queue,
        start=request.start,
        hours=request.window_hours,
        relights_per_hour=request.rules.crew.relights_per_hour,
        day_end=request.rules.crew.day_end,
    )


def queue_minor(request: PlanRequest, off: Ints, queue: RelightOrder) -> int:
    """Return what waiting for the crew costs on top of the window, rounded one by one [minor units]."""
    if not len(off):
        return 0
    back_on_h = queue.back_on_h(request.rules.crew.relights_per_hour)
    rate = _rates(request, off)[queue.order] * queue.meters
    return int(np.rint(rate * back_on_h * MINOR_PER_UNIT).astype(np.int64).sum())
