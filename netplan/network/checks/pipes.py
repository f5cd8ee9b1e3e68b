"""Faults of single pipes and of two that meet."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.findings import Severity
from netplan.network.checks.shapes import ids_of_mains, main_ends, mains_as_lines, middle_of, same_text
from netplan.network.finding_log import Notes
from netplan.network.model import Network

__all__ = [
    "check_self_crossing",
    "check_size_jumps",
    "check_years_and_depths",
]

_JUMP: Final = 2.0
_YEARS: Final = (1850.0, 2100.0)
_DEEPEST_M: Final = 10.0


def check_self_crossing(network: Network, notes: Notes) -> None:
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


def check_size_jumps(network: Network, notes: Notes) -> None:
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


def check_years_and_depths(network: Network, notes: Notes) -> None:
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
        lambda row: f"year {year[row]:g} cannot be",
        "correct the year",
        middle_of(network),
    )
    notes.add_each(
        "odd-depth",
        "mains",
        ids,
        (depth < 0) | (depth > _DEEPEST_M),
        Severity.WARNING,
        lambda row: f"depth {depth[row]:g} m cannot be",
        "correct depth_m; it is in metres",
        middle_of(network),
    )
