"""Where gauges are read, and the pressure there in a solved state: at the gauge, not at the next node."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.hydraulics import FlowLinks, FlowState
from netplan.isolation import CutStop
from netplan.network.linear_reference import nearest_chainage
from netplan.planfile import model
from netplan.planfile.naming import METERS_OFF_STATE
from netplan.planning.connectivity import kept_inlets
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork

__all__ = ["GaugePlace", "PipePlaces", "felt_inlets", "gauge_places", "places_of", "recorded_places"]

REACH_M: Final = 60.0
"""How far from the worst meter inlet its main may lie to be gauged (own) [m]."""
FELT_PA: Final = 1.0
"""Change of pressure from which the stops are felt at a meter inlet (own) [Pa]."""
SAME_M: Final = 2e-3
"""Places of one main nearer than this are one: twice the last digit of a plan (own) [m]."""


@dataclass(frozen=True, slots=True)
class GaugePlace:
    """Where a gauge is read.

    Parameters
    ----------
    pipe : int
        Row of the main; -1 for the node itself.
    chainage_m : float
        [m].
    node : int
        Node with the pressure of the gauge where its length of main is closed: beyond the stop, or the
        meter inlet of the customer.
    customer : str
        Customer at whose meter it is read; empty for a gauge on the main.
    """

    pipe: int
    chainage_m: float
    node: int
    customer: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class PipePlaces:
    """Which length of which pipe each link of a flow network is.

    Parameters
    ----------
    ends : int array, shape (2, links)
        First and second node.
    is_open : bool array, shape (links,)
        Whether it is open before any stop.
    pipe : int array, shape (links,)
        Row of the pipe; -1 for a hose.
    from_m, to_m : float arrays, shape (links,)
        Chainages of its first and second node [m].
    air_pa_abs : float
        Pressure of the air [Pa absolute].
    links : FlowLinks
        The links themselves, for length, bore and wall.
    """

    ends: Ints
    is_open: Flags
    pipe: Ints
    from_m: Floats
    to_m: Floats
    air_pa_abs: float
    links: FlowLinks

    def pressure_pa_gauge(self, place: GaugePlace, state: FlowState, closed: Collection[int] = ()) -> float:
        """Return the pressure at a place in a state with some links closed [Pa gauge]; NaN without gas.

        Between the ends of a link the square of the absolute pressure falls evenly: nothing is drawn there.
        """
        pressure = state.pressure_pa_gauge
        row = -1 if place.customer or place.pipe < 0 else self.link_at(place, closed)
        if row < 0:
            return float(pressure[place.node])
        share = (place.chainage_m - self.from_m[row]) / (self.to_m[row] - self.from_m[row])
        squared = (pressure[self.ends[:, row]] + self.air_pa_abs) ** 2
        return float(np.sqrt(squared[0] + share * (squared[1] - squared[0])) - self.air_pa_abs)

    def link_at(self, place: GaugePlace, closed: Collection[int]) -> int:
        """Return the open link that a place lies on; -1 where there is none."""
        near = np.flatnonzero(
            (self.pipe == place.pipe)
            & (self.from_m <= place.chainage_m + SAME_M)
            & (place.chainage_m <= self.to_m + SAME_M)
            & (self.to_m - self.from_m > SAME_M)
            & self.is_open
        )
        shut = set(closed)
        return next((row for row in near.tolist() if row not in shut), -1)


def places_of(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork
) -> tuple[PipePlaces, PipePlaces]:
    """Return the lengths of pipe in the network as recorded, and in that of the states of the work."""
    pieces, air = context.request.network.pieces, context.conditions.atmospheric_pressure_pa_abs
    links = context.base.links
    recorded = PipePlaces(
        np.stack([links.from_node, links.to_node]),
        links.is_open,
        pieces.pipe.astype(np.int64),
        pieces.from_m,
        pieces.to_m,
        air,
        links,
    )
    if option.fed is None:
        return recorded, recorded
    links, row = final.flow.links, final.stopped_link
    pipe = np.where(row >= 0, pieces.pipe[final.stopped.piece[row]], -1).astype(np.int64)
    # A zone is closed in the final network, and open in the states before.
    in_zone = np.where(row >= 0, final.stopped.in_zone[row] & final.stopped.flow.links.is_open[row], False)
    ends = np.stack([links.from_node, links.to_node])
    return recorded, PipePlaces(ends, links.is_open | in_zone, pipe, final.from_m, final.to_m, air, links)


def felt_inlets(context: PlanningContext, option: EvaluatedOption) -> Ints:
    """Return the nodes of the kept meter inlets whose pressure the work changes once all stops are in."""
    nodes = kept_inlets(context, option.reach, option.gone).node
    before = np.array([state.pressure_pa_gauge[nodes] for state in context.before_by_hour])
    after = np.array([state.pressure_pa_gauge[nodes] for state in option.work.states[-1].states])
    return np.asarray(nodes[(np.abs(after - before) >= FELT_PA).any(axis=0)])


def gauge_places(
    context: PlanningContext, option: EvaluatedOption, vented: Collection[int] = ()
) -> list[GaugePlace]:
    """Return where the gauges of an option are: on the live side of every stop, at the worst kept inlet.

    None beside a stop at a place of `vented` in the cut: what lies beyond it is vented while it is in. The
    worst kept inlet is the lowest of those at which the stops are felt: others tell nothing about them.
    """
    network = context.request.network
    final = option.final.pressure_pa_gauge
    first = next(judged for judged in option.work.states if judged.name == METERS_OFF_STATE)
    places: list[GaugePlace] = []
    for place, stop in enumerate(option.cut.stops):
        if place in vented:
            continue
        if np.isnan(final[stop.live_node]) or np.isnan(first.state.pressure_pa_gauge[stop.live_node]):
            continue  # a dead stub: no supply beyond the stop, nothing to read
        pipe, chainage = _outlets(stop)[0]
        places.append(GaugePlace(pipe, chainage, stop.live_node))
    worst = worst_inlet(context, option)
    if worst >= 0:
        xy = np.array([[network.nodes.x_m[worst], network.nodes.y_m[worst]]])
        context.scope.check_within(xy[:, 0], xy[:, 1], REACH_M)
        pipe_row, chainage_m, _ = nearest_chainage(network, xy, REACH_M)
        if pipe_row[0] >= 0:
            customer = _customer_at(context, option, worst)
            places.append(GaugePlace(int(pipe_row[0]), float(chainage_m[0]), worst, customer))
    return places


def recorded_places(
    context: PlanningContext, option: EvaluatedOption, gauges: Collection[model.Gauge]
) -> dict[str, GaugePlace]:
    """Return the places of the gauges of a plan's option, by id."""
    pipes = context.request.network.pipes
    found: dict[str, GaugePlace] = {}
    for gauge in gauges:
        pipe = pipes.id.find(gauge.main_id, 0, pipes.n_mains)
        if gauge.customer:
            node = worst_inlet(context, option)
        else:
            node = next(
                stop.live_node
                for stop in option.cut.stops
                for at_pipe, at_m in _outlets(stop)
                if at_pipe == pipe and abs(at_m - gauge.chainage_m) <= SAME_M
            )
        found[gauge.id] = GaugePlace(pipe, gauge.chainage_m, node, gauge.customer)
    return found


def _outlets(stop: CutStop) -> list[tuple[int, float]]:
    """Return where a gauge of a stop may be: on its outlets, or at the stop itself."""
    tapped = [(one.pipe, one.chainage_m) for one in stop.tappings if one.role == "gauge"]
    return [*tapped, (stop.pipe, stop.chainage_m)]


def worst_inlet(context: PlanningContext, option: EvaluatedOption) -> int:
    """Return the node of the kept inlet that is lowest in any state and hour before gas is back.

    Of those at which the stops are felt; -1 where they are felt at none.
    """
    nodes = felt_inlets(context, option)
    if not len(nodes):
        return -1
    least = np.fmin.reduce(
        [state.pressure_pa_gauge[nodes] for judged in option.work.states for state in judged.states]
    )
    return int(nodes[int(np.nanargmin(least))])


def _customer_at(context: PlanningContext, option: EvaluatedOption, node: int) -> str:
    """Return the id of the first kept customer whose meter inlet is at a node."""
    owner, at = context.attachments
    rows = owner[(at == node) & ~option.gone[owner]]
    return context.request.network.customers.id[int(rows.min())]
