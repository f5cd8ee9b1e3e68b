"""What many questions about one network share: prices off, positions, bridges, sensing points."""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.isolation.apart import Sensing, open_runs, sensing_pairs
from netplan.isolation.barred import barred_by
from netplan.isolation.index import Index
from netplan.isolation.model import MINOR_PER_UNIT, Orders
from netplan.isolation.sites import Sites
from netplan.isolation.tails import Tails, find_tails
from netplan.network.model import Network
from netplan.network.words import Category
from netplan.rules.model import Rules

__all__ = ["Ground", "ground_of", "interruption_minor"]

_MOST_KEPT: Final = 4


def interruption_minor(network: Network, rules: Rules, hours: float) -> NDArray[np.int64]:
    """Return the price of each customer without gas for the window [minor units], rounded one by one."""
    rates = np.array([float(getattr(rules.price.off_per_hour, category.word)) for category in Category])
    customers = network.customers
    price = rates[customers.category] * customers.meters * hours * MINOR_PER_UNIT
    rounded: NDArray[np.int64] = np.rint(price).astype(np.int64)
    return rounded


class Ground:
    """One network under one set of rules, window and gas price.

    Parameters
    ----------
    index : Index
    rules : Rules
    hours : float
        Length of the window [h].
    gas_minor_per_m3 : float
        Price of the gas of a cubic metre of pipe [minor units].
    """

    def __init__(self, index: Index, rules: Rules, hours: float, gas_minor_per_m3: float) -> None:
        self.index, self.rules = index, rules
        self.gas_minor_per_m3 = gas_minor_per_m3
        self.off_minor = interruption_minor(index.network, rules, hours)
        self.sites = Sites(index, rules, gas_minor_per_m3, barred_by(index.network, Orders()))

    @cached_property
    def is_open(self) -> NDArray[np.bool_]:
        """Which runs are open from end to end."""
        return open_runs(self.index)

    @cached_property
    def sensing(self) -> tuple[Sensing, ...]:
        """Stations that sense away from their outlet."""
        return sensing_pairs(self.index, self.is_open)

    @cached_property
    def tails(self) -> Tails:
        """Bridges and what hangs on them."""
        return find_tails(self.index)

    @cached_property
    def off_prefix(self) -> NDArray[np.int64]:
        """Running sum over the order of tails of the price of customers attached at one supernode alone."""
        index = self.index
        per_pair = np.where(index.several[index.customer_row], 0, self.off_minor[index.customer_row])
        running = np.concatenate([[0], np.cumsum(per_pair)])
        per_supernode = running[index.customer_start[1:]] - running[index.customer_start[:-1]]
        return self.tails.prefix(per_supernode)

    @cached_property
    def priority(self) -> NDArray[np.bool_]:
        """Which customers have a priority."""
        texts = self.index.network.customers.priority
        return np.fromiter((bool(text) for text in texts), np.bool_, len(texts))


def ground_of(index: Index, rules: Rules, hours: float, gas_minor_per_m3: float) -> Ground:
    """Return the ground for these rules, from the few kept with the index where it is one of them."""
    for kept, key in index.grounds:
        if isinstance(kept, Ground) and kept.rules is rules and key == (hours, gas_minor_per_m3):
            return kept
    ground = Ground(index, rules, hours, gas_minor_per_m3)
    index.grounds.insert(0, (ground, (hours, gas_minor_per_m3)))
    del index.grounds[_MOST_KEPT:]
    return ground
