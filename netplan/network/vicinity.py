"""The vicinity of the work in a large network, as a network of its own that hangs on what lies beyond.

What is done within it is done in the whole network too, as long as nothing of it is felt at the rim: gas that
crosses the rim then flows as before, and every part beyond stays fed from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from netplan.network.extract import Rows, extract
from netplan.network.graph import station_nodes
from netplan.network.model import Beyond, Network

__all__ = ["ReachesRimError", "Vicinity", "merged_parts", "vicinity_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

_BESIDE_M: Final = 100.0
"""What is taken in on every side of a station and the place it senses at (own) [m]."""
_MOST_ROUNDS: Final = 6
"""How often what belongs together is taken in before the vicinity is given up (own) [-]."""


class ReachesRimError(Exception):
    """Something within a vicinity would be felt beyond its rim: a larger one has to be looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Vicinity:
    """A part of a network and what crosses its rim.

    Parameters
    ----------
    network : Network
        The part, with its `Network.beyond`.
    rows : Rows
        Which rows of the whole it holds.
    rim_piece : int array
        Pieces of the whole that lead out, in the order of `Network.beyond`.
    rim_sign : float array
        1 where such a piece runs outward, -1 where it runs inward.
    customer_beyond : int array, shape (customers of the whole,)
        Number of the part beyond that a customer is attached to; -1 for one within, on no pipe or in a part
        that the rim does not touch.
    box_m : tuple of float
        Least and greatest x and y of the square that is held whole, working CRS [m].
    """

    network: Network
    rows: Rows
    rim_piece: Ints
    rim_sign: Floats
    customer_beyond: Ints
    box_m: tuple[float, float, float, float]

    def require_within(self, x_m: Floats, y_m: Floats, margin_m: float) -> None:
        """Check that all that lies near some places lies within.

        Raises
        ------
        ReachesRimError
            When a place lies nearer to the edge of the square than `margin_m` and the longest piece.
        """
        pieces = self.network.pieces
        margin = margin_m + float((pieces.to_m - pieces.from_m).max(initial=0.0)) * self.network.scale
        west, south, east, north = self.box_m
        if not (
            (x_m >= west + margin).all()
            and (x_m <= east - margin).all()
            and (y_m >= south + margin).all()
            and (y_m <= north - margin).all()
        ):
            raise ReachesRimError


def vicinity_of(network: Network, xy_m: Floats, at_least: int) -> Vicinity | None:
    """Return what lies round some places, at least so many nodes of it.

    A square round the places is taken whole. With it comes what cannot be parted from it: dead ends beyond
    that no station feeds but through it, the far side of closed valves, sensing points with their stations,
    and all attachments of a customer.

    Parameters
    ----------
    network : Network
    xy_m : float array, shape (n, 2)
        Places in the working CRS [m].
    at_least : int

    Returns
    -------
    Vicinity or None
        None where it would take in half of the network or more.
    """
    count = len(network.nodes)
    if 2 * at_least > count:
        return None
    low, high = xy_m.min(axis=0), xy_m.max(axis=0)
    apart = np.maximum(
        np.maximum(low[0] - network.nodes.x_m, network.nodes.x_m - high[0]),
        np.maximum(low[1] - network.nodes.y_m, network.nodes.y_m - high[1]),
    )
    reach = float(np.partition(apart, at_least - 1)[at_least - 1])
    found = _together(network, apart <= reach)
    if found is None:
        return None
    chosen, label = found
    box = (float(low[0] - reach), float(low[1] - reach), float(high[0] + reach), float(high[1] + reach))
    return _cut_out(network, chosen, label, box)


