"""Customers near the work whose attachment is in doubt: a guessed pipe, no station, another's premises."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.checks.duplicates import PREMISES_M, plain_addresses
from netplan.network.customer_attachment import MAIN_REACH_M, SERVICE_REACH_M
from netplan.network.model import Network
from netplan.network.topology import components, fed_nodes
from netplan.network.vocabulary import Attachment
from netplan.planning.context import PlanningContext
from netplan.planning.doubtful_records.cut_off_pipes import CutOff
from netplan.planning.doubtful_records.joints_and_valves import NEAR_M
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["guessed", "same_premises_as", "without_station"]


Found = list[tuple[int, str]]
_MAY_BE = "is cut off by the work and may be the true one"
_TAKEN: Final = {
    int(Attachment.NEAREST_SERVICE): "no service is recorded for this customer, taken to hang on the nearest",
    int(Attachment.PART_OF_SERVICE_IDS): "one of this customer's services is not recorded",
    int(
        Attachment.FAR_SERVICE_ID
    ): "the service recorded for this customer ends far from it, and another beside it",
}
_HAS_GAS: Final = "who most likely has gas and may depend on what the work cuts off"
_NO_WAY: Final = f"the records show no way for gas to reach this customer, {_HAS_GAS}"
_ON_NO_PIPE: Final = f"the records show no pipe for this customer, {_HAS_GAS}"


def guessed(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> Found:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    Who names no service, or one that is not recorded, hangs on the nearest service end, or without recorded
    services on the nearest main. Any other within the same reach that the work leaves without gas may be the
    true one. So it may for whoever names a service that ends far away.
    """
    return [*_on_services(context, option, cut_off), *_on_mains(context, option, cut_off)]


def _on_services(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> Found:
    everyone, pipes = context.scope.all_customers, context.request.network.pipes
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
    everyone, pipes = context.scope.all_customers, option.connectivity.network.pipes
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
    everyone = context.scope.all_customers
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


def without_station(
    context: PlanningContext, option: OptionInDoubt, cut_off: CutOff
) -> list[tuple[int, str]]:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    A part of the network that no station feeds before any stop, of a pressure system that is worked on, is
    near when any of its nodes lies within `NEAR_M` of a length that is cut off; a customer on no pipe when it
    lies so near itself.
    """
    return [
        *((customer, _NO_WAY) for customer in _on_dead_pipes(context, option, cut_off)),
        *((customer, _ON_NO_PIPE) for customer in _on_no_pipe(context, cut_off)),
    ]


def _on_dead_pipes(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> list[int]:
    network = option.connectivity.network
    nodes, customers = network.nodes, network.customers
    fed = fed_nodes(network, injections=True)
    worked = np.unique(network.pipes.system[cut_off.pipe])
    dead = np.flatnonzero(~fed & np.isin(nodes.system, worked))
    near = dead[_near(nodes.x_m[dead], nodes.y_m[dead], cut_off)]
    part = components(network)
    chosen = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
    chosen[part[near]] = True
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    has_gas, is_near = (
        np.bincount(owner, weights=flags, minlength=len(customers)) > 0
        for flags in (fed[at], chosen[part[at]])
    )
    rows: list[int] = context.scope.customer_rows[np.flatnonzero(is_near & ~has_gas)].tolist()
    return rows


def _on_no_pipe(context: PlanningContext, cut_off: CutOff) -> list[int]:
    everyone = context.scope.all_customers
    placed = np.isfinite(everyone.x_m) & np.isfinite(everyone.y_m)
    rows = np.flatnonzero((everyone.attached_by == Attachment.NO_PIPE) & placed)
    found: list[int] = rows[_near(everyone.x_m[rows], everyone.y_m[rows], cut_off)].tolist()
    return found


def _near(x_m: NDArray[np.float64], y_m: NDArray[np.float64], cut_off: CutOff) -> Flags:
    """Return which places lie within `NEAR_M` of a length that is cut off."""
    near = np.zeros(len(x_m), dtype=bool)
    if len(x_m) and len(cut_off.line):
        points = np.asarray(shapely.points(x_m, y_m), dtype=object)
        at, _ = shapely.STRtree(cut_off.line).query(points, predicate="dwithin", distance=NEAR_M)
        near[at] = True
    return near


def same_premises_as(context: PlanningContext, off: Collection[str]) -> list[tuple[int, str]]:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    They have the address of one who is off, in whatever case, spacing and punctuation, and lie near it.

    Parameters
    ----------
    context : PlanningContext
    off : collection of str
        Customers that are off by the option.
    """
    everyone = context.scope.all_customers
    xy = np.column_stack([everyone.x_m, everyone.y_m])
    is_off = np.asarray(
        pc.is_in(everyone.id.arrow, value_set=pa.array(sorted(off), pa.string())).to_numpy(
            zero_copy_only=False
        ),
        dtype=bool,
    )
    gone = np.flatnonzero(is_off & np.isfinite(xy).all(axis=1))
    if not len(gone):
        return []
    low, high = xy[gone].min(axis=0) - PREMISES_M, xy[gone].max(axis=0) + PREMISES_M
    near = np.flatnonzero(~is_off & (xy >= low).all(axis=1) & (xy <= high).all(axis=1))
    at_address: dict[str, list[int]] = {}
    for at, address in zip(
        gone.tolist(), plain_addresses(everyone.address.take(gone)).to_pylist(), strict=True
    ):
        if address:
            at_address.setdefault(address, []).append(at)
    found: list[tuple[int, str]] = []
    for row, address in zip(
        near.tolist(), plain_addresses(everyone.address.take(near)).to_pylist(), strict=True
    ):
        same = at_address.get(address)
        if same is None:
            continue
        gap_m = np.hypot(*(xy[same] - xy[row]).T)
        nearest = int(np.argmin(np.round(gap_m, 6)))
        if gap_m[nearest] <= PREMISES_M:
            why = (
                f"has the address of customer {everyone.id[same[nearest]]}, {gap_m[nearest]:.1f} m away, "
                "who is off; if they are the same premises, this customer is off too"
            )
            found.append((row, why))
    return found
