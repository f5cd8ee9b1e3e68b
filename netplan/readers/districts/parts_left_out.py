"""Connected parts that go on in districts that were not read, and what is kept of them: where they lie."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.network.model import Network
from netplan.network.unread_districts import UnreadDistricts
from netplan.readers.districts.district_index import DistrictIndex
from netplan.readers.districts.pressure_systems import ties_of

__all__ = ["LeftOut", "systems_of_parts", "with_ties"]


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """Parts of a joined network that are left out.

    Parameters
    ----------
    left_out : bool array, shape (nodes,)
    part : int32 array, shape (nodes,)
        Connected part of each node.
    of_part : mapping of int to set of int
        Pressure systems of the index by part, from `systems_of_parts`.
    near, far : int32 arrays
        Nodes on both sides of the closed valves that lead there.
    """

    left_out: Flags
    part: NDArray[np.int32]
    of_part: Mapping[int, set[int]]
    near: NDArray[np.int32]
    far: NDArray[np.int32]

    def unread(
        self, network: Network, district: Ints, box_m: Floats, outlets: Mapping[str, float]
    ) -> UnreadDistricts:
        """Return what was not read: these parts, and districts with their boxes in the working CRS [m]."""
        pieces, nodes = network.pieces, network.nodes
        mains = np.flatnonzero(
            (pieces.pipe < network.pipes.n_mains)
            & self.left_out[pieces.from_node]
            & self.left_out[pieces.to_node]
        )
        node = np.unique(np.concatenate([pieces.from_node[mains], pieces.to_node[mains]]))
        at, system = _of_each(self.part[node], self.of_part)
        node = node[at]
        valve, valve_system = _of_each(self.part[self.far], self.of_part)
        return UnreadDistricts(
            district=district,
            box_m=box_m,
            xy_m=np.column_stack([nodes.x_m[node], nodes.y_m[node]]),
            system=system,
            longest_m=float((pieces.to_m - pieces.from_m)[mains].max(initial=0.0)) * network.scale,
            valve_node=self.near[valve].astype(np.int64),
            valve_far=self.far[valve].astype(np.int64),
            valve_system=valve_system,
            system_outlet_pa_gauge=np.array([outlets.get(name, np.nan) for name in network.systems]),
        )


def systems_of_parts(network: Network, part: NDArray[np.int32], index: DistrictIndex) -> dict[int, set[int]]:
    """Return the systems of the index that one main of each connected part names."""
    pieces = network.pieces
    rows = np.flatnonzero((pieces.pipe < network.pipes.n_mains) & (pieces.to_m > pieces.from_m))
    # A main in several parts is in several systems: of each part a main that is in no other one, if any.
    pairs = np.unique(np.column_stack([part[pieces.from_node[rows]], pieces.pipe[rows]]), axis=0)
    shared = np.bincount(pairs[:, 1], minlength=network.pipes.n_mains)[pairs[:, 1]]
    pairs = pairs[np.lexsort((pairs[:, 1], shared, pairs[:, 0]))]
    first = np.flatnonzero(np.diff(pairs[:, 0], prepend=-1) != 0)
    row, _, system = index.table("mains").find_each(network.pipes.id.take(pairs[first, 1]).arrow)
    found: dict[int, set[int]] = {}
    for number, one in zip(pairs[first[row], 0].tolist(), system.tolist(), strict=True):
        found.setdefault(number, set()).add(one)
    return found


def with_ties(network: Network, part: NDArray[np.int32], some: Flags) -> Flags:
    """Return some connected parts with all that share a customer or a sensing line with one of them."""
    _, by_others = ties_of(network, part)
    found = some.copy()
    while True:
        hit = found[by_others].any(axis=1)
        if found[by_others[hit]].all():
            return found
        found[by_others[hit]] = True


def _of_each(part: NDArray[np.int32], of_part: Mapping[int, set[int]]) -> tuple[Ints, Ints]:
    """Return places and systems of the parts at them: a place comes once for each system of its part."""
    order = np.argsort(part, kind="stable")
    at, system = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for number, systems in sorted(of_part.items()):
        low, high = (int(np.searchsorted(part[order], number, side=side)) for side in ("left", "right"))
        for one in sorted(systems):
            at.append(order[low:high].astype(np.int64))
            system.append(np.full(high - low, one, dtype=np.int64))
    return np.concatenate(at), np.concatenate(system)
