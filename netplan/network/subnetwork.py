"""The subnetwork of the work in a large network, as a network of its own that hangs on what lies beyond.

What is done within it is done in the whole network too, as long as nothing of it is felt at the boundary: gas
that crosses the boundary then flows as before, and every part beyond stays fed from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.connected_components import component_labels
from netplan.network.external_network import ExternalNetwork
from netplan.network.extract import ExtractedRows, extract
from netplan.network.model import Network
from netplan.network.station_pressures import least_mop_of_parts, supply_of_parts
from netplan.network.topology import components, fed_nodes, station_nodes

__all__ = ["BoundaryAffectedError", "Subnetwork", "merged_parts", "subnetwork_of"]

_LOOKED_AT: Final = 2.0
"""How many times as far from the places it is looked who feeds what lies beyond; then all over (own) [-]."""
_BESIDE_M: Final = 100.0
"""What is taken in on every side of a station and the place it senses at (own) [m]."""
_MOST_ROUNDS: Final = 6
"""How often what belongs together is taken in before the subnetwork is given up (own) [-]."""


class BoundaryAffectedError(Exception):
    """Something within a subnetwork would be felt beyond its boundary: a larger one has to be looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Subnetwork:
    """A part of a network and what crosses its boundary.

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
        that the boundary does not touch.
    box_m : tuple of float
        Least and greatest x and y of the square that is held whole, working CRS [m].
    longest_m : float
        Length of the longest piece of the whole network, working CRS [m]: so far one may come into the square
        whose ends lie beyond it.
    """

    network: Network
    rows: ExtractedRows
    rim_piece: Ints
    rim_sign: Floats
    customer_beyond: Ints
    box_m: tuple[float, float, float, float]
    longest_m: float

    def require_within(self, x_m: Floats, y_m: Floats, margin_m: float) -> None:
        """Check that all that lies near some places lies within.

        Raises
        ------
        BoundaryAffectedError
            When a place lies nearer to the edge of the square than `margin_m` and the longest piece.
        """
        margin = margin_m + self.longest_m
        west, south, east, north = self.box_m
        if not (
            (x_m >= west + margin).all()
            and (x_m <= east - margin).all()
            and (y_m >= south + margin).all()
            and (y_m <= north - margin).all()
        ):
            raise BoundaryAffectedError


def subnetwork_of(network: Network, xy_m: Floats, at_least: int) -> Subnetwork | None:
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
    Subnetwork or None
        None where it would take in half of the network or more, or more and more.
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
    found = _together(network, apart <= reach, apart <= _LOOKED_AT * reach)
    if found is None:
        return None
    chosen, of_node = found
    box = (float(low[0] - reach), float(low[1] - reach), float(high[0] + reach), float(high[1] + reach))
    return _cut_out(network, chosen, of_node, box)


