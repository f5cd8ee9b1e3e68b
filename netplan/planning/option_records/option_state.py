"""The solved state of an option, made from its final network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.demand import customer_pressure
from netplan.graph.connected_components import component_labels
from netplan.network.linear_reference import PipeLines, points_at
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category
from netplan.planfile import (
    PieceState,
    SolvedState,
    StateCustomers,
    StateFeeds,
    StateNodes,
    StatePipes,
    StateStations,
    model,
)
from netplan.planning.connectivity import node_demand_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork, hose_names, nodes_shown
from netplan.planning.option_records.customer_records import customer_pressure_after
from netplan.planning.option_records.state_extent import Extent

__all__ = ["StateSource", "state_of"]


@dataclass(frozen=True, slots=True, eq=False)
class StateSource:
    """An option with everything that its state is made from.

    Parameters
    ----------
    context : PlanningContext
    option : Option
        As it stands in the plan.
    priced : EvaluatedOption
    final : FinalNetwork
        Its final network.
    feed_ids : tuple of (str or None)
        Id of the feed of each deficient part.
    """

    context: PlanningContext
    option: model.Option
    priced: EvaluatedOption
    final: FinalNetwork
    feed_ids: tuple[str | None, ...]


def state_of(source: StateSource, extent: Extent, lines: PipeLines) -> SolvedState:
    """Return the state after all stops, complete enough to be solved again elsewhere.

    Parameters
    ----------
    source : StateSource
    extent : Extent
        What of the network it is to hold.
    lines : PipeLines
        Pipes of the network.
    """
    context, final = source.context, source.final
    node, shown = nodes_shown(context, final)
    links = final.flow.links
    from_node, to_node = node[links.from_node], node[links.to_node]
    is_pipe = final.stopped_link >= 0
    state = _states(context, source.priced, final)
    xy = _places(context, final)
    held = shown & is_pipe
    if not extent.whole:
        near = extent.inside(*xy)
        held &= near[from_node] | near[to_node] | _changed(context, final, state, extent)
    rows, hoses = np.flatnonzero(held), np.flatnonzero(shown & ~is_pipe)
    ends = np.concatenate([from_node[rows], to_node[rows], from_node[hoses], to_node[hoses]])
    pipes = _pipes(source, rows, extent, lines, (state, from_node, to_node))
    hose_ends = from_node[hoses], to_node[hoses]
    roughness = links.roughness_m[hoses] * MM_PER_M
    return SolvedState(
        option=source.option.rank,
        left_out=extent.note,
        pipes=pipes,
        nodes=_nodes(source, np.unique(ends), xy),
        stations=_stations(context.request.network, final, xy),
        feeds=_feeds(source.option, hose_names(source.priced, source.feed_ids), hose_ends, roughness),
        customers=_customers(source, extent),
    )


def _piece(final: FinalNetwork) -> Ints:
    """Return the network's piece that each link is part of; the last one for a hose."""
    return final.stopped.piece[final.stopped_link]


def _changed(context: PlanningContext, final: FinalNetwork, state: NDArray[np.int8], extent: Extent) -> Flags:
    pipe = context.request.network.pieces.pipe[_piece(final)]
    return np.asarray((state != PieceState.LIVE) & extent.own[pipe])


