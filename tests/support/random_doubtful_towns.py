"""Small towns drawn at random, with doubtful records of every kind: input for the tests of customers in doubt."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from tests.support.networks import EAST_M, NORTH_M, customer, layers, main, service, station, valve

__all__ = ["random_town"]

BLOCK_M: Final = 100.0
XY = tuple[float, float]
Row = dict[str, Any]


def random_town(seed: int) -> tuple[dict[str, Any], tuple[str, float, float]]:
    """Return the layers of a few blocks, and a work section in the middle of one of their mains."""
    return Town(seed).made()


class Town:
    """A town while it is drawn."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.rows: dict[str, list[Row]] = {name: [] for name in ("mains", "services", "customers", "valves")}

    def made(self) -> tuple[dict[str, Any], tuple[str, float, float]]:
        spans = [
            (f"{'E' if east else 'N'}{i}{j}", self._corner(i, j, east=east), east)
            for i in range(3)
            for j in range(2)
            for east in (True, False)
            if self._chance(0.85)
        ]
        for k, (name, at, east) in enumerate(spans):
            self._street(str(k), name, at, east)
        stations = [station("R1", spans[0][1])]
        if self._chance(0.5):
            _, at, east = spans[-1]
            stations.append(station("R2", along(at, east, BLOCK_M)))
        work = spans[int(self.rng.integers(len(spans)))][0]
        self._misrecord_houses()
        given: dict[str, Any] = {name: rows for name, rows in self.rows.items() if rows}
        return layers(**given, regulators=stations), (work, 48.0, 52.0)

    def _street(self, key: str, name: str, at: XY, east: bool) -> None:
        size = 180 if self._chance(0.3) else 110
        self.rows["mains"].append(main(name, at, along(at, east, BLOCK_M), od_mm=size))
        for h, m in enumerate(
            sorted(self.rng.choice([18.0, 21.0, 38.0, 62.0, 79.0, 82.0], 3, replace=False))
        ):
            self._house(f"{key}-{h}", at, east, float(m))
        if self._chance(0.6):
            state = self._any("unknown", "unknown", "open", "closed")
            self.rows["valves"].append(valve(f"V{key}", along(at, east, self._any(8.0, 92.0)), state))
        if self._chance(0.3):
            self._end_short_of(key, at, east)

    def _house(self, key: str, at: XY, east: bool, m: float) -> None:
        aside, short = self._any(7.0, -7.0), self._any(0.0, 0.0, 0.0, 0.0, 0.4, 3.0)
        end, start = along(at, east, m, aside), along(at, east, m, short if aside > 0 else -short)
        self.rows["services"].append(service(f"S{key}", start, end))
        place, given = end, {"service_id": f"S{key}"}
        kind = float(self.rng.random())
        if kind < 0.15:
            given = {}
        elif kind < 0.25:
            given = {"service_id": f"S{key};S-gone"}
        elif kind < 0.3:
            place, given = along(at, east, m, 4 * aside), {}
        if self._chance(0.2):
            given["priority"] = self._any("hospital", "school", "care_home")
        self.rows["customers"].append(customer(f"C{key}", place, **given))

    def _misrecord_houses(self) -> None:
        """Swap the service ids of some pairs of houses, and set others between two service ends."""
        houses, services = self.rows["customers"], self.rows["services"]
        for _ in range(3):
            one, other = (houses[int(k)] for k in self.rng.choice(len(houses), 2, replace=False))
            if "service_id" in one and "service_id" in other:
                one["service_id"], other["service_id"] = other["service_id"], one["service_id"]
        for k in range(3):
            row = services[int(self.rng.integers(len(services)))]
            x, y = (float(v) for v in row["geometry"].coords[-1][:2])
            end, name = (x - EAST_M, y - NORTH_M), f"between{k}"
            aside = self._any(1.0, 2.25)
            beside = (end[0] + aside + 1.125, end[1])
            self.rows["services"].append(service(f"S{name}", (beside[0], beside[1] + 40.0), beside))
            self.rows["customers"].append(customer(f"C{name}", (end[0] + aside, end[1])))

    def _end_short_of(self, key: str, at: XY, east: bool) -> None:
        """Draw a main that ends short of the street's, and a house on it."""
        m, gap = self._any(30.0, 50.0, 70.0), self._any(1.2, 0.6)
        self.rows["mains"].append(main(f"X{key}", along(at, east, m, gap), along(at, east, m, 30.0)))
        end = along(at, east, m + 7.0, 20.0)
        self.rows["services"].append(service(f"SX{key}", along(at, east, m, 20.0), end))
        self.rows["customers"].append(customer(f"CX{key}", end, service_id=f"SX{key}"))

    def _corner(self, i: int, j: int, *, east: bool) -> XY:
        return (j * BLOCK_M, i * BLOCK_M) if east else (i * BLOCK_M, j * BLOCK_M)

    def _chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def _any(self, *choices: Any) -> Any:
        return choices[int(self.rng.integers(len(choices)))]


def along(at: XY, east: bool, m: float, aside: float = 0.0) -> XY:
    """Return the place so far along a street and beside it."""
    return (at[0] + m, at[1] + aside) if east else (at[0] + aside, at[1] + m)
