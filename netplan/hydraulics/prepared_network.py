"""The network made ready for solving: joined nodes, branches, chains, and the pattern of the core matrix."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.sparse import csc_array

from netplan.core.arrays import Flags, Floats, Ints
from netplan.graph.chains import Chains, find_chains
from netplan.graph.connected_components import component_labels
from netplan.graph.grouping import sum_at
from netplan.graph.pruning import Branches, prune_branches
from netplan.hydraulics.heights import StaticHead, columns, fill_heights, mean_factor
from netplan.hydraulics.pressure_drop import DropLaw, drop_law

__all__ = [
    "CorePattern",
    "Layout",
    "LayoutInput",
    "core_pattern",
    "is_resized",
    "make_layout",
    "resized_layout",
]


_SHORTEST_LOSSY_M = 1e-3

AnyKind = TypeVar("AnyKind", bound=np.generic)


@dataclass(frozen=True, slots=True, eq=False)
class LayoutInput:
    """All that the layout is made from; arrays only."""

    node_count: int
    from_node: Ints
    to_node: Ints
    length_m: Floats
    bore_m: Floats
    roughness_m: Floats
    loss_coefficient: Floats
    is_open: Flags
    height_m: Floats
    datum_m: float
    air_pa_abs: float
    gas_pressure_per_density: float
    air_pressure_per_density: float
    viscosity_pa_s: float
    keep_node: Ints


@dataclass(frozen=True, slots=True, eq=False)
class CorePattern:
    """Where the entries of the core matrix go.

    Parameters
    ----------
    upper : csc_array
        Pattern of the upper triangle.
    across : ndarray of int
        Chains that join two different junctions.
    entry : ndarray of int
        Place in the matrix data of each of those chains.
    diagonal : ndarray of int
        Place in the matrix data of each junction.
    """

    upper: csc_array
    across: Ints
    entry: Ints
    diagonal: Ints

    def values(self, conductance: Floats, start: Ints, end: Ints, fixed: Flags) -> Floats:
        """Return the matrix data: a weighted Laplacian, with a unit row at each fixed junction."""
        size = self.diagonal.size
        g, a, b = conductance[self.across], start[self.across], end[self.across]
        weight = sum_at(a, g, size) + sum_at(b, g, size)
        weight[fixed] = 1.0
        inner = np.where(fixed[a] | fixed[b], 0.0, -g)
        data: Floats = sum_at(self.entry, inner, self.upper.nnz)
        data[self.diagonal] += weight
        return data


@dataclass(frozen=True, slots=True, eq=False)
class LinksOfNoLength:
    """Open links without length and loss: their flows follow from the balance of the nodes they join.

    Parameters
    ----------
    link : ndarray of int, shape (z,)
        Their rows.
    proper : ndarray of bool, shape (z,)
        Those that join two different nodes.
    tree : Branches or None
        The given nodes pruned along the proper ones: where they form no ring, all of them. None without any.
    """

    link: Ints
    proper: Flags
    tree: Branches | None


def _links_of_no_length(given: LayoutInput, zero: Flags) -> LinksOfNoLength:
    link = np.flatnonzero(zero)
    proper = given.from_node[link] != given.to_node[link]
    if not link.size:
        return LinksOfNoLength(link, proper, None)
    a, b = given.from_node[link[proper]], given.to_node[link[proper]]
    return LinksOfNoLength(
        link, proper, prune_branches(given.node_count, a, b, np.zeros(given.node_count, dtype=bool))
    )


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A network ready for solving.

    Parameters
    ----------
    joined : ndarray of int, shape (n,)
        Node that each given node became after open valves joined their ends; all below are such nodes.
    size : int
        Number of joined nodes.
    live : ndarray of int, shape (m,)
        Links that carry gas between two different joined nodes.
    from_node, to_node : ndarray of int, shape (m,)
        Their ends.
    columns : StaticHead
        Gas and air columns at each joined node.
    branches, chains, pattern
        What the network is made of.
    place : ndarray of int, shape (size,)
        Junction number of each joined node, -1 where it is none.
    chain_law, branch_law : DropLaw
        Of the links of chains and of branches.
    height_factor : ndarray of float, shape (m,), or float
        Mean height factor of each live link [-]; one for all on the level.
    no_length : LinksOfNoLength
        The open links that joined nodes.
    """

    joined: Ints
    size: int
    live: Ints
    from_node: Ints
    to_node: Ints
    columns: StaticHead
    branches: Branches
    chains: Chains
    pattern: CorePattern
    place: Ints
    chain_law: DropLaw
    branch_law: DropLaw
    height_factor: Floats | float
    any_joined: bool
    no_length: LinksOfNoLength

    def at_given(self, values: npt.NDArray[AnyKind]) -> npt.NDArray[AnyKind]:
        """Return values of joined nodes for the given ones."""
        return values[self.joined] if self.any_joined else values


