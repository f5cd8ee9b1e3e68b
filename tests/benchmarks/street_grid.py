"""Street grids made from a seed: the networks that the flow benchmarks run on.

Streets form square blocks, a fifth of the street links is missing, each remaining link is split at four
service tees, so that it makes nine pipes. Every tenth street has a 315 mm main, every fifth a 180 mm one,
the others 125 mm (all SDR 11). One regulator station stands in the middle of each 40 x 40 blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netplan.hydraulics import FlowLinks, FlowNetwork

TEES = 4
BLOCK_M = 80.0
STATION_EVERY = 40
STATION_PA_GAUGE = 2500.0
BORES_M = (0.2578, 0.1472, 0.1022)
SERVICE_BORE_M = 0.0260
ROUGHNESS_M = 7e-6


@dataclass(frozen=True)
class StreetGrid:
    """A street grid with its demand [m³/s at 15 °C, 101.325 kPa]."""

    network: FlowNetwork
    demand_m3_per_s_std: npt.NDArray[np.float64]


def street_grid(blocks: int, seed: int = 1, service_m3_per_h: float = 0.1) -> StreetGrid:
    """Make a grid of `blocks` x `blocks` blocks: about 14.4 pipes for each block."""
    random = np.random.default_rng(seed)
    side = blocks + 1
    row, column = np.divmod(np.arange(side * side), side)
    east = np.flatnonzero(column < blocks)
    north = np.flatnonzero(row < blocks)
    start = np.concatenate([east, north])
    end = np.concatenate([east + 1, north + side])
    street = np.concatenate([row[east], column[north]])
    arterial = street % 10 == 0
    stays = arterial | (random.random(start.size) >= 0.2 * start.size / (~arterial).sum())
    start, end, street = start[stays], end[stays], street[stays]
    count = start.size
    bore = np.select([street % 10 == 0, street % 5 == 0], BORES_M[:2], BORES_M[2])
    tee = side * side + np.arange(count * TEES).reshape(count, TEES)
    service_end = tee + count * TEES
    chain = np.concatenate([start[:, None], tee, end[:, None]], axis=1)
    length = BLOCK_M * random.dirichlet(np.full(TEES + 1, 3.0), size=count)
    links = FlowLinks(
        from_node=np.concatenate([chain[:, :-1].ravel(), tee.ravel()]),
        to_node=np.concatenate([chain[:, 1:].ravel(), service_end.ravel()]),
        length_m=np.concatenate([length.ravel(), random.uniform(5.0, 25.0, count * TEES)]),
        bore_m=np.concatenate([np.repeat(bore, TEES + 1), np.full(count * TEES, SERVICE_BORE_M)]),
        roughness_m=np.full(count * (2 * TEES + 1), ROUGHNESS_M),
    )
    middle = np.arange(STATION_EVERY // 2, side, STATION_EVERY)
    middle = middle if middle.size else np.array([blocks // 2])
    station = (middle[:, None] * side + middle[None, :]).ravel()
    nodes = side * side + 2 * count * TEES
    demand = np.zeros(nodes)
    demand[service_end.ravel()] = service_m3_per_h / 3600.0 * random.lognormal(-0.125, 0.5, count * TEES)
    network = FlowNetwork(nodes, links, station, np.full(station.size, STATION_PA_GAUGE))
    return StreetGrid(network, demand)
