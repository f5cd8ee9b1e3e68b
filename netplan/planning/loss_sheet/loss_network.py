"""The network of an option with openings to the air: solved for each thing that may fail."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.hydraulics import (
    FlowLinks,
    FlowNetwork,
    FlowState,
    NetworkSolver,
    PartStatus,
    resolve_without_starved,
)
from netplan.network.extract import ExtractedRows
from netplan.network.model import Network
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.planning.connectivity import CutConnectivity, flow_after, node_demand_after, reach_after
from netplan.planning.failed_network import FailureCase
from netplan.planning.failures import MOST_NODES
from netplan.planning.feeds_in_use import FeedEnd
from netplan.planning.opened_network import OpenedNetwork, opened_network
from netplan.planning.subnetwork_context import SubnetworkContext
from netplan.planning.work_states import ROUNDING_PA
from netplan.reference.purge_figures import purge_figure

__all__ = ["END", "OUTLET", "TORN", "LossNetwork", "LossState", "Opening", "StopPlace"]

END_M: Final = 0.01
"""Length of pipe between the barrier nearest the work and the open end, in the bore of the main (own) [m]."""
FELT_PA: Final = 1.0
"""Fall of pressure from which the stops are felt at a meter inlet (own) [Pa]."""
END, OUTLET, TORN = "open end", "outlet", "torn hose"


@dataclass(frozen=True, slots=True)
class StopPlace:
    """Where a stop ends the live network: a place on a main, or the live node of a valve (else -1)."""

    mark: FeedEnd | None
    node: int = -1

    def in_whole(self, rows: ExtractedRows) -> StopPlace:
        """Return it in rows of the network that a subnetwork was taken out of."""
        mark = self.mark
        if mark is None:
            return StopPlace(None, int(rows.node[self.node]))
        return StopPlace(replace(mark, piece=int(rows.piece[mark.piece]), pipe=int(rows.pipe[mark.pipe])))


@dataclass(frozen=True, slots=True)
class Opening:
    """A way out for gas.

    Parameters
    ----------
    kind : str
        `END`: the whole bore of the main; `OUTLET`, at a stop, and `TORN`, at a feed's live end: a
        sharp-edged orifice.
    at : int or str
        Place of the stop in the cut; of a torn hose the id of its feed.
    bore_m : float
        Of the main, the outlet or the hose [m].
    """

    kind: str
    at: int | str
    bore_m: float


@dataclass(frozen=True, slots=True, eq=False)
class LossState:
    """What the network does when something fails, at the hour of the greatest total.

    Parameters
    ----------
    low : tuple of str
        Ids of the customers kept so far who have less than a kept inlet must hold, or no gas.
    high : tuple of str
        Ids of those who have more than a kept inlet may have, and had not before.
    least_pa_gauge : float
        Least kept inlet of those that have gas [Pa gauge]; NaN without one.
    flow_m3_per_s_std : float
        Gas that escapes [m³/s at 15 °C, 101.325 kPa]; NaN where that part has no solution.
    seconds : float
        That the gas in the pipes that fall too low lasts [s]; NaN where none does.
    is_solved : bool
        False where some part of the network has no solution.
    at_mbar : dict of str to float
        Pressure in the pipe at each opening [mbar gauge]; NaN without gas, or without a solution.
    """

    low: tuple[str, ...]
    high: tuple[str, ...]
    least_pa_gauge: float
    flow_m3_per_s_std: float
    seconds: float
    is_solved: bool
    at_mbar: dict[str, float]


class LossNetwork:
    """A case of failures with every opening drawn in, each shut until it is asked for.

    Parameters
    ----------
    case : FailureCase
    stops : sequence of StopPlace
        In the order of the cut.
    openings : mapping of str to Opening
    """

    def __init__(
        self, case: FailureCase, stops: Sequence[StopPlace], openings: Mapping[str, Opening]
    ) -> None:
        self._case, self._stops, self._openings = case, tuple(stops), openings

    @property
    def may_solve(self) -> bool:
        """Whether the network planned in may be solved for each thing that fails."""
        context = self._case.context
        return isinstance(context, SubnetworkContext) or _is_small(context.request.network)

    @cached_property
    def _whole(self) -> LossNetwork | None:
        """The same in all of the network; None where it is too large, or this is it."""
        context = self._case.context
        if not isinstance(context, SubnetworkContext) or not _is_small(context.whole.request.network):
            return None
        rows = context.subnetwork.rows
        stops = [stop.in_whole(rows) for stop in self._stops]
        return LossNetwork(self._case.whole, stops, self._openings)

    # What is solved.

    @cached_property
    def _opened(self) -> OpenedNetwork:
        marks = [stop.mark for stop in self._stops if stop.mark is not None]
        return opened_network(self._case.context, self._case.feeds, marks)

    @cached_property
    def _nodes(self) -> Ints:
        """The node of each opening, in the pipe."""
        marked = iter(self._opened.mark_node.tolist())
        of_stop = [stop.node if stop.mark is None else next(marked) for stop in self._stops]
        return np.array(
            [
                self._opened.nodes_of[one.at][0] if isinstance(one.at, str) else of_stop[one.at]
                for one in self._openings.values()
            ],
            dtype=np.int64,
        )

    @cached_property
    def _link_of(self) -> dict[str, int]:
        first = self._opened.flow.links.count
        return {name: first + k for k, name in enumerate(self._openings)}

    @cached_property
    def _flow(self) -> FlowNetwork:
        flow, ways = self._opened.flow, list(self._openings.values())
        is_end = np.array([way.kind == END for way in ways], dtype=bool)
        air = flow.node_count + np.arange(len(ways))
        ends = FlowLinks(
            self._nodes,
            air,
            np.where(is_end, END_M, 0.0),
            np.array([way.bore_m for way in ways]),
            np.zeros(len(ways)),
            np.where(is_end, 0.0, purge_figure("outlet_discharge") ** -2.0),
        )
        return replace(
            flow,
            node_count=flow.node_count + len(ways),
            links=flow.links.joined_with(ends),
            node_height_m=np.concatenate([flow.node_height_m, flow.node_height_m[self._nodes]]),
            open_node=air,
        )

    @cached_property
    def _solver(self) -> NetworkSolver:
        return self._case.context.solver_of(self._flow)

    @cached_property
    def _closed(self) -> list[int]:
        return self._opened.closed_by(self._case.planned)

    @cached_property
    def _reach(self) -> CutConnectivity:
        context, planned = self._case.context, self._case.planned
        return reach_after(
            context.request.network,
            planned.pieces.astype(np.int32),
            planned.nodes.astype(np.int32),
            fed_before=context.fed_before,
        )

    @cached_property
    def _demand(self) -> Floats:
        context = self._case.context
        flow = flow_after(context, self._reach, self._case.gone, context.hours[0])
        return node_demand_after(context, self._reach, flow, self._flow.node_count)

    @cached_property
    def _inlets(self) -> tuple[Ints, Ints]:
        """Customers kept so far, and the nodes of their inlets that have gas before any stop."""
        context = self._case.context
        owner, at = context.attachments
        kept = ~self._case.gone[owner] & ~self._reach.in_zone[at] & context.fed_before[at]
        return owner[kept], at[kept]

    @cached_property
    def _planned(self) -> FlowState:
        """All stops in and nothing failed."""
        shut, before = [*self._closed, *self._link_of.values()], self._case.context.before_by_hour[0]
        return resolve_without_starved(self._solver, self._demand, closed_links=shut, warm=before)[0]

    def after(
        self,
        opened: Collection[str] = (),
        *,
        lost_feed: str = "",
        lost_station: str = "",
        fault_station: str = "",
    ) -> LossState | None:
        """Return the state with some openings open.

        None where the network is too large: where it is felt beyond the part planned in, or where there is
        no such part.

        Parameters
        ----------
        opened : collection of str
            Names of openings.
        lost_feed : str
            Id of a feed that carries nothing any more.
        lost_station : str
            Id of one that gives nothing.
        fault_station : str
            Id of one that holds the most it can reach in a fault, nothing being drawn: the highest that can
            stand anywhere.
        """
        if not self.may_solve:
            return None
        try:
            return self._after(opened, lost_feed, lost_station, fault_station)
        except BoundaryAffectedError:
            if self._whole is None:
                return None
        return self._whole.after(
            opened, lost_feed=lost_feed, lost_station=lost_station, fault_station=fault_station
        )

    def _after(
        self, opened: Collection[str], lost_feed: str, lost_station: str, fault_station: str
    ) -> LossState:
        flow, stations = self._flow, self._case.context.request.network.stations
        demand, pressure, capacity = self._demand, None, None
        if lost_station:
            capacity = flow.station_capacity_m3_per_s_std.copy()
            capacity[self._station(lost_station)] = 0.0
        if fault_station:
            pressure = flow.station_pressure_pa_gauge.copy()
            fault = stations.max_outlet_pa_gauge[stations.id.find(fault_station)]
            pressure[self._station(fault_station)] = fault
            demand = np.zeros_like(demand)
        planned = self._planned
        shut = [*self._closed, *(link for name, link in self._link_of.items() if name not in opened)]
        shut += self._opened.links_of[lost_feed] if lost_feed else ()
        state, starved = resolve_without_starved(
            self._solver,
            demand,
            closed_links=shut,
            station_pressure_pa_gauge=pressure,
            station_capacity_m3_per_s_std=capacity,
            warm=planned,
        )
        return self._judged(state, starved, [self._link_of[name] for name in opened], planned)

    def _station(self, ident: str) -> int:
        """Return the place of a station among those of the flow network.

        Raises
        ------
        BoundaryAffectedError
            When it lies elsewhere.
        """
        stations = self._case.context.request.network.stations
        row = stations.id.find(ident)
        if row < 0 or stations.node[row] < 0:
            raise BoundaryAffectedError
        return int((stations.node[:row] >= 0).sum())

    # What it does to people.

    def _judged(self, state: FlowState, starved: Flags, opened: list[int], planned: FlowState) -> LossState:
        context = self._case.context
        owner, at = self._inlets
        pressure, ids = state.pressure_pa_gauge, context.request.network.customers.id
        dry = starved[at] | np.isnan(pressure[at])
        below = ~(pressure[at] >= context.required_pa_gauge - ROUNDING_PA)
        low = dry | (below & ~context.weak_before[owner])
        high = (pressure[at] > context.allowed_pa_gauge + ROUNDING_PA) & ~context.high_before[owner]
        good = [status in (PartStatus.SOLVED, PartStatus.NO_SOURCE) for status in state.part_status]
        flow = self._escaping(state, opened)
        return LossState(
            low=tuple(ids[row] for row in np.unique(owner[low]).tolist()),
            high=tuple(ids[row] for row in np.unique(owner[high]).tolist()),
            least_pa_gauge=float(pressure[at][~dry].min(initial=self._least_outside)),
            flow_m3_per_s_std=flow,
            seconds=self._seconds(at[low], flow, planned, state),
            is_solved=all(good),
            at_mbar=dict(zip(self._openings, (pressure[self._nodes] / PA_PER_MBAR).tolist(), strict=True)),
        )

    @property
    def _least_outside(self) -> float:
        """The lowest inlet beyond the part planned in, as before [Pa gauge]; infinite without one."""
        lowest = self._case.context.scope.outside.lowest
        return math.inf if not lowest or lowest[0] is None else lowest[0].pressure_pa_gauge

    def _escaping(self, state: FlowState, opened: list[int]) -> float:
        flows = state.flow_m3_per_s_std[opened]
        node = self._flow.links.from_node[opened]
        dry = [state.part_status[part] is PartStatus.NO_SOURCE for part in state.node_part[node].tolist()]
        return float(np.where(dry, 0.0, flows).sum())

    def _seconds(
        self, low: Ints, escaping_m3_per_s_std: float, planned: FlowState, state: FlowState
    ) -> float:
        """Return how long the gas lasts that the pipes hold where customers fall too low: V Δp / (p_a q) [s].

        V are the bores between nodes that were above what a kept inlet must hold, and are below; Δp is how
        far the lowest of those inlets was above it; q is what escapes, or what is drawn there, whichever is
        more. The pressure of the air stands for that in the pipe, and nothing more comes in.
        """
        if not len(low):
            return math.nan
        context, lengths = self._case.context, len(self._opened.piece)
        links, required = self._flow.links, context.required_pa_gauge
        before = planned.pressure_pa_gauge
        fell = (before >= required) & ~(state.pressure_pa_gauge >= required)
        own = links.is_open[:lengths] & fell[links.from_node[:lengths]] & fell[links.to_node[:lengths]]
        own[[link for link in self._closed if link < lengths]] = False
        bore, length = links.bore_m[:lengths][own], links.length_m[:lengths][own]
        volume = float((math.pi / 4.0 * bore**2 * length).sum())
        drop = float(np.nanmin(np.append(before[low] - required, np.inf)))
        escaping = 0.0 if math.isnan(escaping_m3_per_s_std) else escaping_m3_per_s_std
        most = max(float(self._demand[fell].sum()), escaping)
        if not (math.isfinite(drop) and most > 0.0):
            return math.nan
        return max(volume * drop, 0.0) / (context.conditions.atmospheric_pressure_pa_abs * most)

    def first_to_fall(self) -> tuple[str, ...]:
        """Return the lowest kept customer of each part at an opening of those the stops lower; ids.

        None in a network too large to be solved for it.
        """
        if not self.may_solve:
            return ()
        context = self._case.context
        owner, at = self._inlets
        part, pressure = self._planned.node_part, self._planned.pressure_pa_gauge[at]
        fell = context.before_by_hour[0].pressure_pa_gauge[at] - pressure >= FELT_PA
        has_gas = fell & ~context.weak_before[owner]
        found: set[str] = set()
        for label in set(part[self._nodes].tolist()):
            here = np.flatnonzero((part[at] == label) & has_gas)
            if len(here):
                row = int(owner[here[np.argmin(pressure[here])]])
                found.add(context.request.network.customers.id[row])
        return tuple(sorted(found))


def _is_small(network: Network) -> bool:
    """Return whether a network may be solved for each thing that fails."""
    return len(network.nodes) <= MOST_NODES