def _join(given: LayoutInput) -> tuple[Ints, int, Flags]:
    zero = given.is_open & (given.length_m == 0.0) & (given.loss_coefficient == 0.0)
    if not zero.any():
        return np.arange(given.node_count), given.node_count, zero
    label, count = component_labels(given.node_count, given.from_node[zero], given.to_node[zero])
    return label.astype(np.int64), int(count), zero


def make_layout(given: LayoutInput) -> Layout:
    """Join, prune and contract a network.

    Nodes to keep (`keep_node`: stations and sensing points) always become junctions.
    """
    joined, size, zero = _join(given)
    any_joined = bool(zero.any())
    ends_differ = given.from_node != given.to_node
    if any_joined:
        ends_differ = joined[given.from_node] != joined[given.to_node]
    live = np.flatnonzero(given.is_open & ~zero & ends_differ)
    a, b = given.from_node[live], given.to_node[live]
    if any_joined:
        a, b = joined[a], joined[b]

    height = fill_heights(given.height_m, given.from_node, given.to_node, given.length_m)
    first = height
    if any_joined:
        first = np.zeros(size)
        first[joined[::-1]] = height[::-1]
    column = columns(
        first,
        given.datum_m,
        given.gas_pressure_per_density,
        given.air_pressure_per_density,
        given.air_pa_abs,
    )
    level = bool(np.all(first == first[:1])) if size else True
    factor: Floats | float = float(column.gas[0]) if level and size else 1.0
    if not level:
        factor = mean_factor(column.gas[a], column.gas[b])

    keep = np.zeros(size, dtype=bool)
    keep[joined[given.keep_node]] = True
    branches = prune_branches(size, a, b, keep)
    chains = find_chains(a, b, branches, keep)
    place = np.full(size, -1, dtype=np.int64)
    place[chains.junction] = np.arange(chains.junction.size)
    pattern = core_pattern(chains.start, chains.end, chains.junction.size)
    return Layout(
        joined,
        size,
        live,
        a,
        b,
        column,
        branches,
        chains,
        pattern,
        place,
        _law(given, live, factor, chains.link),
        _law(given, live, factor, branches.link),
        factor,
        any_joined,
        _links_of_no_length(given, zero),
    )


def _law(given: LayoutInput, live: Ints, factor: Floats | float, links: Ints) -> DropLaw:
    rows = live[links]
    length = given.length_m[rows]
    return drop_law(
        np.where(length == 0.0, _SHORTEST_LOSSY_M, length),
        given.bore_m[rows],
        given.roughness_m[rows],
        given.loss_coefficient[rows],
        factor if isinstance(factor, float) else factor[links],
        given.gas_pressure_per_density,
        given.viscosity_pa_s,
    )


_ALIKE = ("from_node", "to_node", "length_m", "is_open", "height_m", "keep_node")


def is_resized(given: LayoutInput, other: LayoutInput) -> bool:
    """Return whether networks differ in bores, roughness and local losses alone: they are laid out alike."""
    lossless, other_lossless = given.loss_coefficient == 0.0, other.loss_coefficient == 0.0
    return (
        given.node_count == other.node_count
        and all(
            np.array_equal(getattr(given, name), getattr(other, name), equal_nan=name == "height_m")
            for name in _ALIKE
        )
        and np.array_equal(lossless, other_lossless)
        and (given.datum_m, given.air_pa_abs, given.viscosity_pa_s)
        == (other.datum_m, other.air_pa_abs, other.viscosity_pa_s)
        and (given.gas_pressure_per_density, given.air_pressure_per_density)
        == (other.gas_pressure_per_density, other.air_pressure_per_density)
    )


def resized_layout(layout: Layout, given: LayoutInput) -> Layout:
    """Return the layout of a network with other bores, roughness and local losses; see `is_resized`."""
    return replace(
        layout,
        chain_law=_law(given, layout.live, layout.height_factor, layout.chains.link),
        branch_law=_law(given, layout.live, layout.height_factor, layout.branches.link),
    )


def core_pattern(start: Ints, end: Ints, size: int) -> CorePattern:
    """Return the pattern of the core matrix for chains between `size` junctions."""
    across = np.flatnonzero(start != end)
    low = np.minimum(start[across], end[across])
    high = np.maximum(start[across], end[across])
    diagonal_key = np.arange(size) * (size + 1)
    keys, inverse = np.unique(np.concatenate([diagonal_key, high * size + low]), return_inverse=True)
    column = keys // max(size, 1)
    pointer = np.searchsorted(column, np.arange(size + 1))
    upper = csc_array(
        (np.ones(keys.size), (keys % max(size, 1)).astype(np.int32), pointer.astype(np.int32)),
        shape=(size, size),
    )
    upper.data[:] = 0.0
    upper.data[inverse[:size]] = 1.0
    return CorePattern(upper, across, inverse[size:], inverse[:size])