def _pipes(
    source: StateSource,
    rows: Ints,
    extent: Extent,
    lines: PipeLines,
    of_links: tuple[NDArray[np.int8], Ints, Ints],
) -> StatePipes:
    """Return the pieces of these links, by the state and the ends of every link."""
    final, network = source.final, source.context.request.network
    links, pipes = final.flow.links, network.pipes
    state, from_node, to_node = of_links
    piece = _piece(final)[rows]
    pipe, valve = network.pieces.pipe[piece].astype(np.int64), network.pieces.valve[piece]
    valve_id = np.full(len(rows), "", dtype=object)
    valve_id[valve >= 0] = network.valves.id.take(valve[valve >= 0]).numpy()
    xy, start = lines.part_vertices(pipe, final.from_m[rows], final.to_m[rows])
    systems = np.array(network.systems, dtype=object)
    return StatePipes(
        is_main=pipe < pipes.n_mains,
        pipe_id=pipes.id.take(pipe),
        from_m=final.from_m[rows],
        to_m=final.to_m[rows],
        state=np.where(extent.own[pipe], state[rows], PieceState.OTHER_SYSTEM).astype(np.int8),
        system=TextColumn(systems[pipes.system[pipe]]),
        valve_id=TextColumn(valve_id),
        bore_mm=links.bore_m[rows] * MM_PER_M,
        roughness_mm=links.roughness_m[rows] * MM_PER_M,
        loss_coefficient=links.loss_coefficient[rows],
        length_m=links.length_m[rows],
        from_node=from_node[rows].astype(np.int64),
        to_node=to_node[rows].astype(np.int64),
        flow_m3h=np.nan_to_num(final.state.flow_m3_per_s_std[rows]) * SECONDS_PER_HOUR,
        od_mm=pipes.od_m[pipe] * MM_PER_M,
        street=pipes.street.take(pipe),
        record_date=pipes.record_date.take(pipe),
        line_start=start,
        line_xy_m=xy,
    )


def _nodes(source: StateSource, node: Ints, xy: tuple[Floats, Floats]) -> StateNodes:
    context, final, option = source.context, source.final, source.priced
    count = final.flow.node_count
    demand = node_demand_after(context, option.reach, option.flow_m3_per_s_std, count)
    before = _padded(context.before.pressure_pa_gauge / PA_PER_MBAR, count, np.nan)
    return StateNodes(
        node=node.astype(np.int64),
        height_m=final.flow.node_height_m[node],
        demand_m3h=demand[node] * SECONDS_PER_HOUR,
        pressure_mbar=final.state.pressure_pa_gauge[node] / PA_PER_MBAR,
        pressure_before_mbar=before[node],
        x_m=xy[0][node],
        y_m=xy[1][node],
    )


def _stations(network: Network, final: FinalNetwork, xy: tuple[Floats, Floats]) -> StateStations:
    stations = network.stations
    rows = np.flatnonzero(stations.node >= 0)
    node = stations.node[rows].astype(np.int64)
    return StateStations(
        station_id=stations.id.take(rows),
        node=node,
        outlet_mbar=stations.outlet_pa_gauge[rows] / PA_PER_MBAR,
        max_outlet_mbar=stations.max_outlet_pa_gauge[rows] / PA_PER_MBAR,
        capacity_m3h=stations.capacity_m3_per_s_std[rows] * SECONDS_PER_HOUR,
        flow_m3h=final.state.station_flow_m3_per_s_std * SECONDS_PER_HOUR,
        sensing_node=stations.sensing_node[rows].astype(np.int64),
        x_m=xy[0][node],
        y_m=xy[1][node],
    )