def merged_parts(
    part: NDArray[np.int32], beyond: ExternalNetwork
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Make one of the parts that are joined beyond the boundary.

    Parameters
    ----------
    part : int32 array, shape (nodes,)
        Connected part of each node within.
    beyond : ExternalNetwork

    Returns
    -------
    part : int32 array, shape (nodes,)
        Parts that are joined to the same part beyond have the number of the first of them.
    of_beyond : int32 array, shape (parts beyond,)
        That number for each part beyond the boundary.
    """
    known = int(part.max(initial=-1)) + 1
    outer = int(beyond.part.max(initial=-1)) + 1
    joined, _ = component_labels(known + outer, part[beyond.node], known + beyond.part)
    first = np.full(int(joined.max(initial=-1)) + 1, known + outer, dtype=np.int32)
    np.minimum.at(first, joined, np.arange(known + outer, dtype=np.int32))
    number = first[joined]
    return number[:known][part], number[known:]


def _together(network: Network, chosen: Flags, looked_at: Flags) -> tuple[Flags, Ints] | None:
    """Take in what cannot be parted from some nodes; return all, and the part beyond of each other node."""
    supply = np.zeros(len(network.nodes), dtype=bool)
    supply[station_nodes(network, injections=True)] = True
    _take_in_ends(network, chosen)
    for _ in range(_MOST_ROUNDS):
        beyond = _beyond(network, chosen, supply, looked_at)
        if beyond is None:
            beyond = _beyond(network, chosen, supply, np.ones_like(chosen))
        if beyond is None:
            return None
        chosen[beyond.dark()] = True
        count = int(chosen.sum())
        if 2 * count > len(chosen):
            return None
        _take_in_ends(network, chosen)
        if int(chosen.sum()) == count:
            # Whole parts beyond were taken in, so that the others are what they were.
            return chosen, beyond.numbers(network, chosen)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Parts beyond some nodes, over open pieces, as far as was looked.

    Parameters
    ----------
    row : int array
        Nodes that were looked at.
    label : int array
        Part of each of them.
    beside, fed, goes_on : bool arrays, shape (parts,)
        Joined to the nodes; fed by a supply that was looked at; joined to what was not looked at.
    """

    row: Ints
    label: Ints
    beside: Flags
    fed: Flags
    goes_on: Flags

    def dark(self) -> Ints:
        """Return the nodes that are fed by way of the chosen ones alone."""
        return self.row[(self.beside & ~self.fed)[self.label]]

    def numbers(self, network: Network, chosen: Flags) -> Ints:
        """Return the number, from 0, of the part beyond that each node is in; -1 for all others."""
        number = np.full(len(self.beside), -1, dtype=np.int64)
        known = np.flatnonzero(self.beside & self.fed)
        number[known] = np.arange(len(known))
        of_node = np.full(len(chosen), -1, dtype=np.int64)
        for part in known[self.goes_on[known]].tolist():
            # The only one of its part of the network that goes on: so all the rest of that belongs to it.
            joined = components(network)
            of_node[joined == joined[self.row[self.label == part][0]]] = number[part]
        ends_here = ~self.goes_on[self.label]
        of_node[self.row[ends_here]] = number[self.label[ends_here]]
        of_node[chosen] = -1
        return of_node


def _beyond(network: Network, chosen: Flags, supply: Flags, looked_at: Flags) -> _Parts | None:
    """Return the parts beyond some nodes by what lies near; None where that does not tell them apart."""
    pieces, row = network.pieces, np.flatnonzero(looked_at & ~chosen)
    place = np.full(len(chosen), -1, dtype=np.int32)
    place[row] = np.arange(len(row), dtype=np.int32)
    near = np.flatnonzero(pieces.is_open & ((place[pieces.from_node] >= 0) | (place[pieces.to_node] >= 0)))
    one, other = pieces.from_node[near], pieces.to_node[near]
    a, b = place[one], place[other]
    both = (a >= 0) & (b >= 0)
    label, count = component_labels(len(row), a[both], b[both])
    beside, fed, goes_on = (np.zeros(int(count), dtype=bool) for _ in range(3))
    single = np.flatnonzero(~both)
    here = np.where(a[single] >= 0, a[single], b[single])
    there = np.where(a[single] >= 0, other[single], one[single])
    beside[label[here[chosen[there]]]] = True
    goes_on[label[here[~chosen[there]]]] = True
    fed[label[place[row[supply[row]]]]] = True
    crossing = pieces.is_open & (chosen[pieces.from_node] != chosen[pieces.to_node])
    out = crossing & (np.where(chosen[pieces.from_node], place[pieces.to_node], place[pieces.from_node]) < 0)
    known = np.flatnonzero(beside & fed & goes_on)
    first = np.full(int(count), -1, dtype=np.int64)
    first[label[::-1]] = row[::-1]
    whole = components(network)[first[known]] if len(known) else np.zeros(0, dtype=np.int32)
    if out.any() or (beside & ~fed & goes_on).any() or len(np.unique(whole)) < len(whole):
        return None
    return _Parts(row, label.astype(np.int64), beside, fed, goes_on)


def _cut_out(
    network: Network, chosen: Flags, of_node: Ints, box_m: tuple[float, float, float, float]
) -> Subnetwork:
    pieces, customers = network.pieces, network.customers
    part, rows = extract(network, chosen)
    inner = chosen[pieces.from_node]
    crossing = np.flatnonzero(pieces.is_open & (inner != chosen[pieces.to_node]))
    outward = inner[crossing]
    within = np.where(outward, pieces.from_node[crossing], pieces.to_node[crossing])
    outside = np.where(outward, pieces.to_node[crossing], pieces.from_node[crossing])
    node, beyond = np.searchsorted(rows.node, within), of_node[outside]
    # Of several attachments the last one that is fed counts, as where customers are told who feeds them.
    fed = fed_nodes(network, injections=True)
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    counts = fed[at] & ~chosen[at]
    of_customer = np.full(len(customers), -1, dtype=np.int64)
    of_customer[owner[counts]] = of_node[at[counts]]
    return Subnetwork(
        network=replace(
            part,
            findings=network.findings,
            base=network.base,
            beyond=_beyond_table(network, chosen, of_node, node, beyond),
        ),
        rows=rows,
        rim_piece=crossing,
        rim_sign=np.where(outward, 1.0, -1.0),
        customer_beyond=of_customer,
        box_m=box_m,
        longest_m=float((pieces.to_m - pieces.from_m).max(initial=0.0)) * network.scale,
    )


def _beyond_table(
    network: Network, chosen: Flags, of_node: Ints, node: Ints, beyond: Ints
) -> ExternalNetwork:
    stations = network.stations
    out = (stations.node >= 0) & ~chosen[stations.node]
    count = int(beyond.max(initial=-1)) + 1
    # One part more for what lies elsewhere: nodes within, and parts that the boundary does not touch.
    number = np.where(of_node < 0, count, of_node)
    at = np.where(out, stations.node, -1).astype(stations.node.dtype)
    outside = replace(network, stations=replace(stations, node=at), beyond=None)
    supply = supply_of_parts(outside, number, count + 1)
    system = network.nodes.system[stations.node[out]]
    outlet = np.full(len(network.systems), np.nan)
    np.fmax.at(outlet, system, stations.outlet_pa_gauge[out])
    return ExternalNetwork(
        node=node.astype(np.int32),
        part=beyond.astype(np.int32),
        fault_pa_gauge=supply.fault_pa_gauge[:count],
        fault_is_missing=supply.fault_is_missing[:count],
        outlet_low_pa_gauge=supply.outlet_low_pa_gauge[:count],
        outlet_high_pa_gauge=supply.outlet_high_pa_gauge[:count],
        least_mop_pa_gauge=least_mop_of_parts(outside, number, count + 1)[:count],
        system_outlet_pa_gauge=outlet,
    )
