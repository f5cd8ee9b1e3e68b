"""What is cut off from what once the stops of a zone are in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags, Ints32
from netplan.demand import DiversityGroups
from netplan.network.model import Network
from netplan.network.subnetwork import merged_parts
from netplan.network.topology import components, components_without, station_nodes

__all__ = ["CutConnectivity", "part_of_customers", "reach_after"]


NO_PART = -1
GONE = -2
"""Group of the customers that are off."""


@dataclass(frozen=True, slots=True, eq=False)
class CutConnectivity:
    """Where every node and customer is after the stops.

    Parameters
    ----------
    part : int32 array, shape (nodes,)
        Connected part of each node over what is still open; zone nodes are parts of their own.
    in_zone, fed : bool arrays, shape (nodes,)
        Inside the isolated zone; joined to a regulator station or an injection.
    closed : bool array, shape (pieces,)
        Pieces that carry no gas: stopped, inside the zone, or closed valves.
    isolated, stranded : bool arrays, shape (customers,)
        Any attachment in the zone; else any attachment that loses its stations and injections. A customer
        with several attachments is on every list that could be right; one that nothing fed before any stop is
        on none.
    customer_part : int32 array, shape (customers,)
        Stranded part of a stranded customer, else the fed part; NO_PART for none.
    beyond_part : int32 array, shape (parts beyond the boundary,)
        Part that each of them belongs to; empty for a whole network.
    """

    part: Ints32
    in_zone: Flags
    fed: Flags
    closed: Flags
    isolated: Flags
    stranded: Flags
    customer_part: Ints32
    beyond_part: Ints32

    def groups(self, gone: Flags) -> DiversityGroups:
        """Return with whom each customer shares uplift and diversity: those of its part that are on.

        Smaller groups peak higher, so that those who stay count without the ones that are off.
        """
        part = np.where(gone, GONE, self.customer_part).astype(np.int64)
        return DiversityGroups(part, self.beyond_part.astype(np.int64))


def part_of_customers(network: Network, part: Ints32, fed: Flags, loses: Flags | None = None) -> Ints32:
    """Return the part that each customer counts in; NO_PART for one on no pipe.

    Of several attachments the last one that loses its gas counts, else the last that is fed.

    Parameters
    ----------
    network : Network
    part : int32 array, shape (nodes,)
    fed : bool array, shape (nodes,)
    loses : bool array, shape (attachments,), optional
        None by default.
    """
    customers, at = network.customers, network.customers.attach_node
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    found = np.full(len(customers), NO_PART, np.int32)
    for rows in (~fed[at], fed[at], np.zeros(len(at), bool) if loses is None else loses):
        found[owner[rows]] = part[at[rows]]
    return found


def reach_after(
    network: Network,
    closed_pieces: Ints32,
    zone_nodes: Ints32,
    opened_pieces: Ints32 | None = None,
    *,
    fed_before: Flags | None = None,
) -> CutConnectivity:
    """Classify nodes and customers after closing pieces.

    Parameters
    ----------
    network : Network
    closed_pieces : int array
        Pieces stopped, and pieces inside the zone.
    zone_nodes : int array
        Nodes inside the zone.
    opened_pieces : int array, optional
        Closed valves' pieces that are opened for the work.
    fed_before : bool array, shape (nodes,), optional
        Nodes that were fed before any stop; all by default.
    """
    pieces, customers, count = network.pieces, network.customers, len(network.nodes)
    closed = ~pieces.is_open
    if opened_pieces is not None:
        closed[opened_pieces] = False
    closed[closed_pieces] = True
    part = (
        components_without(network, closed_pieces) if opened_pieces is None else components(network, ~closed)
    )
    beyond_part = np.zeros(0, np.int32)
    if network.beyond is not None:
        part, beyond_part = merged_parts(part, network.beyond)
    in_zone = np.zeros(count, bool)
    in_zone[zone_nodes] = True
    fed_part = np.zeros(int(part.max(initial=-1)) + 1, bool)
    fed_part[part[station_nodes(network, injections=True)]] = True
    fed = fed_part[part] & ~in_zone

    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    isolated = np.zeros(len(customers), bool)
    isolated[owner[in_zone[at]]] = True
    stranded = np.zeros(len(customers), bool)
    loses = ~fed[at] if fed_before is None else fed_before[at] & ~fed[at]
    stranded[owner[loses]] = True
    stranded &= ~isolated
    return CutConnectivity(
        part=part,
        in_zone=in_zone,
        fed=fed,
        closed=closed,
        isolated=isolated,
        stranded=stranded,
        customer_part=part_of_customers(network, part, fed, loses & ~in_zone[at]),
        beyond_part=beyond_part,
    )
