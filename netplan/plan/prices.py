"""Prices in whole minor units, so that sums are exact and equal plans are equal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from netplan.isolation import MINOR_PER_UNIT
from netplan.network.model import Customers
from netplan.network.words import Category
from netplan.rules import Rules

__all__ = ["money", "queue_minor"]

Rows = NDArray[np.int64]


def money(minor: int) -> float:
    """Return minor units as an amount of the currency."""
    return minor / MINOR_PER_UNIT


def _per_meter_hour(customers: Customers, rules: Rules) -> NDArray[np.float64]:
    by_code = np.array(
        [getattr(rules.price.off_per_hour, category.word) for category in Category], dtype=float
    )
    return by_code[customers.category] * customers.meters


def queue_minor(customers: Customers, rules: Rules, off: Rows) -> int:
    """Return what waiting for the crew costs on top: everybody off waits for their turn [minor units].

    Meters are relit at ``crew.relights_per_hour``; the dearest wait least (priority first, then by price per
    meter, then by id), and a customer is back on when the last of its meters is.

    Parameters
    ----------
    off : int array
        Rows of the customers that are off.
    """
    if not len(off):
        return 0
    per_hour = _per_meter_hour(customers, rules)[off]
    meters = np.maximum(customers.meters[off], 1)
    first = np.array([customers.priority[row] == "" for row in off])
    order = np.lexsort([off, -per_hour / meters, first])
    back_on_h = np.cumsum(meters[order]) / rules.crew.relights_per_hour
    return int(np.rint(per_hour[order] * back_on_h * MINOR_PER_UNIT).astype(np.int64).sum())
