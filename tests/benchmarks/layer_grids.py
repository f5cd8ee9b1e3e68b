"""Layers of an invented street grid of any size: what a city looks like to the readers.

    python -m tests.benchmarks.layer_grids 1000000 /tmp/city.gpkg

writes a GeoPackage with about that many pipes, reads it again and prints seconds, processor seconds (what counts on a busy machine) and peak memory.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.readers import read_network, write_layers

CRS = "EPSG:25832"
STREET_M, SERVICE_M = 80.0, 9.0
SERVICES_A_MAIN, BLOCKS_A_STATION = 4, 10
OD_MM = (250.0, 180.0, 125.0)
"""Of the mains in every tenth street, in every fifth, and in the others."""
Layers = dict[str, geopandas.GeoDataFrame]


def grid_layers(n_pipes: int, seed: int = 1, *, customers: bool = True) -> Layers:
    """Return layers of a street grid with about `n_pipes` mains and services together.

    A fifth of the street links is missing, none of every fifth street; each main carries four services and a
    bend; one regulator station stands in every 10 × 10 blocks, so that each feeds some eight hundred customers.
    """
    rng = np.random.default_rng(seed)
    blocks = max(2, round((n_pipes / (2 * 0.8 * (1 + SERVICES_A_MAIN))) ** 0.5))
    x, y = np.meshgrid(np.arange(blocks), np.arange(blocks), indexing="ij")
    corner = np.column_stack([x.ravel(), y.ravel()]) * STREET_M + rng.uniform(-8, 8, (blocks**2, 2))
    corner += (400_000.0, 5_500_000.0)
    number = np.arange(blocks**2).reshape(blocks, blocks)
    links = np.concatenate(
        [
            np.column_stack([number[:-1].ravel(), number[1:].ravel()]),
            np.column_stack([number[:, :-1].ravel(), number[:, 1:].ravel()]),
        ]
    )
    eastward = np.arange(len(links)) < len(links) // 2
    street = np.where(eastward, links[:, 0] % blocks, links[:, 0] // blocks)
    stays = (street % 5 == 0) | (rng.random(len(links)) < 0.75)
    links, street = links[stays], street[stays]
    begin, end = corner[links[:, 0]], corner[links[:, 1]]
    mains = mains_between(
        rng, begin, end, np.select([street % 10 == 0, street % 5 == 0], OD_MM[:2], OD_MM[2])
    )
    tap, place, which = taps_on(rng, begin, end)
    layers = {"mains": mains, "services": services_of(tap, place, which)}
    layers["customers"] = customers_at(rng, place if customers else place[:0])
    layers["regulators"] = _stations(corner, number, links)
    return layers


def frame_of(columns: dict[str, Any], shapes: Any) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=CRS)


def _names(letter: str, n: int) -> NDArray[np.str_]:
    return np.char.add(letter, np.char.zfill(np.arange(n).astype(str), 7))


def mains_between(
    rng: np.random.Generator, begin: NDArray[np.float64], end: NDArray[np.float64], od_mm: NDArray[np.float64]
) -> geopandas.GeoDataFrame:
    n = len(begin)
    shapes = shapely.linestrings(np.stack([begin, (begin + end) / 2, end], axis=1))
    columns = {
        "id": _names("M", n),
        "material": np.where(rng.random(n) < 0.5, "PE100", "PE80"),
        "od_mm": od_mm,
        "sdr": rng.choice([11.0, 17.0], n),
        "street": np.char.add("Street ", (np.arange(n) // 8).astype(str)),
        "surface": rng.choice(["footway", "carriageway", "verge"], n),
    }
    return frame_of(columns, shapes)


def taps_on(
    rng: np.random.Generator, begin: NDArray[np.float64], end: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    which = np.repeat(np.arange(len(begin)), SERVICES_A_MAIN)
    slot = np.tile(np.arange(SERVICES_A_MAIN), len(begin))
    share = (slot + rng.uniform(0.2, 0.8, len(which))) / SERVICES_A_MAIN
    along = end[which] - begin[which]
    tap = begin[which] + along * share[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
    side = rng.choice([-1.0, 1.0], len(which))
    return tap, tap + across * (side * SERVICE_M)[:, None], which


def services_of(
    tap: NDArray[np.float64], place: NDArray[np.float64], which: NDArray[np.int64]
) -> geopandas.GeoDataFrame:
    n = len(which)
    shapes = shapely.linestrings(np.stack([tap, place], axis=1))
    columns = {"id": _names("S", n), "material": np.full(n, "PE80"), "od_mm": 32.0, "sdr": 11.0}
    return frame_of(columns, shapes)


def customers_at(rng: np.random.Generator, place: NDArray[np.float64]) -> geopandas.GeoDataFrame:
    n = len(place)
    columns = {
        "id": _names("C", n),
        "address": np.char.add("House ", np.arange(n).astype(str)),
        "annual_kwh": rng.uniform(8_000, 25_000, n).round(),
        "service_id": _names("S", n),
    }
    return frame_of(columns, shapely.points(place))


def _stations(
    corner: NDArray[np.float64], number: NDArray[np.int64], links: NDArray[np.int64]
) -> geopandas.GeoDataFrame:
    wanted = number[::BLOCKS_A_STATION, ::BLOCKS_A_STATION].ravel()
    used = np.unique(links)
    at = used[np.clip(np.searchsorted(used, wanted), 0, len(used) - 1)]
    at = np.unique(at)
    columns = {"id": _names("R", len(at)), "outlet_mbar": 30.0, "max_outlet_mbar": 60.0}
    return frame_of(columns, shapely.points(corner[at]))


def main(n_pipes: int, path: Path) -> None:
    """Write a grid unless it is there, read it and print what that took."""
    if not path.exists():
        write_layers(grid_layers(n_pipes), path)
    start, work = time.perf_counter(), time.process_time()
    network = read_network(path)
    seconds, work = time.perf_counter() - start, time.process_time() - work
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(  # noqa: T201
        f"{len(network.pipes)} pipes, {len(network.pieces)} pieces, {len(network.customers)} customers: "
        f"{seconds:.2f} s ({work:.2f} s of processor), peak {peak:.2f} GiB, {len(network.findings)} findings"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
