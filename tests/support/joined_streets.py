"""Random towns whose streets are recorded as many mains end to end, with hardly a fitting on record."""

from __future__ import annotations

import itertools
import random
from typing import Any

import geopandas
from shapely.geometry import LineString, Point

from tests.support import networks
from tests.support.networks import customer, fitting, main, service, station

Layers = dict[str, geopandas.GeoDataFrame]
XY = tuple[float, float]

__all__ = ["joined_streets", "row_of_mains"]

SURFACES = ("verge", "footway", "carriageway", "unmade", "unknown")


def joined_streets(seed: int) -> tuple[Layers, tuple[str, float, float]]:
    """Return the layers of a ladder of two streets and three lanes, and a work section on one of its mains."""
    rng = random.Random(seed)  # noqa: S311
    corners: list[XY] = [(0, 0), (70, 0), (140, 0), (0, 60), (70, 60), (140, 60)]
    pairs = [(0, 1), (1, 2), (3, 4), (4, 5), (0, 3), (1, 4), (2, 5)]
    if rng.random() < 0.4:
        pairs.remove(rng.choice([(1, 4), (2, 5)]))
    mains: list[dict[str, Any]] = []
    for a, b in pairs:
        mains += _parts(rng, f"M{a}{b}", corners[a], corners[b], rng.choice([110.0, 125.0]))
    layers: dict[str, Any] = {
        "mains": mains,
        "regulators": [station("R1", (-9, 0))],
        # A bend is drawn in one place: its elbow is recorded.
        "fittings": [fitting(f"F{n}", at, "elbow") for n, at in enumerate(corners) if n in (0, 2, 3, 5)],
        "services": [],
        "customers": [],
    }
    mains.append(main("N1", (-9, 0), (0, 0), od_mm=180.0, year=2010))
    if rng.random() < 0.7:
        layers["regulators"].append(station("R2", (149, 60)))
        mains.append(main("N2", (149, 60), (140, 60), od_mm=180.0, year=2010))
    for n in range(rng.randint(3, 7)):
        one, other = rng.choice(pairs)
        (x0, y0), (x1, y1) = corners[one], corners[other]
        share = rng.uniform(0.1, 0.9)
        x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
        end = (x + 3.0, y + 4.0)
        layers["services"].append(service(f"S{n}", (x, y), end))
        layers["customers"].append(customer(f"C{n}", end, service_id=f"S{n}"))
    named = [row for row in mains if row["id"].startswith("M")]
    of = rng.choice(named)
    size = of["geometry"].length
    start = rng.choice([0.0, rng.uniform(0.0, 0.6 * size)])
    until = rng.choice([size, rng.uniform(start + 0.2 * size, size)])
    return networks.layers(**layers), (of["id"], start, until)


def _parts(rng: random.Random, name: str, a: XY, b: XY, od_mm: float) -> list[dict[str, Any]]:
    size = abs(b[0] - a[0]) + abs(b[1] - a[1])
    marks, at = [0.0], 0.0
    while at < size - 4.0:
        at += rng.choice([rng.uniform(2.0, 6.0), rng.uniform(5.0, 30.0)])
        marks.append(at)
    marks = [*(mark for mark in marks if mark < size - 2.0), size]
    found = []
    for n, (low, high) in enumerate(itertools.pairwise(marks)):
        ends = [
            (a[0] + share / size * (b[0] - a[0]), a[1] + share / size * (b[1] - a[1]))
            for share in (low, high)
        ]
        found.append(
            main(
                f"{name}-{n}",
                *ends[:: rng.choice([1, -1])],
                od_mm=od_mm,
                year=rng.choice([2000, 2000, 2000, 2004, None]),
                surface=rng.choice(SURFACES),
            )
        )
    return found


def row_of_mains(sizes: list[tuple[float, str]], **columns: Any) -> list[dict[str, Any]]:
    """Return mains end to end along a street from 0, each of a length [m] and with a surface."""
    found, at = [], 0.0
    for n, (size, surface) in enumerate(sizes):
        ends = [(at, 0.0), (at + size, 0.0)]
        found.append(main(f"A{n}", *ends, **{"surface": surface, "year": 2000, **columns}))
        at += size
    return found


class RawMains:
    """What the raw layers say of mains: where their ends are, and what makes an end more than a record's.

    Shares nothing with the package: shapely on the layers alone.
    """

    def __init__(self, layers: Layers) -> None:
        self.row = {row.id: row for row in layers["mains"].itertuples()}
        self.line: dict[str, LineString] = {name: row.geometry for name, row in self.row.items()}
        self.ends = sorted({self.key(at) for line in self.line.values() for at in _ends_of(line)})
        self.marked = [
            at
            for name in ("fittings", "services", "customers", "regulators", "valves")
            for shape in (layers[name].geometry if name in layers else ())
            for at in _ends_of(shape)
        ]

    @staticmethod
    def key(at: Point) -> tuple[float, float]:
        return round(at.x, 3), round(at.y, 3)

    def at(self, main_id: str, chainage_m: float) -> Point:
        return self.line[main_id].interpolate(chainage_m)

    def meeting(self, end: tuple[float, float]) -> list[str]:
        """Return the mains that have an end here or run through."""
        return sorted(name for name, line in self.line.items() if line.distance(Point(end)) < 0.01)

    def is_record_boundary(self, end: tuple[float, float]) -> bool:
        """Whether two mains of the same size, material and year meet here and nothing else is recorded."""
        names = self.meeting(end)
        if len(names) != 2 or any(at.distance(Point(end)) < 0.06 for at in self.marked):
            return False
        one, two = (self.row[name] for name in names)
        same = all(getattr(one, what) == getattr(two, what) for what in ("od_mm", "sdr", "material", "year"))
        return bool(same)


def _ends_of(shape: Any) -> list[Point]:
    if isinstance(shape, Point):
        return [shape]
    return [Point(shape.coords[0]), Point(shape.coords[-1])]
