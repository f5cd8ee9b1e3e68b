"""Joints that may be missing: ends that nearly meet, and mains that cross."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from netplan.findings import Severity
from netplan.network.checks.shapes import ids_of_mains, main_ends, mains_as_lines, meeting_mains
from netplan.network.joining import SNAP_M
from netplan.network.model import Network
from netplan.network.notes import Notes

__all__ = ["check_crossings", "check_near_misses"]

NEAR_M: Final = 2.0
"""A main that ends this near to another one, and does not reach it, is doubtful [m]."""


def check_near_misses(network: Network, notes: Notes) -> None:
    """Notice mains that end on nothing between the snap distance and 2 m from another main."""
    pipes, nodes = network.pipes, network.nodes
    ends = main_ends(network)
    loose = (meeting_mains(network) == 1)[ends]
    loose[ends[:, 0] == ends[:, 1]] = False
    row, side = np.nonzero(loose)
    if not len(row):
        return
    node = ends[row, side]
    xy = np.column_stack([nodes.x_m[node], nodes.y_m[node]])
    points = np.asarray(shapely.points(xy), dtype=object)
    lines = mains_as_lines(network)
    end, near = shapely.STRtree(lines).query(points, predicate="dwithin", distance=NEAR_M)
    keep = (near != row[end]) & (pipes.system[near] == pipes.system[row[end]])
    end, near = end[keep], near[keep]
    gap = shapely.distance(points[end], lines[near])
    far = gap > SNAP_M
    end, near, gap = end[far], near[far], gap[far]
    order = np.lexsort([near, gap, end])
    first = np.ones(len(order), dtype=bool)
    first[1:] = end[order][1:] != end[order][:-1]
    chosen = order[first]
    ids = ids_of_mains(network)
    names = ids.take(row[end[chosen]])
    where = xy[end[chosen]]
    notes.add_each(
        "near-miss",
        "mains",
        names,
        np.arange(len(chosen)),
        Severity.WARNING,
        lambda at: f"ends {gap[chosen[at]]:.2f} m from main {ids[near[chosen[at]]]} without reaching it",
        "draw it up to the joint, or leave it if there is none",
        where,
    )


def check_crossings(network: Network, notes: Notes) -> None:
    """Notice mains of one system that cross without a joint."""
    pipes, pieces = network.pipes, network.pieces
    lines = mains_as_lines(network)
    one, other = shapely.STRtree(lines).query(lines, predicate="crosses")
    keep = (one < other) & (pipes.system[one] == pipes.system[other])
    one, other = one[keep], other[keep]
    if not len(one):
        return
    meet = shapely.intersection(lines[one], lines[other])
    places, which = shapely.get_coordinates(meet, return_index=True)
    ends = np.concatenate([pieces.from_node, pieces.to_node])
    node = np.unique(ends[np.concatenate([pieces.pipe, pieces.pipe]) < pipes.n_mains])
    joints = np.asarray(shapely.points(network.nodes.x_m[node], network.nodes.y_m[node]), dtype=object)
    points = np.asarray(shapely.points(places), dtype=object)
    at, _ = shapely.STRtree(joints).query(points, predicate="dwithin", distance=SNAP_M)
    open_crossing = np.ones(len(points), dtype=bool)
    open_crossing[at] = False
    rows = np.flatnonzero(open_crossing)
    ids = ids_of_mains(network)
    notes.add_each(
        "crossing",
        "mains",
        ids.take(one[which]),
        rows,
        Severity.NOTE,
        lambda row: f"crosses main {ids[other[which[row]]]} without a joint",
        "split both mains there if they are joined",
        places,
    )
