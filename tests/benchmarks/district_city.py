"""A made-up city kept by district, of any size: made district by district, never held whole.

    python -m tests.benchmarks.district_city 20000000 /tmp/city

writes a folder of GeoParquet layers for each district with about so many pipes in all. Streets are those of
`layer_grids`: blocks of 80 m, a fifth of the links missing, four services and four customers a main, a station
in every 10 x 10 blocks. Districts are squares of 64 x 64 blocks. Pressure systems are rectangles of 60 to 350
blocks a side that know nothing of the districts: no main crosses from one to another but where every
twentieth street has a closed valve. What lies at a crossing or a link follows from its place in the city alone,
so that neighbours fit together whoever makes them.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.readers import write_layers
from tests.benchmarks.layer_grids import (
    BLOCKS_A_STATION,
    OD_MM,
    SERVICES_A_MAIN,
    STREET_M,
    customers_at,
    frame_of,
    mains_between,
    services_of,
    taps_on,
)

__all__ = ["DistrictCity", "write_city"]

DISTRICT_BLOCKS: Final = 64
SIDES: Final = (60, 90, 120, 150, 180, 350)
"""Blocks along a side of a pressure system, drawn one after the other; 350 comes once at most."""
STREETS_A_VALVE: Final = 20
JITTER_M: Final = 8.0
ORIGIN_M: Final = (400_000.0, 5_400_000.0)
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class DistrictCity:
    """The plan of a city: which links there are, and which pressure system each crossing belongs to.

    Parameters
    ----------
    n_pipes : int
        About how many mains and services it has.
    seed : int
    district_blocks : int
        Blocks along a side of a district.
    sides : tuple of int
        Blocks along the sides that pressure systems may have.
    """

    def __init__(
        self,
        n_pipes: int,
        seed: int = 1,
        district_blocks: int = DISTRICT_BLOCKS,
        sides: tuple[int, ...] = SIDES,
    ) -> None:
        blocks = (n_pipes / (2 * 0.8 * (1 + SERVICES_A_MAIN))) ** 0.5
        self.across = max(1, round(blocks / district_blocks))
        self.district_blocks, self.seed = district_blocks, seed
        self.blocks = self.across * district_blocks
        self.system_column = self._systems(np.random.default_rng([seed, 1]), sides)
        self.system_row = self._systems(np.random.default_rng([seed, 2]), sides)

    def _systems(self, rng: np.random.Generator, sides: tuple[int, ...]) -> Ints:
        """Return the number of the strip of pressure systems that each line of crossings lies in."""
        number: list[int] = []
        left, drawn = list(sides), 0
        while len(number) < self.blocks:
            side = int(rng.choice(left))
            if side > 2 * min(sides) + 60:
                left.remove(side)
            number += [drawn] * side
            drawn += 1
        return np.array(number[: self.blocks], dtype=np.int64)

    def names(self) -> list[str]:
        """Return the names of the districts."""
        return [f"D{row:02d}{column:02d}" for row in range(self.across) for column in range(self.across)]

    def district(self, name: str) -> dict[str, geopandas.GeoDataFrame]:
        """Return the layers of one district: links that begin in it, and what stands on them."""
        row, column = int(name[1:3]), int(name[3:5])
        rng = np.random.default_rng([self.seed, row, column])
        low_x, low_y = column * self.district_blocks, row * self.district_blocks
        x, y = (
            part.ravel()
            for part in np.meshgrid(
                np.arange(low_x, low_x + self.district_blocks),
                np.arange(low_y, low_y + self.district_blocks),
                indexing="ij",
            )
        )
        links = [self._links(x, y, eastward) for eastward in (True, False)]
        begin_x, begin_y, end_x, end_y, street, has_valve = (
            np.concatenate(pair) for pair in zip(*links, strict=True)
        )
        begin, end = self._corners(begin_x, begin_y), self._corners(end_x, end_y)
        mains = mains_between(
            rng, begin, end, np.select([street % 10 == 0, street % 5 == 0], OD_MM[:2], OD_MM[2])
        )
        tap, place, which = taps_on(rng, begin, end)
        services, customers = services_of(tap, place, which), customers_at(rng, place)
        for frame, columns in ((mains, ("id",)), (services, ("id",)), (customers, ("id", "service_id"))):
            for one in columns:
                frame[one] = f"{name}-" + frame[one].astype(str)
        layers = {"mains": mains, "services": services, "customers": customers}
        layers["regulators"] = self._stations(name, begin_x, begin_y)
        middle = (begin + end) / 2
        valves = np.flatnonzero(has_valve)
        if len(valves):
            held: dict[str, Any] = {
                "id": [f"{name}-V{number:03d}" for number in range(len(valves))],
                "state": "closed",
                "operable": "yes",
            }
            layers["valves"] = frame_of(held, shapely.points(middle[valves]))
        return layers

    def _links(self, x: Ints, y: Ints, eastward: bool) -> tuple[Any, ...]:
        end_x, end_y = x + eastward, y + (not eastward)
        street = y if eastward else x
        within = (end_x < self.blocks) & (end_y < self.blocks)
        there_x, there_y = np.minimum(end_x, self.blocks - 1), np.minimum(end_y, self.blocks - 1)
        same = (self.system_column[x] == self.system_column[there_x]) & (
            self.system_row[y] == self.system_row[there_y]
        )
        has_valve = ~same & (street % STREETS_A_VALVE == 0)
        drawn = self._share(x, y, 2 + eastward) < 0.75
        stays = within & np.where(same, (street % 5 == 0) | drawn, has_valve)
        return tuple(part[stays] for part in (x, y, end_x, end_y, street, has_valve))

    def _corners(self, x: Ints, y: Ints) -> Floats:
        jitter = np.column_stack([self._share(x, y, 0), self._share(x, y, 1)])
        corner = np.column_stack([x, y]) * STREET_M + JITTER_M * (2 * jitter - 1) + np.array(ORIGIN_M)
        return np.asarray(corner, dtype=float)

    def _share(self, x: Ints, y: Ints, kind: int) -> Floats:
        """Return a number from 0 to 1 for each crossing, from its place, the kind and the seed alone."""
        key = (np.uint64(self.seed * 8 + kind) << np.uint64(48)) ^ (
            x.astype(np.uint64) << np.uint64(24) ^ y.astype(np.uint64)
        )
        for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
            key = (key ^ (key >> np.uint64(shift))) * np.uint64(factor)
        return (key ^ (key >> np.uint64(31))).astype(np.float64) / 2.0**64

    def _stations(self, name: str, x: Ints, y: Ints) -> geopandas.GeoDataFrame:
        used = np.unique(np.column_stack([x, y]), axis=0)
        # The crossings of every fifth street are on a main that always stays.
        wanted = used[(used % BLOCKS_A_STATION == BLOCKS_A_STATION // 2).all(axis=1)]
        at = wanted if len(wanted) else used[:1]
        held: dict[str, Any] = {
            "id": [f"{name}-R{number:03d}" for number in range(len(at))],
            "outlet_mbar": 30.0,
            "max_outlet_mbar": 60.0,
        }
        return frame_of(held, shapely.points(self._corners(at[:, 0], at[:, 1])))


def write_city(city: DistrictCity, folder: Path) -> None:
    """Write every district of a city, one after the other."""
    folder.mkdir(parents=True)
    for name in city.names():
        write_layers(city.district(name), folder / name)


if __name__ == "__main__":
    write_city(DistrictCity(int(sys.argv[1])), Path(sys.argv[2]))
