"""Places and heights that cannot be."""

from __future__ import annotations

from typing import Final

import numpy as np

from netplan.core.findings import Severity
from netplan.network.checks.shapes import middle_of
from netplan.network.finding_log import Notes
from netplan.network.model import Network
from netplan.network.text_column import Text

__all__ = ["HEIGHTS_M", "check_far_off", "check_heights"]

_FAR_TIMES: Final = 20.0
_LEAST_FAR_M: Final = 20_000.0
HEIGHTS_M: Final = (-450.0, 5500.0)
"""Between the shores of the lowest lake and the highest towns, roundly (from memory) [m]."""
_STEEPEST: Final = 1.0


def check_far_off(network: Network, notes: Notes) -> None:
    """Notice pipes and customers far outside of where all the others lie."""
    middle = middle_of(network)
    centre = np.median(middle, axis=0)
    usual = float(np.median(np.hypot(*(middle - centre).T)))
    limit = max(_LEAST_FAR_M, _FAR_TIMES * usual)
    n = network.pipes.n_mains
    far = np.hypot(*(middle - centre).T) > limit
    customers = np.column_stack([network.customers.x_m, network.customers.y_m])
    groups = (
        ("mains", Text(network.pipes.id.arrow.slice(0, n)), far[:n], middle[:n]),
        ("services", Text(network.pipes.id.arrow.slice(n)), far[n:], middle[n:]),
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


def check_heights(network: Network, notes: Notes) -> None:
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
            "has heights that cannot be, or is steeper than 1 in 1",
            "correct Z; it is in metres",
            xy,
        )
