"""Features drawn twice: pipes on one another, points at one place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.checks.pipe_views import ids_of_mains, ids_of_services, middle_of
from netplan.network.finding_log import FindingLog
from netplan.network.model import Customers, Network
from netplan.network.pipe_joining import SNAP_M
from netplan.network.spatial_index import close_pairs, points_on_lines
from netplan.network.text_column import TextColumn

__all__ = [
    "PREMISES_M",
    "check_duplicate_customers",
    "check_duplicate_pipes",
    "check_duplicate_points",
    "plain_addresses",
    "same_premises",
]

_SHORTEST_M: Final = 1.0
_SAME_PLACE_M: Final = 0.01
PREMISES_M: Final = 5.0
"""Two meter points of one address so near to each other may be the same premises (own) [m]."""


def check_duplicate_pipes(network: Network, notes: FindingLog) -> None:
    """Notice pipes of one layer and system that lie on one another, wholly or for a length.

    Each straight length of at least a metre is probed at a third and at two thirds.
    """
    n = network.pipes.n_mains
    for layer, ids, low, high in (
        ("mains", ids_of_mains(network), 0, n),
        ("services", ids_of_services(network), n, len(network.pipes)),
    ):
        one, other, whole = _lying_on(network, low, high)
        for code, rows, words, mend in (
            (
                "on-top",
                whole,
                "lies on {layer} {other} along its whole length",
                "delete one of them, or record their systems",
            ),
            (
                "overlap",
                ~whole,
                "lies on {layer} {other} for a length",
                "end it where the other begins, or record their systems",
            ),
        ):
            twin = dict(zip(one[rows].tolist(), other[rows].tolist(), strict=True))
            notes.add_each(
                code,
                layer,
                ids,
                np.array(sorted(twin), dtype=np.int64),
                Severity.WARNING,
                _twin_words(words, layer, ids, twin),
                mend,
                middle_of(network)[low:high],
            )


def _twin_words(words: str, layer: str, ids: TextColumn, twin: dict[int, int]) -> Callable[[int], str]:
    return lambda row: words.format(layer=layer.removesuffix("s"), other=ids[twin[row]])


def _lying_on(network: Network, low: int, high: int) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """Return pairs of pipes, rows from `low`, of which one lies on the other, and whether wholly."""
    none = np.zeros(0, dtype=np.int64)
    if high - low < 2:
        return none, none, np.zeros(0, dtype=bool)
    pipes = network.pipes
    start = pipes.coord_start[low : high + 1] - pipes.coord_start[low]
    coords = pipes.coords_m[pipes.coord_start[low] : pipes.coord_start[high]]
    owner = np.repeat(np.arange(high - low), np.diff(start) - 1)
    vertex = np.arange(len(owner)) + owner
    begin, step = coords[vertex], coords[vertex + 1] - coords[vertex]
    long = np.flatnonzero(np.hypot(*step.T) >= _SHORTEST_M)
    if not len(long):
        return none, none, np.zeros(0, dtype=bool)
    probes = np.concatenate([begin[long] + step[long] / 3, begin[long] + step[long] * 2 / 3])
    point, line, _, _ = points_on_lines(probes, coords, start, SNAP_M)
    segment = long[point % len(long)]
    keep = owner[segment] != line
    segment, line = segment[keep], line[keep]
    keep = pipes.system[low + owner[segment]] == pipes.system[low + line]
    key, hits = np.unique(segment[keep] * (high - low) + line[keep], return_counts=True)
    both = key[hits == 2]
    one, other = owner[both // (high - low)], both % (high - low)
    pair, covered = np.unique(one * (high - low) + other, return_counts=True)
    one, other = pair // (high - low), pair % (high - low)
    straight = np.bincount(owner[long], minlength=high - low)
    length = pipes.length_m[low:high]
    whole = (covered == straight[one]) & (np.abs(length[one] - length[other]) <= 2 * SNAP_M)
    # Of two that lie on each other, the later one is told.
    mutual = np.isin(other * (high - low) + one, pair)
    tell = ~mutual | (one > other)
    return one[tell], other[tell], whole[tell]


def check_duplicate_points(network: Network, notes: FindingLog) -> None:
    """Notice valves, stations and like fittings that stand at one place."""
    valves, stations, fittings, nodes = network.valves, network.stations, network.fittings, network.nodes
    node = np.maximum(stations.node, 0)
    at_node = np.column_stack([nodes.x_m[node], nodes.y_m[node]])
    unplaced = np.where(stations.node < 0, -1 - np.arange(len(stations)), stations.node)
    piece = np.maximum(valves.piece, 0)
    at_valve = np.column_stack(
        [nodes.x_m[network.pieces.from_node[piece]], nodes.y_m[network.pieces.from_node[piece]]]
    )
    for layer, ids, keys, xy in (
        ("valves", valves.id, _on_pipe(valves.pipe, valves.chainage_m), at_valve),
        ("regulators", stations.id, [unplaced.astype(np.int64)], at_node),
        ("fittings", fittings.id, [*_on_pipe(fittings.pipe, fittings.chainage_m), fittings.kind], None),
    ):
        rows, first = _repeats(keys)
        twin = dict(zip(rows.tolist(), first.tolist(), strict=True))
        notes.add_each(
            "same-place",
            layer,
            ids,
            rows,
            Severity.NOTE if layer == "fittings" else Severity.WARNING,
            _twin_words("is at the same place as {layer} {other}", layer, ids, twin),
            "delete one of them, or move it to where it is",
            xy,
        )


def check_duplicate_customers(network: Network, notes: FindingLog) -> None:
    """Notice meter points with the address of another one at its place or beside it."""
    customers = network.customers
    rows, first, gap_m = same_premises(customers)
    twin = {
        row: (other, gap)
        for row, other, gap in zip(rows.tolist(), first.tolist(), gap_m.tolist(), strict=True)
    }

    def words(row: int) -> str:
        other, gap = twin[row]
        if gap <= _SAME_PLACE_M and customers.address[row] == customers.address[other]:
            what = f"has the same place and address as customer {customers.id[other]}"
        else:
            what = f"has the same address as customer {customers.id[other]}, {gap:.1f} m away"
        return f"{what}; both stay on the list"

    notes.add_each(
        "double-customer",
        "customers",
        customers.id,
        rows,
        Severity.WARNING,
        words,
        "delete one of them, or make their addresses differ",
        np.column_stack([customers.x_m, customers.y_m]),
    )


def same_premises(customers: Customers, chosen: Ints | None = None) -> tuple[Ints, Ints, Floats]:
    """Return customers that have the address of an earlier one near by, that one, and how far it is [m].

    Addresses are the same whatever their case, spaces and punctuation.

    Parameters
    ----------
    customers : Customers
    chosen : int64 array, optional
        Rows to look at, sorted; all when left out.
    """
    none = np.zeros(0, dtype=np.int64)
    rows = np.arange(len(customers)) if chosen is None else chosen
    rows = rows[np.isfinite(customers.x_m[rows]) & np.isfinite(customers.y_m[rows])]
    key = plain_addresses(customers.address.take(rows))
    known = np.asarray(pc.not_equal(key, "").to_numpy(zero_copy_only=False), dtype=bool)
    code = pc.dictionary_encode(key)
    code = code.combine_chunks() if isinstance(code, pa.ChunkedArray) else code
    name = np.asarray(code.indices.to_numpy(zero_copy_only=False), dtype=np.int64)
    often = known & (np.bincount(name, minlength=1)[name] > 1)
    rows, name = rows[often], name[often]
    if not len(rows):
        return none, none, np.zeros(0)
    xy = np.column_stack([customers.x_m[rows], customers.y_m[rows]])
    # One of all those at one place stands for them, so that a crowd of them makes no crowd of pairs.
    again, first = _repeats([name, *np.round(xy / _SAME_PLACE_M).T])
    single = np.setdiff1d(np.arange(len(rows)), again)
    pair = single[close_pairs(xy[single], PREMISES_M)]
    pair = np.sort(pair[name[pair[:, 0]] == name[pair[:, 1]]], axis=1)
    one = np.concatenate([again, pair[:, 1]])
    other = np.concatenate([first, pair[:, 0]])
    order = np.lexsort([other, one])
    one, other = one[order], other[order]
    keep = np.ones(len(one), dtype=bool)
    keep[1:] = one[1:] != one[:-1]
    one, other = one[keep], other[keep]
    return rows[one], rows[other], np.hypot(*(xy[one] - xy[other]).T)


def plain_addresses(column: TextColumn) -> Any:
    """Return texts in small letters without punctuation, and without spaces except between digits."""
    text = pc.utf8_lower(pc.utf8_normalize(column.arrow, form="NFKC"))
    text = pc.replace_substring(text, "ß", "ss")
    text = pc.replace_substring_regex(text, r"[^\p{L}\p{M}\p{N}]+", " ")
    text = pc.replace_substring_regex(text, r"([^0-9 ]) +", r"\1")
    text = pc.replace_substring_regex(text, r" +([^0-9 ])", r"\1")
    return pc.utf8_trim_whitespace(text)


def _on_pipe(pipe: NDArray[Any], chainage_m: Floats) -> list[NDArray[Any]]:
    placed = pipe >= 0
    alone = np.where(placed, pipe.astype(np.int64), -1 - np.arange(len(pipe)))
    return [alone, np.where(placed, np.round(np.nan_to_num(chainage_m) / _SAME_PLACE_M), 0.0)]


def _repeats(keys: list[NDArray[Any]]) -> tuple[Ints, Ints]:
    """Return rows whose keys all equal those of an earlier row, and that row."""
    order = np.lexsort([np.arange(len(keys[0])), *keys])
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.any([key[order][1:] != key[order][:-1] for key in keys], axis=0)
    first = order[np.maximum.accumulate(np.where(new, np.arange(len(order)), 0))]
    rows = order[~new]
    back = np.argsort(rows)
    return rows[back], first[~new][back]
