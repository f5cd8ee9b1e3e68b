"""Proofs that no zone at all can give a plan, by what every zone takes: found before any is priced.

Every zone holds the work and what no stop can part from it. Whoever loses every station to that alone loses
them wherever the stops are, because a larger zone joins nobody to a station. Without feeds they are off; with
feeds they are where no feed of any zone can serve them. Who lies in it is off whatever is fed.
"""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Codes, Ints
from netplan.core.errors import NoPlanError
from netplan.isolation import IsolationProblem
from netplan.planning.connectivity import CutConnectivity, reach_after
from netplan.planning.context import PlanningContext
from netplan.planning.day_hours import least_counts, meters_of, refusal
from netplan.planning.feeds_of_every_zone import reason_against_every_feed

__all__ = ["reach_of_core", "require_possible"]

NO_PLAN = "no set of stops holds every constraint"
_DAY = (
    "the crew's day (rules crew.relights_per_hour, crew.meter_fitters, crew.day_end, duration), or a longer "
    "window (--hours)"
)
MOST_NAMED = 4
"""Customers named in one line (own) [-]."""


def require_possible(context: PlanningContext, problem: IsolationProblem) -> None:
    """Check what can be told of every zone without pricing one.

    Parameters
    ----------
    context : PlanningContext
    problem : IsolationProblem

    Raises
    ------
    NoPlanError
        When, wherever the stops are, a customer who must stay on loses its gas and no feed is allowed or can
        serve it, or more meters lose theirs than the crew's day can relight. The reason says what would free
        it.
    """
    core = reach_of_core(context, problem)
    if context.request.feeds_allowed:
        _require_with_feeds(context, core, context.cuts(problem).costs.placement.codes)
    else:
        _require_without_feeds(context, core)


def _require_with_feeds(context: PlanningContext, core: CutConnectivity, method_codes: Codes) -> None:
    for row in np.flatnonzero(core.stranded & context.must_stay).tolist():
        reason = reason_against_every_feed(context, core, method_codes, row)
        if reason:
            name = context.request.network.customers.id[row]
            raise _not_possible(
                f"wherever the stops are, customer {name}, who must stay on, loses every station, and "
                f"{reason}; "
                f"what would allow a plan: a supply of its own (--own-supply {name}), or these rules"
            )
    # Feeds keep others on, never those in the zone.
    isolated = np.flatnonzero(core.isolated)
    too_long = refusal(context, least_counts(context, meters_of(context, isolated)))
    if too_long:
        raise _not_possible(
            f"wherever the stops are, these lie in the zone: {too_long}; what would allow a plan: {_DAY}"
        )


def _require_without_feeds(context: PlanningContext, core: CutConnectivity) -> None:
    off = np.flatnonzero(core.isolated | core.stranded)
    kept = off[context.must_stay[off]]
    if len(kept):
        names = _names(context, kept)
        raise _not_possible(
            f"wherever the stops are, {names}, who must stay on, loses its gas, and no feed may be used, "
            "by order; what would allow a plan: the order against feeds (--no-bypass), or a supply of its "
            "own (--own-supply)"
        )
    if not len(off):
        return
    too_long = refusal(context, least_counts(context, meters_of(context, off)))
    if too_long:
        raise _not_possible(
            f"wherever the stops are, these lose their gas and no feed may be used, by order: {too_long}; "
            f"what would allow a plan: the order against feeds (--no-bypass), or {_DAY}"
        )


def reach_of_core(context: PlanningContext, problem: IsolationProblem) -> CutConnectivity:
    """Return who loses its gas in every zone: isolated or stranded by what all of them hold."""
    network = context.request.network
    pieces, section = network.pieces, problem.section
    core = context.cuts(problem).in_every_zone()
    inside = np.zeros(len(network.nodes), dtype=bool)
    inside[core] = True
    closed = inside[pieces.from_node] | inside[pieces.to_node]
    for pipe, low, high in zip(section.pipe, section.from_m, section.to_m, strict=True):
        closed |= (pieces.pipe == pipe) & (pieces.from_m < high) & (pieces.to_m > low)
    shut = np.flatnonzero(closed).astype(np.int32)
    return reach_after(network, shut, core.astype(np.int32), fed_before=context.fed_before)


def _not_possible(reason: str) -> NoPlanError:
    return NoPlanError(f"{NO_PLAN}: {reason}", (reason,))


def _names(context: PlanningContext, rows: Ints) -> str:
    ids = context.request.network.customers.id
    named = ", ".join(ids[row] for row in rows[:MOST_NAMED].tolist())
    more = f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    return f"customer {named}{more}"