def _feeds(
    option: model.Option, names: tuple[str, ...], ends: tuple[Ints, Ints], roughness_mm: Floats
) -> StateFeeds:
    """Return the option's bypasses and hoses; of parallel lines the first gives ends and roughness."""
    bypasses = option.bypasses
    first = np.array([names.index(one.id) if one.id in names else -1 for one in bypasses], dtype=np.int64)
    linked = first >= 0

    def of_links(values: NDArray[np.generic], missing: float) -> NDArray[np.generic]:
        found = np.full(len(first), missing, dtype=values.dtype)
        found[linked] = values[first[linked]]
        return found

    def numbers(name: str) -> Floats:
        values = [getattr(one, name) for one in bypasses]
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    places = [(one.from_, one.to) for one in bypasses]
    courses = [one.course for one in bypasses]
    return StateFeeds(
        bypass_id=TextColumn([one.id for one in bypasses]),
        kind=TextColumn([one.kind for one in bypasses]),
        from_main=TextColumn([a.main_id for a, _ in places]),
        from_chainage_m=np.array([a.chainage_m for a, _ in places], dtype=float),
        to_main=TextColumn([b.main_id for _, b in places]),
        to_chainage_m=np.array([b.chainage_m for _, b in places], dtype=float),
        from_node=of_links(ends[0], -1).astype(np.int64),
        to_node=of_links(ends[1], -1).astype(np.int64),
        length_m=numbers("length_m"),
        bore_mm=numbers("bore_mm"),
        parallel=np.array([one.parallel for one in bypasses], dtype=np.int64),
        roughness_mm=of_links(roughness_mm, np.nan).astype(float),
        loss_coefficient=numbers("loss_coefficient"),
        flow_m3h=numbers("flow_m3h"),
        drop_mbar=numbers("drop_mbar"),
        velocity_m_s=numbers("velocity_m_s"),
        pressure_from_mbar=numbers("pressure_from_mbar"),
        pressure_to_mbar=numbers("pressure_to_mbar"),
        minimum_air_temp_c=numbers("minimum_air_temp_c"),
        route_start=np.cumsum([0, *map(len, courses)]).astype(np.int64),
        route_xy_m=np.array([xy for course in courses for xy in course], dtype=float).reshape(-1, 2),
    )


def _customers(source: StateSource, extent: Extent) -> StateCustomers:
    context, option, priced = source.context, source.option, source.priced
    customers = context.request.network.customers
    affected, standby = {row.id: row for row in option.customers}, set(option.standby)
    rows = _customers_held(context.request.network, extent, affected.keys() | standby)
    ids = customers.id.take(rows)
    touched = [affected.get(id_) for id_ in ids]
    before = _padded(context.before.pressure_pa_gauge / PA_PER_MBAR, source.final.flow.node_count, np.nan)
    start, drawn = _drawn_from(context, priced, before, rows)
    words = np.array(Category.words(), dtype=object)
    return StateCustomers(
        customer_id=ids,
        effect=TextColumn([row and row.effect for row in touched]),
        cause=TextColumn([row and row.cause for row in touched]),
        kept_by=TextColumn([row and row.kept_by for row in touched]),
        standby=np.array([id_ in standby for id_ in ids], dtype=bool),
        address=customers.address.take(rows),
        street=customers.street.take(rows),
        number=customers.number.take(rows),
        postcode=customers.postcode.take(rows),
        town=customers.town.take(rows),
        category=TextColumn(words[customers.category[rows]]),
        priority=customers.priority.take(rows),
        language=customers.language.take(rows),
        meters=customers.meters[rows].astype(np.int64),
        demand_m3h=priced.flow_m3_per_s_std[rows] * SECONDS_PER_HOUR,
        pressure_mbar=customer_pressure_after(context, priced)[rows] / PA_PER_MBAR,
        node=_customer_node(context, priced, source.final)[rows],
        annual_kwh=customers.annual_kwh[rows],
        peak_kw=customers.peak_kw[rows],
        part=priced.groups.part[rows].astype(np.int64),
        pressure_before_mbar=customer_pressure(customers, before)[rows],
        drawn_start=start,
        drawn_node=drawn,
        x_m=customers.x_m[rows],
        y_m=customers.y_m[rows],
    )


def _customers_held(network: Network, extent: Extent, named: set[str]) -> Ints:
    """Return the customers in the surroundings of the work, and those of these ids wherever they are."""
    customers = network.customers
    if extent.whole:
        return np.arange(len(customers))
    held = extent.inside(customers.x_m, customers.y_m)
    places = [customers.id.find(id_) for id_ in sorted(named)]
    held[[place for place in places if place >= 0]] = True
    return np.flatnonzero(held)


