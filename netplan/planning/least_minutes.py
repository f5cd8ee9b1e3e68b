"""What stops and customers add to the day at least, one by one: the day's length as a sum of prices.

No zone takes less time than its stops and its customers take together on top of what every zone takes. What a
sum leaves out, such as the time that the gas of most zones takes to purge, only makes it smaller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.isolation import IsolationProblem
from netplan.network.model import Network
from netplan.planning.context import PlanningContext
from netplan.procedure.hours_by_counts import (
    BranchMinutes,
    OrderCounts,
    StopMinutes,
    ZoneCounts,
    hours_by_counts,
)
from netplan.procedure.least_minutes import (
    least_minutes_of_branch,
    least_minutes_of_meter,
    least_minutes_of_relighting,
    least_minutes_of_stop,
)
from netplan.rules import MethodKind, Rules

__all__ = ["LeastMinutes", "least_minutes_of_day", "services_shared"]

ROUNDED_MIN: Final = 0.2
"""More than rounding takes from what meters and services take together (own) [min]."""
ROUNDED_M3: Final = 0.002
"""More than rounding takes from the volume of a zone (own) [m³]."""


@dataclass(frozen=True, slots=True, eq=False)
class LeastMinutes:
    """A lower bound on the minutes of any order of work, as a sum.

    Parameters
    ----------
    alone_min : float
        What is there wherever the stops are [min].
    of_method : dict of str to float
        What a stop of each method adds [min].
    of_customer : float array
        What each customer in a zone adds [min].
    """

    alone_min: float
    of_method: dict[str, float]
    of_customer: Floats


def least_minutes_of_day(
    context: PlanningContext,
    problem: IsolationProblem,
    *,
    relit: bool,
    branches: bool,
    customers: bool = True,
) -> LeastMinutes:
    """Return the least minutes until gas is back, or until the last meter is relit.

    Parameters
    ----------
    context, problem
    relit : bool
        Whether relighting counts.
    branches : bool
        Whether the branches that a zone is purged to count: every stop in a pipe ends one. The sum is then
        larger for many stops, and may be smaller for few.
    customers : bool
        Whether customers add anything.
    """
    rules, network = problem.rules, problem.network
    core = context.once("core of every zone", "", lambda: _core_of(context, problem))
    branch = least_minutes_of_branch(rules) if branches and core.holds_together else 0.0
    of_stop = {
        method.name: branch if core.valves_end_branches or method.kind is not MethodKind.VALVE else 0.0
        for method in rules.method
    }
    own = np.zeros(len(network.customers))
    if customers:
        shared = context.once("services shared", "", lambda: services_shared(network))
        meters = np.maximum(network.customers.meters, 1)
        own = (meters + shared) * least_minutes_of_meter(rules)
        if relit:
            own = own + meters * least_minutes_of_relighting(rules)
    return LeastMinutes(
        # Of the ends one is purged from; every order has a branch.
        alone_min=core.alone_min - ROUNDED_MIN + branch * (core.dead_ends - 2),
        of_method={
            method.name: of_stop[method.name]
            + least_minutes_of_stop(StopMinutes(method.minutes, method.barriers), rules)
            for method in rules.method
        },
        of_customer=own,
    )


@dataclass(frozen=True, slots=True)
class _Core:
    """What every zone holds, in minutes and branches.

    Parameters
    ----------
    alone_min : float
        What the day takes with one branch and without stops and meters [min].
    dead_ends : int
        Ends of mains in every zone.
    holds_together : bool
        Whether each zone is one piece, and a further zone takes no less time than a branch.
    valves_end_branches : bool
        Whether a zone ends in one main at every valve.
    """

    alone_min: float
    dead_ends: int
    holds_together: bool
    valves_end_branches: bool


def _core_of(context: PlanningContext, problem: IsolationProblem) -> _Core:
    network, rules = problem.network, problem.rules
    pieces = network.pieces
    inside = context.cuts(problem).in_every_zone()
    is_main = (pieces.pipe < network.pipes.n_mains) & pieces.is_open
    ends = np.concatenate([pieces.from_node[is_main], pieces.to_node[is_main]])
    degree = np.bincount(ends, minlength=len(network.nodes))
    at_valves = (pieces.valve >= 0) & is_main
    zone = ZoneCounts(
        # Of several zones each has a share that is not known.
        volume_m3=_volume_m3(network, inside) if len(problem.section) == 1 else None,
        branches=(BranchMinutes(has_gas=False),),
    )
    alone = hours_by_counts(OrderCounts((), (zone,)), rules).gas_back_min
    if _has_customer(network, inside):
        alone += rules.duration.tally
    work = [pieces.is_open[pieces.rows_of(pipe)].all() for pipe in problem.section.pipe.tolist()]
    return _Core(
        alone_min=alone,
        dead_ends=int((degree[inside] == 1).sum()),
        # A closed valve in the work itself parts what is purged.
        holds_together=all(work) and _further_zone_min(zone, rules) >= 0.0,
        valves_end_branches=bool(
            (degree[pieces.from_node[at_valves]] <= 2).all()
            and (degree[pieces.to_node[at_valves]] <= 2).all()
        ),
    )


def _volume_m3(network: Network, inside: Ints) -> float:
    """Return the volume of the open pieces between nodes that every zone holds [m³ actual]."""
    pieces = network.pieces
    is_in = np.zeros(len(network.nodes), dtype=bool)
    is_in[inside] = True
    whole = np.flatnonzero(is_in[pieces.from_node] & is_in[pieces.to_node] & pieces.is_open)
    length_m = pieces.to_m[whole] - pieces.from_m[whole]
    volume = float((math.pi / 4.0 * network.pipes.bore_m[pieces.pipe[whole]] ** 2 * length_m).sum())
    return max(volume - ROUNDED_M3, 0.0)


def _has_customer(network: Network, inside: Ints) -> bool:
    """Return whether some customer lies in every zone."""
    table = network.customers
    outside = np.ones(len(network.nodes), dtype=bool)
    outside[inside] = False
    running = np.concatenate([[0], np.cumsum(outside[table.attach_node])])
    beyond = running[table.attach_start[1:]] - running[table.attach_start[:-1]]
    return bool(((beyond == 0) & (np.diff(table.attach_start) > 0)).any())


def _further_zone_min(zone: ZoneCounts, rules: Rules) -> float:
    """Return how much more a further zone takes than the branch that it may save [min]."""
    one, two = (hours_by_counts(OrderCounts((), (zone,) * n), rules).gas_back_min for n in (1, 2))
    return two - one - 2.0 * least_minutes_of_branch(rules)


def services_shared(network: Network) -> Floats:
    """Return the share of a service that each customer stands for: no service counts for more than one.

    Customers without an open service of their own stand for none.
    """
    pieces, customers = network.pieces, network.customers
    rows = np.flatnonzero((pieces.pipe >= network.pipes.n_mains) & pieces.is_open)
    service = np.full(len(network.nodes), -1)
    service[pieces.from_node[rows]] = pieces.pipe[rows]
    service[pieces.to_node[rows]] = pieces.pipe[rows]
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    own = service[customers.attach_node]
    pairs = np.unique(np.column_stack([own[own >= 0], owner[own >= 0]]), axis=0)
    users = np.bincount(pairs[:, 0], minlength=1)
    # Of several services the one with the most users: the smallest share.
    least = np.full(len(customers), np.inf)
    np.minimum.at(least, pairs[:, 1], 1.0 / users[pairs[:, 0]])
    return np.where(np.isfinite(least), least, 0.0)
