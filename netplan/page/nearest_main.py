"""The main that somebody points at on the page's map."""

from __future__ import annotations

from typing import Any

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.network.linear_reference import nearest_chainage, points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Material

__all__ = ["main_at", "main_named"]


def main_at(network: Network, x_m: float, y_m: float, reach_m: float) -> dict[str, Any] | None:
    """Return the nearest main within reach of a place [m, working CRS], with its course; None without one."""
    pipe, chainage, distance = nearest_chainage(network, np.array([[x_m, y_m]]), reach_m)
    row = int(pipe[0])
    if row < 0:
        return None
    x_at, y_at = points_at(network, pipe[:1], chainage[:1])[0].tolist()
    return {
        **_facts(network, row),
        "chainage_m": round(float(chainage[0]), 3),
        "x": round(x_at, 2),
        "y": round(y_at, 2),
        "distance_m": round(float(distance[0]) / network.scale, 2),
    }


def main_named(network: Network, name: str) -> dict[str, Any] | None:
    """Return a main by its id, with its course; None where there is none."""
    row = network.pipes.id.find(name, 0, network.pipes.n_mains)
    return None if row < 0 else _facts(network, row)


def _facts(network: Network, row: int) -> dict[str, Any]:
    pipes = network.pipes
    line = pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]]
    return {
        "main_id": pipes.id[row],
        "length_m": round(float(pipes.length_m[row]), 3),
        "street": pipes.street[row],
        "material": Material(int(pipes.material[row])).word.replace("_", " "),
        "od_mm": round(float(pipes.od_m[row]) * MM_PER_M, 1),
        "line": line.round(2).tolist(),
    }
