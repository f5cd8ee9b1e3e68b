"""The network with what was hit drawn in as openings to the air, solved for each state of a ring."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.demand import node_demand
from netplan.emergency.hit_places import HitPlace
from netplan.emergency.ring_search import RingStopPlace
from netplan.hydraulics import (
    FlowLinks,
    FlowNetwork,
    FlowState,
    NetworkSolver,
    PartStatus,
    StationState,
    resolve_without_starved,
)
from netplan.network.linear_reference import piece_at
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planning.connectivity import CutConnectivity, flow_after, reach_after
from netplan.planning.context import PlanningContext
from netplan.planning.feeds_in_use import FeedEnd
from netplan.planning.opened_network import OpenedNetwork, opened_network
from netplan.planning.subnetwork_context import SubnetworkContext

__all__ = ["HitNetwork", "SolvedState"]

END_M: Final = 0.01
"""Length of pipe between the place that was hit and the air, in the bore of the hole (own) [m]."""
BROKEN_LOSS: Final = 0.25
"""Loss of a main broken through, on the velocity head of all that escapes in one bore: it leaves by two open
ends, each losing the velocity head of its own half [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class SolvedState:
    """A state of the network, solved.

    Parameters
    ----------
    flow : FlowState
    starved : bool array, shape (nodes,)
        Nodes that had to be left without gas for a solution.
    reach : CutConnectivity
        What is joined to what.
    escaping : tuple of float or None
        What leaves at each hit [m³/s at 15 °C, 101.325 kPa]: 0 where it is shut or no gas gets to it, None
        where its part has no solution.
    """

    flow: FlowState
    starved: Flags
    reach: CutConnectivity
    escaping: tuple[float | None, ...]

    @property
    def pressure_pa_gauge(self) -> Floats:
        """Pressure at each node [Pa gauge]; NaN without gas or without a solution."""
        return self.flow.pressure_pa_gauge

    def has_status(self, node: Ints, *statuses: PartStatus) -> Flags:
        """Return which of some nodes lie in parts of one of these statuses."""
        of_part = np.array([one in statuses for one in self.flow.part_status], dtype=np.bool_)
        return np.asarray(of_part[self.flow.node_part[node]], dtype=np.bool_)


class HitNetwork:
    """A network with every place that may have been hit drawn in, each shut until it is opened.

    Parameters
    ----------
    context : PlanningContext
        Of the whole network, or of a subnetwork.
    hits : sequence of HitPlace
        In rows of the whole network.

    Raises
    ------
    BoundaryAffectedError
        When a hit does not lie within the subnetwork.
    """

    def __init__(self, context: PlanningContext, hits: Sequence[HitPlace]) -> None:
        self.context, self.hits = context, tuple(hits)
        network = context.request.network
        marks = []
        for hit in self.hits:
            pipe = self.pipe_here(hit.pipe)
            marks.append(FeedEnd(piece_at(network, pipe, hit.chainage_m), pipe, hit.chainage_m))
        self._opened: OpenedNetwork = opened_network(context, (), marks)

    # Rows of the whole network, here.

    def pipe_here(self, pipe: int) -> int:
        """Return a row of `Network.pipes` of the whole as one of the network here."""
        return self._here("pipe", pipe)

    def piece_here(self, piece: int) -> int:
        """Return a row of `Network.pieces` of the whole as one of the network here."""
        return self._here("piece", piece)

    def customers_here(self, of_whole: Flags) -> Flags:
        """Return flags of the customers of the whole as those of the customers here."""
        context = self.context
        if not isinstance(context, SubnetworkContext):
            return of_whole
        return np.asarray(of_whole[context.subnetwork.rows.customer], dtype=np.bool_)

    def customer_rows(self, rows: Ints) -> Ints:
        """Return rows of customers here as those of the whole."""
        context = self.context
        if not isinstance(context, SubnetworkContext):
            return rows
        return np.asarray(context.subnetwork.rows.customer[rows], dtype=np.int64)

    def _here(self, kind: str, row: int) -> int:
        context = self.context
        if not isinstance(context, SubnetworkContext):
            return row
        rows = context.subnetwork.rows.pipe if kind == "pipe" else context.subnetwork.rows.piece
        place = int(np.searchsorted(rows, row))
        if place == len(rows) or rows[place] != row:
            raise BoundaryAffectedError
        return place

    # What is solved.

    @cached_property
    def _openings(self) -> Ints:
        """Links from each place that was hit to the air."""
        return self._opened.flow.links.count + np.arange(len(self.hits))

    @cached_property
    def bores_m(self) -> Floats:
        """Bore of each main that was hit [m]."""
        pipes = np.array([self.pipe_here(hit.pipe) for hit in self.hits], dtype=np.int64)
        bores: Floats = self.context.request.network.pipes.bore_m[pipes]
        return bores

    @cached_property
    def flow(self) -> FlowNetwork:
        """The network with every main that was hit broken through, both ends open."""
        return self._with_openings(self.bores_m, np.full(len(self.hits), BROKEN_LOSS))

    def _with_openings(self, bore_m: Floats, loss: Floats) -> FlowNetwork:
        flow, node = self._opened.flow, self._opened.mark_node
        air = flow.node_count + np.arange(len(self.hits))
        ends = FlowLinks(node, air, np.full(len(air), END_M), bore_m, np.zeros(len(air)), loss)
        return replace(
            flow,
            node_count=flow.node_count + len(air),
            links=flow.links.joined_with(ends),
            node_height_m=np.concatenate([flow.node_height_m, flow.node_height_m[node]]),
            open_node=air,
        )

    @cached_property
    def _solver(self) -> NetworkSolver:
        return self.context.solver_of(self.flow)

    def closed_by(self, stop: RingStopPlace) -> int:
        """Return the link that a stop closes: the length of pipe that it stands on."""
        opened, piece = self._opened, self.piece_here(stop.piece)
        rows = np.flatnonzero(opened.piece == piece)
        if len(rows) == 1:
            return int(rows[0])
        low, high = opened.from_m[rows], opened.to_m[rows]
        away = np.maximum(np.maximum(low - stop.chainage_m, stop.chainage_m - high), 0.0)
        return int(rows[np.argmin(away)])

    def reach(self, shut: Iterable[RingStopPlace]) -> CutConnectivity:
        """Return what is joined to what with some stops shut."""
        pieces = np.unique(np.array([self.piece_here(stop.piece) for stop in shut], dtype=np.int32))
        nowhere = np.zeros(0, dtype=np.int32)
        context = self.context
        return reach_after(context.request.network, pieces, nowhere, fed_before=context.fed_before)

    def solve(
        self,
        shut: Sequence[RingStopPlace],
        opened: Iterable[int],
        *,
        gone: Flags | None = None,
        stations_shut: Ints | None = None,
        warm: SolvedState | None = None,
    ) -> SolvedState:
        """Solve a state at the hour of the context.

        Parameters
        ----------
        shut : sequence of RingStopPlace
            Stops that are shut.
        opened : iterable of int
            Places in `hits` that are open to the air at full bore.
        gone : bool array, shape (customers here,), optional
            Customers that draw nothing any more.
        stations_shut : int array, optional
            Rows in the stations of the network here that give nothing.
        warm : SolvedState, optional
            To start from.

        Raises
        ------
        BoundaryAffectedError
            When it is felt beyond the subnetwork.
        """
        context, open_hits = self.context, set(opened)
        network = context.request.network
        reach = self.reach(shut)
        off = np.zeros(len(network.customers), dtype=np.bool_) if gone is None else gone
        drawn = flow_after(context, reach, off, context.hours[0])
        live = np.ones(self.flow.node_count, dtype=np.bool_)
        live[: len(reach.fed)] = reach.fed & context.fed_before
        demand = node_demand(network.customers, drawn, self.flow.node_count, live)
        closed = [self.closed_by(stop) for stop in shut]
        closed += [int(link) for k, link in enumerate(self._openings.tolist()) if k not in open_hits]
        capacity = None
        if stations_shut is not None and len(stations_shut):
            capacity = self.flow.station_capacity_m3_per_s_std.copy()
            capacity[np.searchsorted(self.stations_placed, stations_shut)] = 0.0
        state, starved = resolve_without_starved(
            self._solver,
            demand,
            closed_links=closed,
            station_capacity_m3_per_s_std=capacity,
            warm=context.before if warm is None else warm.flow,
        )
        return SolvedState(state, starved, reach, self._escaping(state, open_hits))

    @cached_property
    def stations_placed(self) -> Ints:
        """Rows of the stations that lie on a main, in the order of the flow network."""
        return np.flatnonzero(self.context.request.network.stations.node >= 0)

    def _escaping(self, state: FlowState, opened: set[int]) -> tuple[float | None, ...]:
        found: list[float | None] = []
        for k, link in enumerate(self._openings.tolist()):
            if k not in opened:
                found.append(0.0)
                continue
            status = state.part_status[int(state.node_part[self._opened.mark_node[k]])]
            flow = float(state.flow_m3_per_s_std[link])
            if status is PartStatus.NO_SOURCE:
                found.append(0.0)
            else:
                found.append(None if np.isnan(flow) else max(flow, 0.0))
        return tuple(found)

    def beside_hit_pa_gauge(self, hole_m: float, loss: float, hit: int, before: SolvedState) -> float | None:
        """Return the pressure beside a hole of one hit while gas escapes there [Pa gauge], nothing shut.

        Parameters
        ----------
        hole_m : float
            Diameter of the hole [m].
        loss : float
            Its loss on the velocity head in the hole [-].
        hit : int
            Place in `hits`.
        before : SolvedState
            With nothing open.

        Returns
        -------
        float or None
            None without a solution.
        """
        bores = self.bores_m.copy()
        bores[hit] = hole_m
        losses = np.full(len(self.hits), BROKEN_LOSS)
        losses[hit] = loss
        solver = self.context.solver_of(self._with_openings(bores, losses))
        demand = self._demand_before
        shut = [int(link) for k, link in enumerate(self._openings.tolist()) if k != hit]
        state, _ = resolve_without_starved(solver, demand, closed_links=shut, warm=before.flow)
        pressure = float(state.pressure_pa_gauge[self._opened.mark_node[hit]])
        return None if np.isnan(pressure) else pressure

    @cached_property
    def _demand_before(self) -> Floats:
        return self.context.demands_before(self.flow.node_count)[0]

    def at_hits_pa_gauge(self, state: SolvedState) -> Floats:
        """Return the pressure at each place that was hit [Pa gauge]; NaN without gas."""
        found: Floats = state.pressure_pa_gauge[self._opened.mark_node]
        return found

    def full_flow(self, state: SolvedState) -> tuple[str, ...]:
        """Return the ids of the stations at full flow: at their capacity, or parted from where they sense."""
        names = self.context.request.network.stations.id
        cut_off = state.has_status(self.flow.station_node, PartStatus.SENSING_CUT_OFF)
        return tuple(
            names[row]
            for row, of, is_cut in zip(
                self.stations_placed.tolist(), state.flow.station_state, cut_off.tolist(), strict=True
            )
            if of is StationState.AT_CAPACITY or is_cut
        )
