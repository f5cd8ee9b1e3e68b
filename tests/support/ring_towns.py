"""Random towns whose mains are hit: a grid of streets with valves, and stations that may reach their capacity."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np

from netplan.network.build import build_network
from netplan.network.model import Network
from tests.support.networks import customer, layers, main, service, station, valve

__all__ = ["ring_town", "ring_town_layers"]

BLOCK_M = 70.0
CROSSINGS = 4


def ring_town(seed: int) -> Network:
    """Return a town of 4 × 4 crossings; some streets are missing, some valves are shut or not known to work."""
    return build_network(ring_town_layers(seed), strict=False)


def ring_town_layers(seed: int) -> dict[str, geopandas.GeoDataFrame]:
    """Return the layers of the same town."""
    rng = np.random.default_rng(seed)
    rows: dict[str, Any] = {name: [] for name in ("mains", "services", "customers", "valves")}
    met = set()
    for k, (one, other) in enumerate(_links()):
        if rng.random() < 0.12:
            continue
        name, a, b = f"M{k:02}", np.array(one) * BLOCK_M, np.array(other) * BLOCK_M
        along = (b - a) / BLOCK_M
        across = np.array([-along[1], along[0]])
        size = float(rng.choice([50.0, 63.0, 90.0, 125.0]))
        rows["mains"].append(main(name, tuple(a), tuple(b), od_mm=size, street=f"Street {k}"))
        met |= {one, other}
        if rng.random() < 0.7:
            state = "closed" if rng.random() < 0.08 else "open"
            works = "yes" if rng.random() < 0.9 else "unknown"
            rows["valves"].append(valve(f"V{k:02}", tuple(a + 8.0 * along), state, operable=works))
        for j, share in enumerate((0.3, 0.55, 0.8)):
            tap, name_s = a + share * BLOCK_M * along, f"S{k:02}{j}"
            end = tap + 7.0 * across
            rows["services"].append(service(name_s, tuple(tap), tuple(end)))
            rows["customers"].append(
                customer(
                    f"C{k:02}{j}",
                    tuple(end),
                    service_id=name_s,
                    annual_kwh=float(rng.uniform(10e3, 70e3)),
                    priority="school" if rng.random() < 0.05 else None,
                )
            )
    corners = [place for place in ((0, 0), (CROSSINGS - 1, CROSSINGS - 1)) if place in met]
    stations = [
        station(
            f"R{n}",
            tuple(BLOCK_M * np.array(place)),
            outlet_mbar=float(rng.choice([27.0, 30.0])),
            capacity_m3h=float(rng.choice([250.0, 2000.0])),
        )
        for n, place in enumerate(corners)
    ]
    return layers(**{**rows, "regulators": stations})


def _links() -> list[tuple[tuple[int, int], tuple[int, int]]]:
    places = [(x, y) for x in range(CROSSINGS) for y in range(CROSSINGS)]
    east = [((x, y), (x + 1, y)) for x, y in places if x + 1 < CROSSINGS]
    north = [((x, y), (x, y + 1)) for x, y in places if y + 1 < CROSSINGS]
    return east + north
