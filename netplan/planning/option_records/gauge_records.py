"""Where to watch the pressure while the stops go in, and at which readings to stop."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from netplan.core.constants import PA_PER_MBAR
from netplan.network.linear_reference import nearest_chainage
from netplan.planfile import model
from netplan.planfile.naming import gauge_id
from netplan.planning.connectivity import kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.work_states import SolvedWorkState

__all__ = ["gauges_of"]

REACH_M = 60.0
"""How far from the worst meter inlet its main may lie to be gauged (own) [m]."""


FELT_PA = 1.0
"""Change of pressure from which the stops are felt at a meter inlet (own) [Pa]."""


@dataclass(frozen=True, slots=True)
class _GaugePlace:
    pipe: int
    chainage_m: float
    node: int
    customer: str = ""


@dataclass(frozen=True, slots=True)
class _AffectedInlet:
    """The lowest kept meter inlet at which the stops are felt: node (-1: none) and pressure [Pa gauge]."""

    node: int
    least_pa_gauge: float


def gauges_of(
    context: PlanningContext, option: EvaluatedOption, vented: Collection[int] = ()
) -> tuple[model.Gauge, ...]:
    """Return the gauges of an option: one on the live side of every stop, one at the worst kept inlet.

    None beside a stop at a place of `vented` in the cut: what lies beyond it is vented while it is in.

    The worst kept inlet is the lowest of those at which the stops are felt: others tell nothing about them.
    It is read at the test point of a customer's own meter there: no main is tapped for it.
    Normal is the solved reading with meters off and no stop in yet. Warning is what the gauge reads when the
    worst kept inlet is down to the minimum with its margin, abort when it is down to the minimum: both taken
    as far below the gauge's own solved reading with all stops in as the inlet is above its limit there.
    """
    states = option.work.states
    first = next(judged for judged in states if judged.name == "meters off")
    last = states[-1]
    affected = _lowest_affected(context, option)
    rules = context.request.rules.pressure
    places = _gauge_places(context, option, affected, vented)
    # Where the stops are felt at no inlet, the gauges beside them have to hold themselves.
    lows = [affected.least_pa_gauge] if affected.node >= 0 else [_reading(last, at.node) for at in places]
    low = min((value for value in lows if not np.isnan(value)), default=np.nan)
    to_spare_pa = 0.0 if np.isnan(low) else max(low - context.required_pa_gauge, 0.0)
    found = []
    for place, at in enumerate(places):
        normal = _reading(first, at.node)
        readings = (_reading(judged, at.node) for judged in (first, last))
        after = min(value for value in readings if not np.isnan(value))
        warning = after - to_spare_pa
        found.append(
            model.Gauge(
                id=gauge_id(place),
                main_id=context.request.network.pipes.id[at.pipe],
                chainage_m=at.chainage_m,
                customer=at.customer,
                normal_mbar=normal / PA_PER_MBAR,
                warning_mbar=warning / PA_PER_MBAR,
                abort_mbar=warning / PA_PER_MBAR - rules.margin_mbar,
            )
        )
    return tuple(found)


def _reading(judged: SolvedWorkState, node: int) -> float:
    return float(judged.state.pressure_pa_gauge[node])


def _lowest_affected(context: PlanningContext, option: EvaluatedOption) -> _AffectedInlet:
    """Return the lowest kept inlet, in any state and hour, of those whose pressure the stops change."""
    nodes = kept_inlets(context, option.reach, option.gone).node
    before = np.array([state.pressure_pa_gauge[nodes] for state in context.before_by_hour])
    states = [
        np.array([state.pressure_pa_gauge[nodes] for state in judged.states]) for judged in option.work.states
    ]
    changes = (np.abs(states[-1] - before) >= FELT_PA).any(axis=0)
    if not changes.any():
        return _AffectedInlet(-1, np.nan)
    least = np.fmin.reduce([np.fmin.reduce(pressure, axis=0) for pressure in states])
    least[~changes] = np.inf
    row = int(np.nanargmin(least))
    return _AffectedInlet(int(nodes[row]), float(least[row]))


def _gauge_places(
    context: PlanningContext, option: EvaluatedOption, affected: _AffectedInlet, vented: Collection[int]
) -> list[_GaugePlace]:
    network = context.request.network
    final = option.final.pressure_pa_gauge
    first = next(
        judged for judged in option.work.states if judged.name == "meters off"
    ).state.pressure_pa_gauge
    places: list[_GaugePlace] = []
    for place, stop in enumerate(option.cut.stops):
        if place in vented:
            continue
        if np.isnan(final[stop.live_node]) or np.isnan(first[stop.live_node]):
            continue  # a dead stub: no supply beyond the stop, nothing to read
        tapped = [t for t in stop.tappings if t.role == "gauge"]
        pipe, chainage = (tapped[0].pipe, tapped[0].chainage_m) if tapped else (stop.pipe, stop.chainage_m)
        places.append(_GaugePlace(pipe, chainage, stop.live_node))
    worst = affected.node
    if worst >= 0:
        xy = np.array([[network.nodes.x_m[worst], network.nodes.y_m[worst]]])
        context.scope.check_within(xy[:, 0], xy[:, 1], REACH_M)
        pipe_row, chainage_m, _ = nearest_chainage(network, xy, REACH_M)
        if pipe_row[0] >= 0:
            customer = _customer_at(context, option, worst)
            places.append(_GaugePlace(int(pipe_row[0]), float(chainage_m[0]), worst, customer))
    return places


def _customer_at(context: PlanningContext, option: EvaluatedOption, node: int) -> str:
    """Return the id of the first kept customer whose meter inlet is at a node."""
    owner, at = context.attachments
    rows = owner[(at == node) & ~option.gone[owner]]
    return context.request.network.customers.id[int(rows.min())]
