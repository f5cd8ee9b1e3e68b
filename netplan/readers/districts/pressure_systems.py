"""Pressure systems over district borders: connected parts of one district, and which of two are one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints, Ints32
from netplan.graph.connected_components import component_labels
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.topology import components
from netplan.readers.districts.foreign_features import ForeignFeatures, is_of
from netplan.readers.districts.id_tables import Hashes, hashes_of

__all__ = ["LocalParts", "PressureSystems", "joined_systems", "local_parts", "ties_of"]

_BESIDE_M: Final = 0.005
"""How far from a node a piece is named by a chainage on it (own) [m]."""
_SERVICES: Final = np.uint64(0x5E11CE5)
"""Tells the hashes of services from those of mains (own)."""


@dataclass(frozen=True, slots=True, eq=False)
class LocalParts:
    """The connected parts of one district, as far as a feature of its own touches them.

    Parameters
    ----------
    count : int
        How many there are.
    pipes, customers, stations : int arrays, shape (count,)
        Features of the district in each; a pipe with a closed valve counts in both.
    main_hash, main_part : arrays
        Mains of the district and the parts they lie in.
    here_hash, here_from_m, here_to_m, here_part : arrays
        Pieces of the district's own pipes that lie near another district.
    there_hash, there_at_m, there_part : arrays
        Places on pipes of other districts that touch a feature of this one, and the part they belong to.
    by_valve, by_others : int arrays, shape (n, 2)
        Parts on both sides of a closed valve; parts that share a customer or a sensing line.
    """

    count: int
    pipes: Ints
    customers: Ints
    stations: Ints
    main_hash: Hashes
    main_part: Ints32
    here_hash: Hashes
    here_from_m: Floats
    here_to_m: Floats
    here_part: Ints32
    there_hash: Hashes
    there_at_m: Floats
    there_part: Ints32
    by_valve: Ints
    by_others: Ints


@dataclass(frozen=True, slots=True, eq=False)
class PressureSystems:
    """The pressure systems of a source, one row for each district that holds some of one.

    Parameters
    ----------
    of_part : sequence of int32 arrays
        System of each local part of each district.
    system, district, pipes, customers, stations : int arrays
    by_valve, by_others : int arrays, shape (n, 2)
        Systems on both sides of a closed valve; systems that share a customer or a sensing line.
    """

    of_part: Sequence[Ints32]
    system: Ints
    district: Ints
    pipes: Ints
    customers: Ints
    stations: Ints
    by_valve: Ints
    by_others: Ints


def ties_of(network: Network, part: NDArray[np.int32]) -> tuple[Ints, Ints]:
    """Return pairs of connected parts: on both sides of closed valves, and by a customer or a sensing line.

    Parameters
    ----------
    network : Network
    part : int32 array, shape (nodes,)

    Returns
    -------
    by_valve, by_others : int arrays, shape (n, 2)
    """
    pieces, customers = network.pieces, network.customers
    shut = np.flatnonzero(~pieces.is_open)
    by_valve = part[np.column_stack([pieces.from_node[shut], pieces.to_node[shut]])]
    at, start = customers.attach_node, customers.attach_start
    several = np.flatnonzero(np.diff(start) > 1)
    pairs = [
        (part[at[start[row]]], part[node])
        for row in several.tolist()
        for node in at[start[row] + 1 : start[row + 1]].tolist()
    ]
    sensing = network.sensing
    known = np.flatnonzero((sensing.station >= 0) & (sensing.node >= 0))
    outlet = network.stations.node[sensing.station[known]]
    placed = outlet >= 0
    lines = np.column_stack([part[outlet[placed]], part[sensing.node[known][placed]]])
    by_others = np.concatenate([np.array(pairs, dtype=np.int64).reshape(-1, 2), lines.astype(np.int64)])
    return _apart(by_valve.astype(np.int64)), _apart(by_others)


def _apart(pairs: Ints) -> Ints:
    return np.unique(np.sort(pairs[pairs[:, 0] != pairs[:, 1]], axis=1), axis=0)


def local_parts(network: Network, foreign: ForeignFeatures, border: dict[str, object]) -> LocalParts:
    """Return the connected parts of a district that was joined together with the strips beside it.

    Parameters
    ----------
    network : Network
        Lengths as planar ones, so that chainages of one pipe agree whatever is read with it.
    foreign : ForeignFeatures
    border : dict
        Ids of the district's own mains and services that lie near another district (Arrow text arrays).
    """
    pieces, pipes, part = network.pieces, network.pipes, components(network)
    touched = foreign.own_node.copy()
    valve = np.flatnonzero(pieces.valve >= 0)
    ends = np.column_stack([pieces.from_node[valve], pieces.to_node[valve]])
    touched[ends[touched[ends].any(axis=1)]] = True
    number = np.full(int(part.max(initial=-1)) + 1, -1, dtype=np.int64)
    own = np.unique(part[touched])
    number[own] = np.arange(len(own))
    hashes = _pipe_hashes(network)
    length = pieces.to_m - pieces.from_m
    is_long = length > 0
    of_piece = number[part[pieces.from_node]]
    is_own = ~foreign.pipe[pieces.pipe]
    near = _near_border(network, border)[pieces.pipe] & is_own & is_long
    there_hash, there_at, there_part = [], [], []
    for node, at in (
        (pieces.from_node, pieces.from_m + np.minimum(_BESIDE_M, length / 2)),
        (pieces.to_node, pieces.to_m - np.minimum(_BESIDE_M, length / 2)),
    ):
        rows = np.flatnonzero(~is_own & is_long & touched[node])
        there_hash.append(hashes[pieces.pipe[rows]])
        there_at.append(at[rows])
        there_part.append(number[part[node[rows]]])
    pairs = np.unique(np.column_stack([pieces.pipe, of_piece])[is_own & is_long], axis=0)
    mains = pairs[pairs[:, 0] < pipes.n_mains]
    by_valve, by_others = ties_of(network, part)
    return LocalParts(
        count=len(own),
        pipes=np.bincount(pairs[:, 1], minlength=len(own)),
        customers=_counted(network, number[part], ~foreign.customer, len(own)),
        stations=_at_nodes(number[part], network.stations.node[~foreign.station], len(own)),
        main_hash=hashes[mains[:, 0]],
        main_part=mains[:, 1].astype(np.int32),
        here_hash=hashes[pieces.pipe[near]],
        here_from_m=pieces.from_m[near],
        here_to_m=pieces.to_m[near],
        here_part=of_piece[near].astype(np.int32),
        there_hash=np.concatenate(there_hash),
        there_at_m=np.concatenate(there_at),
        there_part=np.concatenate(there_part).astype(np.int32),
        by_valve=_known(number[by_valve]),
        by_others=_known(number[by_others]),
    )


def _known(pairs: Ints) -> Ints:
    return pairs[(pairs >= 0).all(axis=1)]


def _pipe_hashes(network: Network) -> Hashes:
    hashes = hashes_of(network.pipes.id.arrow)
    hashes[network.pipes.n_mains :] ^= _SERVICES
    return hashes


def _near_border(network: Network, border: dict[str, object]) -> Flags:
    ids, n = network.pipes.id.arrow, network.pipes.n_mains
    return np.concatenate(
        [
            is_of(TextColumn(ids.slice(0, n)), border.get("mains")),
            is_of(TextColumn(ids.slice(n)), border.get("services")),
        ]
    )


def _counted(network: Network, part: Ints, is_own: Flags, count: int) -> Ints:
    customers = network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    pairs = np.unique(np.column_stack([owner, part[customers.attach_node]])[is_own[owner]], axis=0)
    return np.bincount(pairs[pairs[:, 1] >= 0, 1], minlength=count)


def _at_nodes(part: Ints, node: NDArray[np.int32], count: int) -> Ints:
    found = part[node[node >= 0]]
    return np.bincount(found[found >= 0], minlength=count)


def joined_systems(parts: Sequence[LocalParts]) -> PressureSystems:
    """Join the parts of all districts where a pipe of one is touched by a feature of another."""
    start = np.concatenate([[0], np.cumsum([part.count for part in parts])]).astype(np.int64)

    def every(name: str) -> Ints:
        return np.concatenate(
            [start[row] + getattr(part, name).astype(np.int64) for row, part in enumerate(parts)]
        )

    here = np.concatenate([part.here_hash for part in parts])
    there = np.concatenate([part.there_hash for part in parts])
    names, rank = np.unique(here, return_inverse=True)
    longest = 1.0 + max((float(part.here_to_m.max(initial=0.0)) for part in parts), default=0.0)
    key = rank * longest + np.concatenate([part.here_from_m for part in parts])
    order = np.argsort(key, kind="stable")
    place = np.searchsorted(names, there)
    is_known = (place < len(names)) & (names[np.minimum(place, max(len(names) - 1, 0))] == there)
    at = np.concatenate([part.there_at_m for part in parts])[is_known]
    found = np.searchsorted(key[order], place[is_known] * longest + at, side="right") - 1
    found = order[np.maximum(found, 0)]
    label, _ = component_labels(int(start[-1]), every("there_part")[is_known], every("here_part")[found])
    of_part = [label[low:high] for low, high in pairwise(start.tolist())]
    district = np.repeat(np.arange(len(parts)), np.diff(start))
    pairs, row = np.unique(np.column_stack([label, district]), axis=0, return_inverse=True)

    def summed(name: str) -> Ints:
        values = np.concatenate([getattr(part, name) for part in parts])
        return np.bincount(row, weights=values, minlength=len(pairs)).astype(np.int64)

    def tied(name: str) -> Ints:
        held = [start[row] + getattr(part, name) for row, part in enumerate(parts)]
        return _apart(label[np.concatenate(held).astype(np.int64).reshape(-1, 2)].astype(np.int64))

    return PressureSystems(
        of_part=of_part,
        system=pairs[:, 0],
        district=pairs[:, 1],
        pipes=summed("pipes"),
        customers=summed("customers"),
        stations=summed("stations"),
        by_valve=tied("by_valve"),
        by_others=tied("by_others"),
    )
