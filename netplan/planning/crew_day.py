"""Customers that are off wait for the crew: in which order and at what price."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.customers import RelightOrder, relight_order
from netplan.isolation import MINOR_PER_UNIT
from netplan.network.vocabulary import Category
from netplan.planning.context import PlanningContext
from netplan.planning.request import PlanRequest

__all__ = ["in_currency", "queue_minor", "queue_of", "waiting_minor"]


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


def queue_minor(request: PlanRequest, off: Ints, queue: RelightOrder) -> int:
    """Return what waiting for the crew costs on top of the window, rounded one by one [minor units]."""
    if not len(off):
        return 0
    back_on_h = queue.back_on_h(request.rules.crew.relights_per_hour)
    rate = _rates(request, off)[queue.order] * queue.meters
    return int(np.rint(rate * back_on_h * MINOR_PER_UNIT).astype(np.int64).sum())


def _rates(request: PlanRequest, off: Ints) -> NDArray[np.float64]:
    of = request.rules.price.off_per_hour
    by_code = np.array([getattr(of, category.word) for category in Category], dtype=float)
    return by_code[request.network.customers.category[off]]


def waiting_minor(context: PlanningContext, off: Ints) -> int:
    """Return what waiting for the crew costs customers that are off; zones with the same ones share it."""
    request = context.request
    return context.once("waiting", off.tobytes(), lambda: queue_minor(request, off, queue_of(request, off)))


def in_currency(minor: int) -> float:
    """Return minor units as an amount of the currency."""
    return minor / MINOR_PER_UNIT
