"""Customers whose pipe is a guess, and who may hang on what the work cuts off instead."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.customer_attachment import MAIN_REACH_M, SERVICE_REACH_M
from netplan.network.model import Network
from netplan.network.vocabulary import Attachment
from netplan.planning.context import PlanningContext
from netplan.planning.doubtful_records.cut_off_lengths import CutOff
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["guessed"]

Found = list[tuple[int, str]]
_MAY_BE = "is cut off by the work and may be the true one"
_TAKEN: Final = {
    int(Attachment.NEAREST_SERVICE): "no service is recorded for this customer, taken to hang on the nearest",
    int(Attachment.PART_OF_SERVICE_IDS): "one of this customer's services is not recorded",
    int(
        Attachment.FAR_SERVICE_ID
    ): "the service recorded for this customer ends far from it, and another beside it",
}


def guessed(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> Found:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    Who names no service, or one that is not recorded, hangs on the nearest service end, or without recorded
    services on the nearest main. Any other within the same reach that the work leaves without gas may be the
    true one. So it may for whoever names a service that ends far away.
    """
    return [*_on_services(context, option, cut_off), *_on_mains(context, option, cut_off)]


def _on_services(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> Found:
    everyone, pipes = context.customers_everywhere, context.request.network.pipes
    pipe, node = _dark_ends(option, cut_off)
    by = everyone.attached_by
    asked = np.isin(by, list(_TAKEN))
    nodes = context.request.network.nodes
    ends = np.asarray(shapely.points(nodes.x_m[node], nodes.y_m[node]), dtype=object)
    return [
        (
            customer,
            f"{_TAKEN[int(by[customer])]}; service {pipes.id[int(pipe[at])]}, {gap:.1f} m away, {_MAY_BE}",
        )
        for customer, at, gap in _nearest(context, asked, ends, pipe, SERVICE_REACH_M)
    ]


def _on_mains(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> Found:
    everyone, pipes = context.customers_everywhere, option.connectivity.network.pipes
    rows = np.flatnonzero(cut_off.dark & (cut_off.pipe < pipes.n_mains))
    line, pipe = cut_off.line[rows], cut_off.pipe[rows]
    asked = everyone.attached_by == Attachment.NEAREST_MAIN
    taken = "no service is recorded for this customer, taken to hang on the nearest main"
    return [
        (
            customer,
            f"{taken}; main {pipes.id[int(pipe[at])]}, {gap:.1f} m away, {_MAY_BE}",
        )
        for customer, at, gap in _nearest(context, asked, line, pipe, MAIN_REACH_M)
    ]


def _nearest(
    context: PlanningContext, asked: Flags, shapes: NDArray[np.object_], pipe: Ints, reach_m: float
) -> list[tuple[int, int, float]]:
    """Return customers, the nearest shape within reach of each, and how far it is [m]."""
    everyone = context.customers_everywhere
    if not len(shapes) or not asked.any():
        return []
    low, high = _bounds(shapes, reach_m)
    near = asked & (everyone.x_m >= low[0]) & (everyone.x_m <= high[0])
    rows = np.flatnonzero(near & (everyone.y_m >= low[1]) & (everyone.y_m <= high[1]))
    points = np.asarray(shapely.points(everyone.x_m[rows], everyone.y_m[rows]), dtype=object)
    who, at = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=reach_m)
    gap = np.asarray(shapely.distance(points[who], shapes[at]))
    order = np.lexsort([pipe[at], np.round(gap, 6), who])
    who, at, gap = who[order], at[order], gap[order]
    first = np.ones(len(who), dtype=bool)
    first[1:] = who[1:] != who[:-1]
    return list(zip(rows[who[first]].tolist(), at[first].tolist(), gap[first].tolist(), strict=True))


def _bounds(shapes: NDArray[np.object_], margin_m: float) -> tuple[Floats, Floats]:
    bounds = np.asarray(shapely.total_bounds(shapes))
    return bounds[:2] - margin_m, bounds[2:] + margin_m


def _dark_ends(option: OptionInDoubt, cut_off: CutOff) -> tuple[Ints, Ints]:
    """Return the services without gas during the work and the node of the customer's end of each."""
    network = option.connectivity.network
    pipes = np.unique(cut_off.pipe[cut_off.dark & (cut_off.pipe >= network.pipes.n_mains)])
    pairs = [(pipe, node) for pipe in pipes.tolist() for node in _free_ends(network, pipe)]
    table = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _free_ends(network: Network, pipe: int) -> list[int]:
    """Return the ends of a service that are on no main; its last vertex where both are on one."""
    pieces = network.pieces
    rows = pieces.rows_of(pipe)
    ends = [int(pieces.from_node[rows[0]]), int(pieces.to_node[rows[-1]])]
    on_main = pieces.pipe < network.pipes.n_mains
    free = [
        end for end in ends if not (on_main & ((pieces.from_node == end) | (pieces.to_node == end))).any()
    ]
    return free or ends[1:]
