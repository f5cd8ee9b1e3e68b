"""The final network of an option, with everything in it, solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from netplan.core.arrays import Flags, Floats, Ints
from netplan.feeds import SizedFeed, feed_links
from netplan.hydraulics import FlowNetwork, FlowState, NetworkSolver
from netplan.planning.connectivity import node_demand_after
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.fed_network import FedNetwork, closed_flow
from netplan.planning.stopped_network import StoppedNetwork, draw_stops

__all__ = ["FinalNetwork", "final_network", "hose_names", "nodes_shown"]

SHORT_M = 5e-4
"""Parts of pipes below this are not written down: half of what nodes of a network are apart at least
(own) [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class FinalNetwork:
    """The final network of an option, with what solving it again while planning needs.

    A `SolvedState` is what is kept of it: without the links that are too short to be written down, in the
    units of the file, and without solver and stopped network.

    Parameters
    ----------
    stopped : StoppedNetwork
        The network with the stops drawn in.
    flow : FlowNetwork
        Links of the stopped network, their parts beyond hose taps, then the hoses; zones closed.
    state : FlowState
        Solved with the customers off turned off.
    stopped_link : int array, shape (links,)
        Link of the stopped network that each link is part of; -1 for a hose.
    from_m, to_m : float arrays, shape (links,)
        Chainages on the pipe, or 0 and the length of a hose [m].
    prepared : NetworkSolver, optional
        Solver that is prepared for `flow`, where there is one.
    """

    stopped: StoppedNetwork
    flow: FlowNetwork
    state: FlowState
    stopped_link: Ints
    from_m: Floats
    to_m: Floats
    prepared: NetworkSolver | None = None

    def solver(self, context: PlanningContext) -> NetworkSolver:
        """Return a solver for the final network; preparing one takes seconds for a city."""
        return self.prepared or context.solver_of(self.flow)


def final_network(context: PlanningContext, option: EvaluatedOption) -> FinalNetwork:
    """Return the final network of an option."""
    if option.fed is None or option.stopped is None:
        return _without_feeds(context, option)
    return _with_feeds(context, option, option.stopped, option.fed)


def _without_feeds(context: PlanningContext, option: EvaluatedOption) -> FinalNetwork:
    stopped = draw_stops(context.request.network, context.base, option.cut)
    flow = closed_flow(stopped)
    demand = node_demand_after(context, option.reach, option.flow_m3_per_s_std, flow.node_count)
    solver = context.solver_of(flow)
    state, rows = solver.solve(demand), np.arange(flow.links.count)
    return FinalNetwork(stopped, flow, state, rows, stopped.from_m, stopped.to_m, solver)


def _with_feeds(
    context: PlanningContext, option: EvaluatedOption, stopped: StoppedNetwork, fed: FedNetwork
) -> FinalNetwork:
    sizes = [feed.size for feed in option.feeds if isinstance(feed, SizedFeed)]
    hoses = feed_links(sizes, context.request.rules)
    links = fed.flow.links
    is_open = links.is_open.copy()
    is_open[[size.feed.valve_link for size in sizes if size.feed.valve_link >= 0]] = True
    flow = fed.flow.with_links(replace(links, is_open=is_open).joined_with(hoses))
    stopped_link = np.concatenate([fed.stopped_link, np.full(hoses.count, -1, dtype=np.int64)])
    from_m, to_m = _chainages(stopped, fed.stopped_link, links.length_m)
    nothing = np.zeros(hoses.count)
    return FinalNetwork(
        stopped=stopped,
        flow=flow,
        state=option.final,
        stopped_link=stopped_link,
        from_m=np.concatenate([from_m, nothing]),
        to_m=np.concatenate([to_m, hoses.length_m]),
    )


def _chainages(stopped: StoppedNetwork, stopped_link: Ints, length_m: Floats) -> tuple[Floats, Floats]:
    """Lay the parts of a tapped link one after the other, as the tapping made them."""
    from_m, to_m = stopped.from_m[stopped_link].copy(), stopped.to_m[stopped_link].copy()
    count = stopped.flow.links.count
    for link in np.unique(stopped_link[count:]):
        rows = [int(link), *(count + np.flatnonzero(stopped_link[count:] == link)).tolist()]
        at = float(stopped.from_m[link])
        for row in rows:
            from_m[row] = at
            at += float(length_m[row])
            to_m[row] = at
        to_m[rows[-1]] = stopped.to_m[link]
    return from_m, to_m


def nodes_shown(context: PlanningContext, final: FinalNetwork) -> tuple[Ints, Flags]:
    """Return the node that each node is written down as, and which links are written down.

    Hoses that were thought of and a stop's barrier at the end of a piece leave parts of pipes without a
    length. Such a part that carries gas is left out and its ends become one node, the network's own if one of
    them is; one in a zone is left out. A valve's own piece has no length either, and stays: it says whether
    the valve is open.
    """
    pieces, links = context.request.network.pieces, final.flow.links
    own = len(context.request.network.nodes)
    shown = np.ones(links.count, dtype=bool)
    node = np.arange(final.flow.node_count)
    for link in np.flatnonzero((final.stopped_link >= 0) & (links.length_m < SHORT_M)).tolist():
        if pieces.valve[final.stopped.piece[final.stopped_link[link]]] >= 0:
            continue
        low, high = sorted((int(node[links.from_node[link]]), int(node[links.to_node[link]])))
        if not links.is_open[link]:
            shown[link] = False
        elif high >= own:
            shown[link] = False
            node[node == high] = low
    return node, shown


def hose_names(option: EvaluatedOption, feed_ids: Sequence[str | None]) -> tuple[str, ...]:
    """Return for each hose of the final network, in the order of its links, the id of its feed.

    Parameters
    ----------
    option : EvaluatedOption
    feed_ids : sequence of (str or None)
        Id of the feed of each deficient part.
    """
    return tuple(
        str(feed_id)
        for feed_id, feed in zip(feed_ids, option.feeds, strict=True)
        if feed is not None and feed.size.feed.valve_link < 0
        for _ in range(feed.size.parallel)
    )
