"""What cannot be or hardly can: lines, sizes, years and depths of pipes, places and heights."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.findings import Severity
from netplan.network.checks.pipe_views import ids_of_mains, main_ends, mains_as_lines, middle_of, same_text
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network
from netplan.network.text_column import TextColumn

__all__ = [
    "HEIGHTS_M",
    "check_far_off",
    "check_heights",
    "check_self_crossing",
    "check_size_jumps",
    "check_years_and_depths",
]

_JUMP: Final = 2.0
_YEARS: Final = (1850.0, 2100.0)
_DEEPEST_M: Final = 10.0
_FAR_TIMES: Final = 20.0
_LEAST_FAR_M: Final = 20_000.0
HEIGHTS_M: Final = (-450.0, 5500.0)
"""Between the shores of the lowest lake and the highest towns, roundly (from memory) [m]."""
_STEEPEST: Final = 1.0


def check_self_crossing(network: Network, notes: FindingLog) -> None:
    """Notice mains that cross themselves: their chainage runs over one place twice."""
    crossing = ~shapely.is_simple(mains_as_lines(network))
    notes.add_each(
        "self-crossing",
        "mains",
        ids_of_mains(network),
        crossing,
        Severity.WARNING,
        "crosses itself; the crossing is not taken as a joint",
        "redraw it, or split it at a real joint",
        middle_of(network),
    )


def check_size_jumps(network: Network, notes: FindingLog) -> None:
    """Notice joints of two mains in one street whose outside diameters differ by a factor of two."""
    pipes = network.pipes
    ends = main_ends(network)
    node: NDArray[Any] = ends.ravel()
    row = np.repeat(np.arange(pipes.n_mains), 2)
    order = np.lexsort((row, node))
    node, row = node[order], row[order]
    count = np.bincount(node, minlength=len(network.nodes))
    pair = np.flatnonzero((node[1:] == node[:-1]) & (count[node[1:]] == 2) & (row[1:] != row[:-1]))
    one, other = row[pair], row[pair + 1]
    less, more = np.sort([pipes.od_m[one], pipes.od_m[other]], axis=0)
    jump = more > _JUMP * less
    jump &= same_text(pipes.street, one, other)
    partner = dict(zip(one[jump].tolist(), other[jump].tolist(), strict=True))
    notes.add_each(
        "size-jump",
        "mains",
        ids_of_mains(network),
        np.array(sorted(partner), dtype=np.int64),
        Severity.WARNING,
        lambda at: (
            f"of {pipes.od_m[at] * 1e3:g} mm meets main {pipes.id[partner[at]]} of "
            f"{pipes.od_m[partner[at]] * 1e3:g} mm in the same street"
        ),
        "check both sizes",
        middle_of(network),
    )


def check_years_and_depths(network: Network, notes: FindingLog) -> None:
    """Notice years and depths that cannot be."""
    pipes = network.pipes
    ids, n = ids_of_mains(network), pipes.n_mains
    year, depth = pipes.year[:n], pipes.depth_m[:n]
    notes.add_each(
        "odd-year",
        "mains",
        ids,
        (year < _YEARS[0]) | (year > _YEARS[1]),
        Severity.WARNING,
        lambda row: f"year {year[row]:g} is impossible",
        "correct the year",
        middle_of(network),
    )
    notes.add_each(
        "odd-depth",
        "mains",
        ids,
        (depth < 0) | (depth > _DEEPEST_M),
        Severity.WARNING,
        lambda row: f"depth {depth[row]:g} m is impossible",
        "correct depth_m; it is in metres",
        middle_of(network),
    )


def check_far_off(network: Network, notes: FindingLog) -> None:
    """Notice pipes and customers far outside of where all the others lie."""
    middle = middle_of(network)
    centre = np.median(middle, axis=0)
    usual = float(np.median(np.hypot(*(middle - centre).T)))
    limit = max(_LEAST_FAR_M, _FAR_TIMES * usual)
    n = network.pipes.n_mains
    far = np.hypot(*(middle - centre).T) > limit
    customers = np.column_stack([network.customers.x_m, network.customers.y_m])
    groups = (
        ("mains", TextColumn(network.pipes.id.arrow.slice(0, n)), far[:n], middle[:n]),
        ("services", TextColumn(network.pipes.id.arrow.slice(n)), far[n:], middle[n:]),
        ("customers", network.customers.id, np.hypot(*(customers - centre).T) > limit, customers),
    )
    for layer, ids, rows, xy in groups:
        notes.add_each(
            "far-off",
            layer,
            ids,
            rows,
            Severity.WARNING,
            f"lies more than {limit / 1000:.0f} km from the middle of the network",
            "correct its coordinates",
            xy,
        )


def check_heights(network: Network, notes: FindingLog) -> None:
    """Notice mains that are steeper than 1 in 1 or at heights where nobody lives."""
    pieces, nodes, pipes = network.pieces, network.nodes, network.pipes
    height = nodes.height_m
    if not np.isfinite(height).any():
        return
    length = pieces.to_m - pieces.from_m
    rise = np.abs(height[pieces.to_node] - height[pieces.from_node])
    with np.errstate(invalid="ignore"):
        steep = (rise > _STEEPEST * np.maximum(length, 1.0)) & (pieces.valve < 0)
        outside = (height < HEIGHTS_M[0]) | (height > HEIGHTS_M[1])
    odd = steep | outside[pieces.from_node] | outside[pieces.to_node]
    rows = np.unique(pieces.pipe[odd])
    xy = middle_of(network)
    main, service = rows[rows < pipes.n_mains], rows[rows >= pipes.n_mains]
    for layer, chosen in (("mains", main), ("services", service)):
        notes.add_each(
            "odd-height",
            layer,
            pipes.id,
            chosen,
            Severity.WARNING,
            "has impossible heights, or is steeper than 1 in 1",
            "correct Z; it is in metres",
            xy,
        )
