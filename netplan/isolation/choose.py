"""The door: cuts of a work section in order of their bound."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from netplan.errors import NoPlanError
from netplan.isolation.answer import cut_of
from netplan.isolation.barred import barred_by
from netplan.isolation.index import Index, build_index
from netplan.isolation.model import MINOR_PER_UNIT, Cut, IsolationProblem
from netplan.isolation.neighbourhood import Neighbourhood
from netplan.isolation.search import Family, search
from netplan.isolation.sites import Sites
from netplan.isolation.work import lay_work
from netplan.network.model import Network
from netplan.network.words import Category
from netplan.rules.model import Rules

__all__ = ["cuts", "interruption_minor"]


def interruption_minor(network: Network, rules: Rules, hours: float) -> NDArray[np.int64]:
    """Return the price of each customer without gas for the window [minor units], rounded one by one."""
    rates = np.array([getattr(rules.price.off_per_hour, category.word) for category in Category])
    customers = network.customers
    price = rates[customers.category] * customers.meters * hours * MINOR_PER_UNIT
    return np.rint(price).astype(np.int64)


def cuts(problem: IsolationProblem, index: Index | None = None) -> Iterator[Cut]:
    """Yield the ways to isolate the work, cheapest bound first, each different from those before.

    Parameters
    ----------
    problem : IsolationProblem
    index : Index, optional
        What `build_index` returned for the same network, to save building it again.

    Raises
    ------
    NoPlanError
        On the first step, when no set of stops isolates the work.
    """
    index = index or build_index(problem.network)
    sites = Sites(index, problem.rules, problem.gas_minor_per_m3, barred_by(problem.network, problem.orders))
    work = lay_work(index, problem.section, problem.rules.clearance.work_m)
    off = interruption_minor(problem.network, problem.rules, problem.hours)
    near = Neighbourhood(index, sites, work, off, _kept(problem), None, {})
    seen = set()
    for found in search(near, [Family(frozenset({0}), frozenset())], problem.orders.max_stops):
        cut = cut_of(near, found)
        key = (frozenset((stop.chain, stop.method) for stop in cut.stops), cut.customers.tobytes())
        if key not in seen:
            seen.add(key)
            yield cut
    if not seen:
        raise NoPlanError("no set of stops isolates the work section", ())


def _kept(problem: IsolationProblem) -> frozenset[int]:
    kept = set(problem.orders.keep_customers)
    if problem.alternatives is not None:
        priority = problem.network.customers.priority
        with_priority = np.flatnonzero(np.array([bool(text) for text in priority], dtype=np.bool_))
        kept |= set(with_priority.tolist()) - problem.alternatives
    return frozenset(kept)
