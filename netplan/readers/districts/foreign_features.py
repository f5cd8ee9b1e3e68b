"""Which rows of a joined network come from the strips beside the districts that were read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.model import Network
from netplan.network.raw_layers import RawLayer
from netplan.network.text_column import TextColumn

__all__ = ["ForeignFeatures", "foreign_features", "ids_of", "ids_of_all", "is_of", "piece_at"]

_WITH_IDS: Final = ("mains", "services", "customers", "regulators", "valves", "fittings", "injections")


@dataclass(frozen=True, slots=True, eq=False)
class ForeignFeatures:
    """Rows that come from strips, and the nodes that each kind touches.

    Parameters
    ----------
    pipe, customer, station : bool arrays
        Whether each row comes from a strip.
    node : bool array, shape (nodes,)
        Nodes that a feature of a strip ends at, is attached to or lies beside.
    own_node : bool array, shape (nodes,)
        The same for the features of what was read whole.
    """

    pipe: Flags
    customer: Flags
    station: Flags
    node: Flags
    own_node: Flags


def ids_of(layers: Mapping[str, RawLayer]) -> dict[str, Any]:
    """Return the ids of layers as text arrays, by layer."""
    return {
        name: layers[name].columns["id"].combine_chunks().cast(pa.string())
        for name in _WITH_IDS
        if name in layers and "id" in layers[name].columns.column_names
    }


def ids_of_all(some: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the ids of several results of `ids_of` together, by layer."""
    found: dict[str, list[Any]] = {}
    for ids in some:
        for layer, array in ids.items():
            found.setdefault(layer, []).append(array)
    return {layer: pa.concat_arrays(arrays) for layer, arrays in found.items()}


def is_of(column: TextColumn, ids: Any) -> Flags:
    """Return which texts are among some ids, or name a part ``id/2`` of a line of several parts."""
    array = column.arrow
    if ids is None or not len(ids) or not len(array):
        return np.zeros(len(array), dtype=bool)
    found = np.array(pc.is_in(array, value_set=ids).to_numpy(zero_copy_only=False), dtype=bool)
    split = np.asarray(pc.match_substring(array, "/").to_numpy(zero_copy_only=False), dtype=bool) & ~found
    for row in np.flatnonzero(split).tolist():
        found[row] = bool(pc.is_in(pa.scalar(column[row].rpartition("/")[0]), value_set=ids).as_py())
    return found


def piece_at(network: Network, pipe: Ints, chainage_m: Floats) -> Ints:
    """Return the piece of each pipe that a chainage lies on; of two that meet there the later one."""
    pieces = network.pieces
    longest = float(network.pipes.length_m.max(initial=0.0)) + 1.0
    key = pieces.pipe * longest + pieces.from_m
    return np.maximum(np.searchsorted(key, pipe * longest + chainage_m, side="right") - 1, 0)


def foreign_features(network: Network, own: Mapping[str, Any], beside: Mapping[str, Any]) -> ForeignFeatures:
    """Return which rows of a network come from strips.

    Parameters
    ----------
    network : Network
    own, beside : mapping
        Results of `ids_of`: of what was read whole, and of the strips. An id in both is read whole.
    """

    def foreign(layer: str, column: TextColumn) -> Flags:
        return is_of(column, beside.get(layer)) & ~is_of(column, own.get(layer))

    pipes, pieces, customers = network.pipes, network.pieces, network.customers
    n = pipes.n_mains
    ids = pipes.id.arrow
    pipe = np.concatenate(
        [foreign("mains", TextColumn(ids.slice(0, n))), foreign("services", TextColumn(ids.slice(n)))]
    )
    customer, station = foreign("customers", customers.id), foreign("regulators", network.stations.id)
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    injection, valve = foreign("injections", network.injections.id), foreign("valves", network.valves.id)
    fitting = foreign("fittings", network.fittings.id)
    placed = network.fittings.pipe >= 0
    at_fitting = piece_at(
        network, network.fittings.pipe[placed].astype(np.int64), network.fittings.chainage_m[placed]
    )
    on_main = network.valves.piece >= 0

    def touched(is_wanted: bool) -> Flags:
        node = np.zeros(len(network.nodes), dtype=bool)
        rows = [
            np.flatnonzero(pipe[pieces.pipe] == is_wanted),
            at_fitting[fitting[placed] == is_wanted],
            network.valves.piece[on_main & (valve == is_wanted)],
        ]
        for some in rows:
            node[pieces.from_node[some]] = True
            node[pieces.to_node[some]] = True
        node[customers.attach_node[customer[owner] == is_wanted]] = True
        for at, of in ((network.stations.node, station), (network.injections.node, injection)):
            node[at[(at >= 0) & (of == is_wanted)]] = True
        return node

    return ForeignFeatures(pipe, customer, station, touched(is_wanted=True), touched(is_wanted=False))
