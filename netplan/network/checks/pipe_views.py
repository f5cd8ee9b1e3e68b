"""Shared views of a network for the checks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Floats
from netplan.network.model import Network
from netplan.network.text_column import TextColumn

__all__ = [
    "ids_of_mains",
    "ids_of_services",
    "main_ends",
    "mains_as_lines",
    "meeting_mains",
    "middle_of",
    "pipe_ends",
    "same_text",
]


def mains_as_lines(network: Network) -> NDArray[np.object_]:
    """Return the mains as shapely lines in the working CRS."""
    pipes = network.pipes
    start = pipes.coord_start[: pipes.n_mains + 1]
    shapes = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, pipes.coords_m[: start[-1]], (start,))
    return np.asarray(shapes, dtype=object)


def middle_of(network: Network) -> Floats:
    """Return a place on each pipe, its middle vertex, for the map [m]."""
    pipes = network.pipes
    middle = (pipes.coord_start[:-1] + pipes.coord_start[1:]) // 2
    return np.asarray(pipes.coords_m[middle])


def ids_of_mains(network: Network) -> TextColumn:
    """Return the ids of the mains."""
    return TextColumn(network.pipes.id.arrow.slice(0, network.pipes.n_mains))


def ids_of_services(network: Network) -> TextColumn:
    """Return the ids of the services."""
    return TextColumn(network.pipes.id.arrow.slice(network.pipes.n_mains))


def main_ends(network: Network) -> NDArray[np.int32]:
    """Return the nodes at both ends of each main, shape (n, 2)."""
    return pipe_ends(network)[: network.pipes.n_mains]


def pipe_ends(network: Network) -> NDArray[np.int32]:
    """Return the nodes at the first and the last vertex of each pipe, shape (n, 2)."""
    pieces, n = network.pieces, len(network.pipes)
    first = np.searchsorted(pieces.pipe, np.arange(n))
    last = np.searchsorted(pieces.pipe, np.arange(n), side="right") - 1
    return np.column_stack([pieces.from_node[first], pieces.to_node[last]])


def meeting_mains(network: Network) -> NDArray[np.int64]:
    """Return how many ends of main pieces meet at each node; 1 is the end of a main on nothing."""
    pieces = network.pieces
    main = pieces.pipe < network.pipes.n_mains
    ends = np.concatenate([pieces.from_node[main], pieces.to_node[main]])
    return np.bincount(ends, minlength=len(network.nodes))


def same_text(column: TextColumn, one: NDArray[Any], other: NDArray[Any]) -> NDArray[np.bool_]:
    """Return where two rows of a text column are equal and not empty."""
    left, right = column.arrow.take(pa.array(one)), column.arrow.take(pa.array(other))
    same = pc.and_(pc.equal(left, right), pc.not_equal(left, ""))
    return np.asarray(same.to_numpy(zero_copy_only=False), dtype=bool)
