"""Areas that touch nothing of a network: an order about them changes nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from netplan.network.linear_reference import lines_between
from netplan.network.model import Network

__all__ = ["AreaOffNetwork", "areas_off_network"]


@dataclass(frozen=True, slots=True)
class AreaOffNetwork:
    """An area without a main or service in it.

    Parameters
    ----------
    place : int
        Among the areas given, from 1.
    main_id : str
        The nearest main.
    distance_m : float
        From the area to that main [m].
    """

    place: int
    main_id: str
    distance_m: float


def areas_off_network(network: Network, areas: Sequence[Any]) -> Iterator[AreaOffNetwork]:
    """Yield the areas that touch no live main and no live service.

    Parameters
    ----------
    network : Network
    areas : sequence of shapely geometry
        In the working CRS.
    """
    pipes = network.pipes
    if not areas or not pipes.n_mains:
        return
    rows = np.arange(len(pipes))
    lines = lines_between(network, rows, np.zeros(len(pipes)), pipes.length_m)
    tree, mains = shapely.STRtree(lines), shapely.STRtree(lines[: pipes.n_mains])
    for place, area in enumerate(areas, start=1):
        if not len(tree.query(area, predicate="intersects")):
            nearest = int(mains.nearest(area))
            away_m = float(shapely.distance(lines[nearest], area)) / network.scale
            yield AreaOffNetwork(place, pipes.id[nearest], away_m)
