"""Services: the main that one hangs on, and everything that hangs on it."""

from __future__ import annotations

import numpy as np
import shapely

from netplan.core.arrays import Flags, Ints
from netplan.network.model import Network
from netplan.network.pipe_joining import POINT_REACH_M

__all__ = ["curb_valve_of", "main_of_service", "nodes_of_service"]


def nodes_of_service(network: Network, pipe: int) -> tuple[Ints, Ints]:
    """Return the nodes of a service with all services joined to it but not through a main.

    Parameters
    ----------
    network : Network
    pipe : int
        Row of the service in `Network.pipes`.

    Returns
    -------
    inside : int array
        Nodes that lie on no main, ascending.
    on_main : int array
        Nodes where they hang on mains, ascending.
    """
    pieces = network.pieces
    is_main = pieces.pipe < network.pipes.n_mains
    on_main = np.zeros(len(network.nodes), dtype=np.bool_)
    on_main[pieces.from_node[is_main]] = on_main[pieces.to_node[is_main]] = True
    services = np.flatnonzero(~is_main)
    ends = np.column_stack([pieces.from_node[services], pieces.to_node[services]])
    own = np.array(pieces.rows_of(pipe))
    met: Flags = np.zeros(len(network.nodes), dtype=np.bool_)
    frontier = np.unique(np.concatenate([pieces.from_node[own], pieces.to_node[own]]))
    met[frontier] = True
    while len(frontier := frontier[~on_main[frontier]]):
        touching = ends[np.isin(ends, frontier).any(axis=1)].ravel()
        frontier = np.unique(touching[~met[touching]])
        met[frontier] = True
    nodes = np.flatnonzero(met)
    return nodes[~on_main[nodes]], nodes[on_main[nodes]]


def main_of_service(network: Network, pipe: int) -> tuple[tuple[int, float], ...]:
    """Return the mains that a service hangs on, as rows with the chainage there [m]; nearest row first.

    Where mains meet at that place the one of the lowest row stands for all.
    """
    pieces = network.pieces
    _, on_main = nodes_of_service(network, pipe)
    found = []
    for node in on_main.tolist():
        touching = np.flatnonzero((pieces.from_node == node) | (pieces.to_node == node))
        touching = touching[pieces.pipe[touching] < network.pipes.n_mains]
        row = int(touching[0])
        at_m = pieces.from_m[row] if pieces.from_node[row] == node else pieces.to_m[row]
        found.append((int(pieces.pipe[row]), float(at_m)))
    return tuple(sorted(found))


def curb_valve_of(network: Network, pipe: int) -> int:
    """Return the valve on a service that lies nearest to its main; -1 without one.

    Parameters
    ----------
    network : Network
    pipe : int
        Row of the service. A valve on record on no main belongs to the service that it lies on.
    """
    valves, pipes = network.valves, network.pipes
    rows = np.flatnonzero((valves.pipe < 0) & np.isfinite(valves.x_m) & np.isfinite(valves.y_m))
    if not len(rows):
        return -1
    line = shapely.LineString(pipes.coords_m[pipes.coord_start[pipe] : pipes.coord_start[pipe + 1]])
    points = np.asarray(shapely.points(valves.x_m[rows], valves.y_m[rows]), dtype=object)
    on_it = shapely.distance(points, line) <= POINT_REACH_M * network.scale
    if not on_it.any():
        return -1
    at_m = shapely.line_locate_point(line, points[on_it]) / network.scale
    length_m = float(pipes.length_m[pipe])
    begins_at_main = _begins_at_main(network, pipe)
    return int(rows[on_it][np.argmin(at_m if begins_at_main else length_m - at_m)])


def _begins_at_main(network: Network, pipe: int) -> bool:
    pieces = network.pieces
    first = int(pieces.from_node[pieces.rows_of(pipe)[0]])
    return first in nodes_of_service(network, pipe)[1]