def _customer_node(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> Ints:
    """Return the node that each customer's pressure stands on; -1 for one on no pipe."""
    owner, at = context.attachments
    node = np.full(len(context.request.network.customers), -1, dtype=np.int64)
    order = np.argsort(option.reach.in_zone[at] | np.isnan(final.state.pressure_pa_gauge[at]), kind="stable")[
        ::-1
    ]
    node[owner[order]] = at[order]
    return node


def _drawn_from(
    context: PlanningContext, option: EvaluatedOption, before_mbar: Floats, rows: Ints
) -> tuple[Ints, Ints]:
    """Return where each customer draws from: outside the zones, and where there was gas before the stops."""
    in_zone = _padded(option.reach.in_zone.astype(float), len(before_mbar), 0.0) > 0.0
    has_gas = ~in_zone & ~np.isnan(before_mbar)
    customers = context.request.network.customers
    first, at = customers.attach_start, customers.attach_node
    drawn = [at[first[row] : first[row + 1]] for row in rows.tolist()]
    drawn = [some[has_gas[some]] for some in drawn]
    start = np.zeros(len(rows) + 1, dtype=np.int64)
    np.cumsum([len(some) for some in drawn], out=start[1:])
    return start, np.concatenate([np.zeros(0, dtype=np.int64), *drawn]).astype(np.int64)


def _padded(values: Floats, count: int, fill: float) -> Floats:
    longer = np.full(count, fill)
    longer[: len(values)] = values
    return longer


def _states(context: PlanningContext, option: EvaluatedOption, final: FinalNetwork) -> NDArray[np.int8]:
    """Return the state of every link: what has gas without any feed is live, what has it by feeds alone fed.

    It goes by connection and not by who draws, so that a dead end without customers is no exception.
    """
    links, network = final.flow.links, context.request.network
    is_pipe = final.stopped_link >= 0
    by_feed = ~is_pipe
    opened = [feed.size.feed.valve_link for feed in option.feeds if feed is not None]
    by_feed[[link for link in opened if link >= 0]] = True
    source = np.zeros(final.flow.node_count, dtype=bool)
    source[: len(option.reach.fed)] = option.reach.fed
    live = _reached(final, links.is_open & ~by_feed, source)
    has_gas = _reached(final, links.is_open, live)
    state = np.full(links.count, PieceState.LIVE, dtype=np.int8)
    state[~(live[links.from_node] & live[links.to_node])] = PieceState.FED
    state[~(has_gas[links.from_node] & has_gas[links.to_node])] = PieceState.STRANDED
    state[~links.is_open] = PieceState.CLOSED
    # A zone's links are closed for the calculation: so are in truth those alone that were closed before, and
    # the valves that are stops.
    in_zone, was_open = np.zeros(links.count, dtype=bool), np.zeros(links.count, dtype=bool)
    in_zone[is_pipe] = final.stopped.in_zone[final.stopped_link[is_pipe]]
    was_open[is_pipe] = network.pieces.is_open[final.stopped.piece[final.stopped_link[is_pipe]]]
    is_stop = np.zeros(links.count, dtype=bool)
    is_stop[[stop.piece for stop in option.cut.stops if stop.valve >= 0]] = True
    state[in_zone & was_open & ~is_stop] = PieceState.ISOLATED
    return state


def _reached(final: FinalNetwork, is_open: NDArray[np.bool_], source: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which nodes are joined to a source by open links."""
    links, count = final.flow.links, final.flow.node_count
    part, parts = component_labels(count, links.from_node[is_open], links.to_node[is_open])
    reached = np.zeros(parts, dtype=bool)
    reached[part[source]] = True
    return np.asarray(reached[part])


def _places(context: PlanningContext, final: FinalNetwork) -> tuple[Floats, Floats]:
    network = context.request.network
    count = len(network.nodes)
    x, y = np.full(final.flow.node_count, np.nan), np.full(final.flow.node_count, np.nan)
    x[:count], y[:count] = network.nodes.x_m, network.nodes.y_m
    links = final.flow.links
    fresh = np.flatnonzero((final.stopped_link >= 0) & (links.to_node >= count))
    pipe = network.pieces.pipe[final.stopped.piece[final.stopped_link[fresh]]]
    xy = points_at(network, pipe, final.to_m[fresh])
    x[links.to_node[fresh]], y[links.to_node[fresh]] = xy[:, 0], xy[:, 1]
    return x, y
