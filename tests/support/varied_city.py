"""A street grid with what cities have beside streets: closed valves, stations that sense elsewhere, dead ends."""

from __future__ import annotations

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.network.build import build_network
from netplan.network.model import Network
from tests.benchmarks.layer_grids import Layers, grid_layers

__all__ = ["varied_city", "varied_layers"]

Floats = NDArray[np.float64]
SENSING = 5
STATION_BLOCKS_M = 200.0
"""Stations stand so far apart, so that what happens in one street is not felt two kilometres away [m]."""


def varied_city(n_pipes: int, seed: int) -> Network:
    """Return a joined network of about so many pipes; the same one for the same seed."""
    return build_network(varied_layers(n_pipes, seed))


def varied_layers(n_pipes: int, seed: int) -> Layers:
    """Return the layers of such a network."""
    layers, rng = grid_layers(n_pipes, seed), np.random.default_rng(seed)
    layers["mains"]["mop_mbar"] = 65.0
    middle = _middles(layers)
    stations = _corners(layers)
    layers["regulators"] = _frame(
        {
            "id": _names("R", len(stations)),
            "outlet_mbar": rng.choice([29.9, 30.0], len(stations), p=[0.1, 0.9]),
            "max_outlet_mbar": rng.choice([55.0, 60.0, np.nan], len(stations)),
            "capacity_m3h": rng.choice([60.0, 400.0, np.nan], len(stations), p=[0.04, 0.66, 0.3]),
        },
        shapely.points(stations),
    )
    # A few stations hold the pressure in a street nearby; many would have several steady states together.
    sensing = rng.choice(len(stations), SENSING, replace=False)
    nearest = [
        int(np.hypot(*(middle - stations[row] - (130.0, 90.0)).T).argmin()) for row in sensing.tolist()
    ]
    layers["sensing_points"] = _frame(
        {"station_id": _names("R", len(stations))[sensing]}, shapely.points(middle[nearest])
    )
    valve = rng.choice(len(middle), len(middle) // 12, replace=False)
    layers["valves"] = _frame(
        {
            "id": _names("V", len(valve)),
            "state": rng.choice(["open", "closed", "unknown"], len(valve), p=[0.7, 0.2, 0.1]),
            "operable": rng.choice(["yes", "no", "unknown"], len(valve)),
        },
        shapely.points(middle[valve]),
    )
    layers["injections"] = _frame({"id": ["I1", "I2"]}, shapely.points(middle[rng.choice(len(middle), 2)]))
    layers["customers"] = _varied_customers(layers["customers"], rng)
    return layers


def _varied_customers(customers: geopandas.GeoDataFrame, rng: np.random.Generator) -> geopandas.GeoDataFrame:
    n = len(customers)
    more = customers.copy()
    more["category"] = rng.choice(
        ["household", "business", "industry", "public"], n, p=[0.9, 0.06, 0.02, 0.02]
    )
    more["priority"] = rng.choice(["", "care_home", "hospital"], n, p=[0.99, 0.005, 0.005])
    more["peak_kw"] = np.where(rng.random(n) < 0.05, rng.uniform(20.0, 120.0, n).round(), np.nan)
    more["meters"] = rng.choice([1, 1, 1, 1, 6], n)
    # One house in forty has a second service, that of a neighbour.
    service = more["service_id"].to_numpy(dtype=object)
    two = np.flatnonzero(rng.random(n) < 0.025)
    service[two] = [f"{service[row]};{service[(row + 5) % n]}" for row in two.tolist()]
    more["service_id"] = service
    return more


def _middles(layers: Layers) -> Floats:
    """Return the vertex in the middle of every main."""
    lines = layers["mains"].geometry.to_numpy()
    return np.asarray(shapely.get_coordinates(shapely.get_point(lines, 1)))


def _corners(layers: Layers) -> Floats:
    """Return the ends of mains nearest to a square grid of places."""
    lines = layers["mains"].geometry.to_numpy()
    ends = shapely.get_coordinates(shapely.get_point(lines, 0))
    x, y = (
        np.arange(low, high, STATION_BLOCKS_M) for low, high in zip(ends.min(0), ends.max(0), strict=True)
    )
    wanted = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    tree = shapely.STRtree(list(np.asarray(shapely.points(ends))))
    return np.asarray(ends[np.unique(tree.nearest(shapely.points(wanted)))])


def _names(letter: str, n: int) -> NDArray[np.object_]:
    return np.array([f"{letter}{row:04d}" for row in range(n)], dtype=object)


def _frame(columns: dict[str, object], shapes: object) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:25832")
