"""The network of an option when something fails: solved, with who then has no gas or too little."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from netplan.core.arrays import Flags, Ints
from netplan.hydraulics import FlowState, NetworkSolver, PartStatus, StationState
from netplan.network.subnetwork import BoundaryAffectedError
from netplan.network.topology import station_nodes
from netplan.planning.connectivity import CutConnectivity, flow_after, node_demand_after, reach_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.feeds_in_use import ClosedLengths, FeedEnd, FeedInUse, feeds_in_use
from netplan.planning.opened_network import OpenedNetwork, opened_network
from netplan.planning.subnetwork_context import SubnetworkContext
from netplan.planning.work_states import ROUNDING_PA

__all__ = ["Failure", "FailureCase", "failure_case"]


NO_STATION = -1


@dataclass(frozen=True, slots=True, eq=False)
class Failure:
    """What a state does to people.

    Parameters
    ----------
    customers : tuple of str
        Customers kept so far who then lie in a zone, have no gas, or less than a kept inlet must hold;
        ascending rows. Those too weak before any stop count only where they have no gas.
    notes : tuple of str
        What else the state does: a station shut in, parted from its sensing point or at its capacity, a
        part without a solution.
    too_fast : tuple of str
        Ids of the bypasses and hoses in which gas is faster than ``bypass.velocity_max_m_s`` in some hour.
    """

    customers: tuple[str, ...]
    notes: tuple[str, ...]
    too_fast: tuple[str, ...] = ()


class FailureCase:
    """An option whose stops, feeds or stations fail.

    Parameters
    ----------
    context : PlanningContext
    gone : bool array, shape (customers,)
        Customers that are off: they stay off.
    feeds : tuple of FeedInUse
        Feeds of the option.
    planned : ClosedLengths
        What the planned stops close.
    """

    def __init__(
        self, context: PlanningContext, gone: Flags, feeds: tuple[FeedInUse, ...], planned: ClosedLengths
    ) -> None:
        self.context, self.gone, self.feeds, self.planned = context, gone, feeds, planned

    @cached_property
    def whole(self) -> FailureCase:
        """The same in all of the network: where a state is felt beyond the subnetwork."""
        near = self._subnetwork
        if near is None:
            return self
        rows, everything = near.subnetwork.rows, near.whole
        gone = np.zeros(len(everything.request.network.customers), dtype=bool)
        gone[rows.customer[self.gone]] = True
        return FailureCase(
            everything, gone, tuple(feed.in_whole(rows) for feed in self.feeds), self.in_whole(self.planned)
        )

    @property
    def _subnetwork(self) -> SubnetworkContext | None:
        return self.context if isinstance(self.context, SubnetworkContext) else None

    def in_whole(self, lengths: ClosedLengths) -> ClosedLengths:
        """Return what stops close in rows of all of the network."""
        near = self._subnetwork
        return lengths if near is None else lengths.in_whole(near.subnetwork.rows)

    def nodes_in_whole(self, nodes: Ints) -> Ints:
        """Return nodes as rows of all of the network."""
        near = self._subnetwork
        return nodes if near is None else near.subnetwork.rows.node[nodes].astype(np.int64)

    def labels(self, lengths: ClosedLengths) -> Ints:
        """Return the connected part of each node once stops are in, with every feed in use."""
        return self._labels(self._closed(lengths))

    def served(self, label: Ints, gone: Flags) -> set[int]:
        """Return the connected parts that hold a customer who is not gone, or go on beyond the network."""
        network = self.context.request.network
        owner, at = self.context.attachments
        beyond = np.zeros(0, np.int64) if network.beyond is None else network.beyond.node
        return set(label[np.concatenate([at[~gone[owner]], beyond])].tolist())

    def fed_alone(self, lengths: ClosedLengths, node: int) -> tuple[tuple[FeedInUse, FeedEnd], ...] | None:
        """Return the feeds that alone feed the part a node lies in once stops are in, with their live ends.

        None where a station feeds it; nothing where nothing does.
        """
        opened = self._opened
        every = [link for links in opened.links_of.values() for link in links]
        label = self._labels([*self._closed(lengths), *every])
        if label[node] in label[station_nodes(self.context.request.network, injections=True)]:
            return None
        found: list[tuple[FeedInUse, FeedEnd]] = []
        for feed in self.feeds:
            inside = [bool(label[end] == label[node]) for end in opened.nodes_of[feed.id]]
            if any(inside):
                live = next((end for end, at in zip(feed.ends, inside, strict=True) if not at), feed.ends[0])
                found.append((feed, live))
        return tuple(found)

    def with_feed(self, moved: FeedInUse) -> FailureCase:
        """Return the same with a feed of that id at another place."""
        feeds = tuple(moved if feed.id == moved.id else feed for feed in self.feeds)
        return FailureCase(self.context, self.gone, feeds, self.planned)

    def customers_fed_by(self, lengths: ClosedLengths, feed_id: str) -> tuple[str, ...]:
        """Return the customers in the part at the fed end of a feed, that part taken without any feed.

        Those with an end in a zone are left out.
        """
        opened, customers = self._opened, self.context.request.network.customers
        every = [link for links in opened.links_of.values() for link in links]
        label = self._labels([*self._closed(lengths), *every])
        owner, at = self.context.attachments
        there = np.zeros(len(customers), dtype=bool)
        there[owner[label[at] == label[opened.nodes_of[feed_id][1]]]] = True
        there[owner[np.isin(at, lengths.nodes)]] = False
        return tuple(customers.id[row] for row in np.flatnonzero(there).tolist())

    def after(
        self, lengths: ClosedLengths, *, lost_feeds: Collection[str] = (), lost_station: int = NO_STATION
    ) -> Failure:
        """Return what happens to people with some stops in, solved in every hour to check.

        Parameters
        ----------
        lengths : ClosedLengths
            What the stops close.
        lost_feeds : collection of str
            Ids of feeds that are shut.
        lost_station : int
            Row of a station that gives nothing any more.
        """
        if lost_station == NO_STATION:
            try:
                return self._after(lengths, lost_feeds, lost_station)
            except BoundaryAffectedError:
                if self.whole is self:
                    raise
        case, there = self.whole, self.in_whole(lengths)
        return case._after(there, lost_feeds, lost_station)  # noqa: SLF001 - one of its own kind

    def _after(self, lengths: ClosedLengths, lost_feeds: Collection[str], lost_station: int) -> Failure:
        found = self._state(lengths, lost_feeds, lost_station)
        return replace(found, notes=tuple(note for note in found.notes if note not in self._usual))

    @cached_property
    def _usual(self) -> tuple[str, ...]:
        """What may be said of the work as planned too."""
        return self._state(self.planned, (), NO_STATION).notes

    def _state(self, lengths: ClosedLengths, lost_feeds: Collection[str], lost_station: int) -> Failure:
        context, opened = self.context, self._opened
        network = context.request.network
        shut = [link for feed in lost_feeds for link in opened.links_of[feed]]
        closed = sorted({*self._closed(lengths), *shut})
        reach = reach_after(
            network,
            lengths.pieces.astype(np.int32),
            lengths.nodes.astype(np.int32),
            fed_before=context.fed_before,
        )
        label = self._labels(closed)
        owner, at = context.attachments
        dark = context.fed_before & ~reach.in_zone & ~self._supplied(label, lost_station)
        gone = self.gone | reach.isolated
        gone[owner[dark[at]]] = True
        states = self._solved(reach, gone, closed, lost_station)
        lost = gone | self._too_low(reach, gone, states)
        notes = _notes(self, states, label, lost_station, gone)
        rows = np.flatnonzero(lost & ~self.gone)
        ids = tuple(network.customers.id[row] for row in rows.tolist())
        return Failure(ids, tuple(notes), self._too_fast(states, lost_feeds))

    def _too_fast(self, states: Sequence[FlowState], lost_feeds: Collection[str]) -> tuple[str, ...]:
        conditions, opened = self._solver.conditions, self._opened
        per_density = conditions.properties().pressure_per_density
        found: list[str] = []
        for feed in self.feeds:
            if feed.valve_piece >= 0 or feed.id in lost_feeds:
                continue
            link, ends = opened.links_of[feed.id][0], opened.nodes_of[feed.id]
            for state in states:
                mass = float(state.flow_kg_per_s[link])
                gauge = float(state.pressure_pa_gauge[ends[0] if mass >= 0 else ends[1]])
                volume = abs(mass) * per_density / (gauge + conditions.atmospheric_pressure_pa_abs)
                if volume / (math.pi / 4.0 * feed.size.bore_m**2) > self._fastest_m_per_s:
                    found.append(feed.id)
                    break
        return tuple(found)

    @property
    def _fastest_m_per_s(self) -> float:
        return self.context.request.rules.bypass.velocity_max_m_s

    def _supplied(self, label: Ints, lost_station: int) -> Flags:
        """Return which network nodes a station, an injection or what lies beyond reaches."""
        network = self.context.request.network
        sources = station_nodes(network, injections=True)
        if lost_station != NO_STATION:
            others = np.delete(network.stations.node, lost_station)
            sources = np.concatenate(
                [others[others >= 0], network.injections.node[network.injections.node >= 0]]
            )
        return np.isin(label[: len(network.nodes)], label[sources])

    def _too_low(self, reach: CutConnectivity, gone: Flags, states: Sequence[FlowState]) -> Flags:
        """Return who has less than a kept inlet must hold in some hour, or no solution at all."""
        owner, at = self.context.attachments
        asked = ~gone[owner] & ~reach.in_zone[at] & self.context.fed_before[at]
        low = np.zeros(len(gone), dtype=bool)
        for state in states:
            pressure = state.pressure_pa_gauge[at]
            below = (
                ~(pressure >= self.context.required_pa_gauge - ROUNDING_PA) & ~self.context.weak_before[owner]
            )
            low[owner[asked & (below | np.isnan(pressure))]] = True
        return low

    def _solved(
        self, reach: CutConnectivity, gone: Flags, closed: Sequence[int], lost_station: int
    ) -> tuple[FlowState, ...]:
        context, flow_network = self.context, self._opened.flow
        capacity = flow_network.station_capacity_m3_per_s_std.copy()
        if lost_station != NO_STATION:
            placed = self.context.request.network.stations.node >= 0
            capacity[int(placed[:lost_station].sum())] = 0.0
        states: list[FlowState] = []
        for place, hour in enumerate(context.hours):
            flow = flow_after(context, reach, gone, hour)
            states.append(
                self._solver.resolve(
                    demand_m3_per_s_std=node_demand_after(context, reach, flow, flow_network.node_count),
                    closed_links=closed,
                    station_capacity_m3_per_s_std=None if lost_station == NO_STATION else capacity,
                    warm=states[-1] if states else context.before_by_hour[place],
                )
            )
            if lost_station != NO_STATION and _unsolved(states[-1]):
                break  # everybody there counts already
        return tuple(states)

    @cached_property
    def _solver(self) -> NetworkSolver:
        return self.context.solver_of(self._opened.flow)

    @cached_property
    def _opened(self) -> OpenedNetwork:
        return opened_network(self.context, self.feeds)

    def _closed(self, lengths: ClosedLengths) -> list[int]:
        return self._opened.closed_by(lengths)

    def _labels(self, closed: Sequence[int]) -> Ints:
        """Return the connected part of each flow node with some links closed."""
        links = self._opened.flow.links
        is_open = links.is_open.copy()
        is_open[list(closed)] = False
        return self._opened.flow.with_links(replace(links, is_open=is_open)).open_parts()


def failure_case(context: PlanningContext, option: EvaluatedOption) -> FailureCase:
    """Return an option as a case of failures."""
    return FailureCase(context, option.gone, feeds_in_use(context, option), ClosedLengths.of(option.cut))


def _notes(
    case: FailureCase, states: Sequence[FlowState], label: Ints, lost_station: int, gone: Flags
) -> list[str]:
    """Say what a state does to stations, and where it has no solution."""
    network = case.context.request.network
    rows = np.flatnonzero(network.stations.node >= 0).tolist()
    served = case.served(label, gone)
    found: list[str] = []
    for place, row in enumerate(rows):
        name, node = network.stations.id[row], int(network.stations.node[row])
        if row == lost_station:
            continue
        if label[node] not in served:
            found.append(f"station {name} is shut in: nobody is left for it to feed")
        sensing = int(network.stations.sensing_node[row])
        if sensing >= 0 and label[sensing] != label[node]:
            found.append(
                f"station {name} is cut off from its sensing point and goes to full flow: overpressure risk"
            )
        if any(state.station_state[place] is StationState.AT_CAPACITY for state in states):
            found.append(f"station {name} is at its capacity")
    if any(_unsolved(state) for state in states):
        found.append("this state has no solution: everybody in the parts concerned is counted")
    return found


def _unsolved(state: FlowState) -> bool:
    return any(status not in (PartStatus.SOLVED, PartStatus.NO_SOURCE) for status in state.part_status)
