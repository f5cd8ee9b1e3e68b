"""The solved state of an option as a flow picture for the outputs."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from netplan.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.graph.components import component_labels
from netplan.network.place import points_at
from netplan.network.text import Text
from netplan.plan.desk import Desk
from netplan.plan.effects import node_demand_after
from netplan.plan.priced import Priced
from netplan.plan.result import FlowPicture, PieceState
from netplan.plan.writing.people import customer_pressure_after
from netplan.plan.writing.solved import Solved, hose_names, nodes_shown

__all__ = ["picture_of"]

Floats = NDArray[np.float64]


def picture_of(desk: Desk, option: Priced, solved: Solved, feed_ids: tuple[str | None, ...]) -> FlowPicture:
    """Return the state after all stops, complete enough to be solved again elsewhere.

    Parameters
    ----------
    desk : Desk
    option : Priced
    solved : Solved
        The option's final network.
    feed_ids : tuple of (str or None)
        Id of the feed of each hungry part.
    """
    network = desk.request.network
    links, count = solved.flow.links, solved.flow.node_count
    is_pipe = solved.stopped_link >= 0
    pipe = np.full(links.count, -1, dtype=np.int32)
    valve = np.full(links.count, -1, dtype=np.int32)
    piece = solved.stopped.piece[solved.stopped_link[is_pipe]]
    pipe[is_pipe] = network.pieces.pipe[piece]
    valve[is_pipe] = network.pieces.valve[piece]
    x, y = _places(desk, solved)
    owner, at = desk.attachments
    customer_node = np.full(len(network.customers), -1, dtype=np.int32)
    order = np.argsort(
        option.reach.in_zone[at] | np.isnan(solved.state.pressure_pa_gauge[at]), kind="stable"
    )[::-1]
    customer_node[owner[order]] = at[order]
    node, shown = nodes_shown(desk, solved)
    return FlowPicture(
        node_x_m=x,
        node_y_m=y,
        node_height_m=solved.flow.node_height_m,
        node_demand_m3h=node_demand_after(desk, option.reach, option.flow_m3_per_s_std, count)
        * SECONDS_PER_HOUR,
        node_pressure_mbar=solved.state.pressure_pa_gauge / PA_PER_MBAR,
        pipe=pipe[shown],
        link_id=_link_ids(desk, pipe[shown], hose_names(option, feed_ids)),
        from_m=solved.from_m[shown],
        to_m=solved.to_m[shown],
        length_m=links.length_m[shown],
        bore_m=links.bore_m[shown],
        roughness_m=links.roughness_m[shown],
        loss_coefficient=links.loss_coefficient[shown],
        from_node=node[links.from_node[shown]].astype(np.int32),
        to_node=node[links.to_node[shown]].astype(np.int32),
        state=_states(desk, option, solved)[shown],
        valve=valve[shown],
        flow_m3h=np.nan_to_num(solved.state.flow_m3_per_s_std)[shown] * SECONDS_PER_HOUR,
        customer_node=customer_node,
        customer_demand_m3h=option.flow_m3_per_s_std * SECONDS_PER_HOUR,
        customer_pressure_mbar=customer_pressure_after(desk, option) / PA_PER_MBAR,
        station_flow_m3h=solved.state.station_flow_m3_per_s_std * SECONDS_PER_HOUR,
        customer_part=option.groups.part.astype(np.int32),
        node_before_mbar=_padded(desk.before.pressure_pa_gauge / PA_PER_MBAR, count, np.nan),
        node_in_zone=_padded(option.reach.in_zone.astype(float), count, 0.0) > 0.0,
    )


def _padded(values: Floats, count: int, fill: float) -> Floats:
    longer = np.full(count, fill)
    longer[: len(values)] = values
    return longer


def _states(desk: Desk, option: Priced, solved: Solved) -> NDArray[np.int8]:
    """Return the state of every link: what has gas without any feed is live, what has it by feeds alone fed.

    It goes by connection and not by who draws, so that a dead end without customers is no exception.
    """
    links, network = solved.flow.links, desk.request.network
    is_pipe = solved.stopped_link >= 0
    by_feed = ~is_pipe
    opened = [feed.size.feed.valve_link for feed in option.feeds if feed is not None]
    by_feed[[link for link in opened if link >= 0]] = True
    source = np.zeros(solved.flow.node_count, dtype=bool)
    source[: len(option.reach.fed)] = option.reach.fed
    live = _reached(solved, links.is_open & ~by_feed, source)
    has_gas = _reached(solved, links.is_open, live)
    state = np.full(links.count, PieceState.LIVE, dtype=np.int8)
    state[~(live[links.from_node] & live[links.to_node])] = PieceState.FED
    state[~(has_gas[links.from_node] & has_gas[links.to_node])] = PieceState.STRANDED
    state[~links.is_open] = PieceState.CLOSED
    # A zone's links are closed for the calculation: so are in truth those alone that were closed before, and
    # the valves that are stops.
    in_zone, was_open = np.zeros(links.count, dtype=bool), np.zeros(links.count, dtype=bool)
    in_zone[is_pipe] = solved.stopped.in_zone[solved.stopped_link[is_pipe]]
    was_open[is_pipe] = network.pieces.is_open[solved.stopped.piece[solved.stopped_link[is_pipe]]]
    is_stop = np.zeros(links.count, dtype=bool)
    is_stop[[stop.piece for stop in option.cut.stops if stop.valve >= 0]] = True
    state[in_zone & was_open & ~is_stop] = PieceState.ISOLATED
    return state


def _reached(solved: Solved, is_open: NDArray[np.bool_], source: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which nodes are joined to a source by open links."""
    links, count = solved.flow.links, solved.flow.node_count
    part, parts = component_labels(count, links.from_node[is_open], links.to_node[is_open])
    reached = np.zeros(parts, dtype=bool)
    reached[part[source]] = True
    return np.asarray(reached[part])


def _places(desk: Desk, solved: Solved) -> tuple[Floats, Floats]:
    network = desk.request.network
    count = len(network.nodes)
    x, y = np.full(solved.flow.node_count, np.nan), np.full(solved.flow.node_count, np.nan)
    x[:count], y[:count] = network.nodes.x_m, network.nodes.y_m
    links = solved.flow.links
    fresh = np.flatnonzero((solved.stopped_link >= 0) & (links.to_node >= count))
    pipe = network.pieces.pipe[solved.stopped.piece[solved.stopped_link[fresh]]]
    xy = points_at(network, pipe, solved.to_m[fresh])
    x[links.to_node[fresh]], y[links.to_node[fresh]] = xy[:, 0], xy[:, 1]
    return x, y


def _link_ids(desk: Desk, pipe: NDArray[np.int32], hoses: tuple[str, ...]) -> Text:
    rows = np.flatnonzero(pipe >= 0)
    ids = desk.request.network.pipes.id.take(pipe[rows])
    return Text(pa.concat_arrays([ids.arrow, pa.array(hoses, type=pa.string())]))