def merged_parts(part: NDArray[np.int32], beyond: Beyond) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Make one of the parts that are joined beyond the rim.

    Parameters
    ----------
    part : int32 array, shape (nodes,)
        Connected part of each node within.
    beyond : Beyond

    Returns
    -------
    part : int32 array, shape (nodes,)
        Parts that are joined to the same part beyond have the number of the first of them.
    of_beyond : int32 array, shape (parts beyond,)
        That number for each part beyond the rim.
    """
    known = int(part.max(initial=-1)) + 1
    outer = int(beyond.part.max(initial=-1)) + 1
    pairs = (part[beyond.node], known + beyond.part)
    graph = coo_array((np.ones(len(beyond.node), np.int8), pairs), shape=(known + outer, known + outer))
    joined = connected_components(graph, directed=False)[1]
    first = np.full(int(joined.max(initial=-1)) + 1, known + outer, dtype=np.int32)
    np.minimum.at(first, joined, np.arange(known + outer, dtype=np.int32))
    number = first[joined]
    return number[:known][part], number[known:]


def _together(network: Network, chosen: Flags) -> tuple[Flags, NDArray[np.int32]] | None:
    """Take in what cannot be parted from some nodes; return all, and the part beyond of each other node."""
    supply = np.zeros(len(network.nodes), dtype=bool)
    supply[station_nodes(network, injections=True)] = True
    _take_in_ends(network, chosen)
    for _ in range(_MOST_ROUNDS):
        label, dark = _beyond(network, chosen, supply)
        chosen |= dark
        count = int(chosen.sum())
        if 2 * count > len(chosen):
            return None
        _take_in_ends(network, chosen)
        if int(chosen.sum()) == count:
            return chosen, label  # whole parts beyond were taken in, so that the others are what they were
    return None


def _take_in_ends(network: Network, chosen: Flags) -> None:
    """Take in both ends of closed valves and of sensing lines, and all attachments of a customer."""
    pieces, customers = network.pieces, network.customers
    shut = np.flatnonzero(~pieces.is_open)
    beside = shut[chosen[pieces.from_node[shut]] | chosen[pieces.to_node[shut]]]
    chosen[pieces.from_node[beside]] = True
    chosen[pieces.to_node[beside]] = True
    _take_in_sensing(network, chosen)
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    within = np.bincount(owner, weights=chosen[customers.attach_node], minlength=len(customers)) > 0
    chosen[customers.attach_node[within[owner]]] = True


def _take_in_sensing(network: Network, chosen: Flags) -> None:
    """Take in what lies between a station and the place it senses at, where one of them is within."""
    stations, nodes = network.stations, network.nodes
    pairs = {*zip(stations.node.tolist(), stations.sensing_node.tolist(), strict=True)}
    station = network.sensing.station
    known = np.flatnonzero((station >= 0) & (network.sensing.node >= 0))
    pairs |= {*zip(stations.node[station[known]].tolist(), network.sensing.node[known].tolist(), strict=True)}
    for outlet, point in sorted(pair for pair in pairs if min(pair) >= 0):
        if chosen[outlet] != chosen[point]:
            x, y = nodes.x_m[[outlet, point]], nodes.y_m[[outlet, point]]
            margin = _BESIDE_M + 0.5 * float(np.hypot(np.ptp(x), np.ptp(y)))
            chosen |= (np.abs(nodes.x_m - x.mean()) <= margin) & (np.abs(nodes.y_m - y.mean()) <= margin)


def _beyond(network: Network, chosen: Flags, supply: Flags) -> tuple[NDArray[np.int32], Flags]:
    """Return the part beyond of each node over open pieces, and the nodes that are fed from within alone."""
    pieces = network.pieces
    inner, other = chosen[pieces.from_node], chosen[pieces.to_node]
    outer = pieces.is_open & ~inner & ~other
    ends = (pieces.from_node[outer], pieces.to_node[outer])
    count = len(chosen)
    graph = coo_array((np.ones(len(ends[0]), np.int8), ends), shape=(count, count))
    label = np.asarray(connected_components(graph, directed=False)[1], dtype=np.int32)
    crossing = np.flatnonzero(pieces.is_open & (inner != other))
    at = np.where(inner[crossing], pieces.to_node[crossing], pieces.from_node[crossing])
    is_dark = np.zeros(int(label.max(initial=-1)) + 1, dtype=bool)
    is_dark[label[at]] = True
    is_dark[label[supply & ~chosen]] = False
    return label, is_dark[label] & ~chosen


def _cut_out(
    network: Network, chosen: Flags, label: NDArray[np.int32], box_m: tuple[float, float, float, float]
) -> Vicinity:
    pieces, customers = network.pieces, network.customers
    part, rows = extract(network, chosen)
    inner = chosen[pieces.from_node]
    crossing = np.flatnonzero(pieces.is_open & (inner != chosen[pieces.to_node]))
    outward = inner[crossing]
    within = np.where(outward, pieces.from_node[crossing], pieces.to_node[crossing])
    outside = np.where(outward, pieces.to_node[crossing], pieces.from_node[crossing])
    touched, beyond = np.unique(label[outside], return_inverse=True)
    number = np.full(int(label.max(initial=-1)) + 1, -1, dtype=np.int64)
    number[touched] = np.arange(len(touched))
    of_node = np.where(chosen, -1, number[label])
    node = np.searchsorted(rows.node, within)
    # Of several attachments the last one that is fed counts, as where customers are told who feeds them.
    is_fed = np.zeros(len(number), dtype=bool)
    is_fed[label[station_nodes(network, injections=True)]] = True
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    counts = is_fed[label[at]] & ~chosen[at]
    of_customer = np.full(len(customers), -1, dtype=np.int64)
    of_customer[owner[counts]] = of_node[at[counts]]
    return Vicinity(
        network=replace(
            part,
            findings=network.findings,
            base=network.base,
            beyond=_beyond_table(network, chosen, of_node, node, beyond.reshape(-1)),
        ),
        rows=rows,
        rim_piece=crossing,
        rim_sign=np.where(outward, 1.0, -1.0),
        customer_beyond=of_customer,
        box_m=box_m,
    )


def _beyond_table(network: Network, chosen: Flags, of_node: Ints, node: Ints, beyond: Ints) -> Beyond:
    stations = network.stations
    out = np.flatnonzero((stations.node >= 0) & ~chosen[stations.node])
    most, outlet = stations.max_outlet_pa_gauge[out], stations.outlet_pa_gauge[out]
    fault = np.fmax(most, outlet)
    part, system = of_node[stations.node[out]], network.nodes.system[stations.node[out]]
    on_part = part >= 0
    count = int(beyond.max(initial=-1)) + 1
    missing = np.zeros(count, dtype=bool)
    missing[part[on_part & np.isnan(most)]] = True
    return Beyond(
        node=node.astype(np.int32),
        part=beyond.astype(np.int32),
        fault_pa_gauge=_greatest(part[on_part], fault[on_part], count),
        fault_is_missing=missing,
        system_outlet_pa_gauge=_greatest(system, outlet, len(network.systems)),
        system_fault_pa_gauge=_greatest(system, fault, len(network.systems)),
    )


def _greatest(group: NDArray[np.integer], values: Floats, count: int) -> Floats:
    greatest = np.full(count, np.nan)
    np.fmax.at(greatest, group, values)
    return greatest
