"""Towns so small that every ring can be tried, as raw layers."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.support.networks import XY, customer, fitting, keep_out, main, service, station, valve
from tests.whole_plan.draw import Town

__all__ = ["small_town"]

SURFACES = ("verge", "footway", "carriageway", "unmade", None)


def small_town(seed: int) -> Town:
    """Return a town of few mains, valves and houses, with stations of one pressure."""
    rng = np.random.default_rng([22, 3, seed])
    town = Town(seed)
    across, up = int(rng.integers(2, 4)), 2
    x = np.cumsum(rng.uniform(40.0, 110.0, across)).round(2)
    y = np.cumsum(rng.uniform(40.0, 110.0, up)).round(2)
    rows: dict[str, list[dict[str, Any]]] = {"mains": [], "valves": [], "services": [], "customers": []}
    rows |= {"fittings": [], "regulators": [], "keep_out": []}
    town.rows = rows
    spots: list[tuple[XY, XY]] = []
    for i in range(across):
        for j in range(up):
            for other in ((i + 1, j), (i, j + 1)):
                if other[0] < across and other[1] < up and rng.random() > 0.12:
                    spots.append(((x[i], y[j]), (x[other[0]], y[other[1]])))
    if rng.random() < 0.5:
        spots.append(((x[0], y[0]), (x[0] - float(rng.uniform(20.0, 60.0)), y[0])))
    if rng.random() < 0.3:
        # Two mains side by side between the same crossings.
        (x0, y0), (x1, y1) = spots[int(rng.integers(len(spots)))]
        _main(rows, rng, ((x0, y0), ((x0 + x1) / 2 + 2.0, (y0 + y1) / 2 + 2.0), (x1, y1)))
    for spot in spots:
        _main(rows, rng, spot)
    for k in range(int(rng.integers(1, 3))):
        i, j = int(rng.integers(across)), int(rng.integers(up))
        rows["regulators"].append(station(f"R{k}", (float(x[i]) + 0.0 * k, float(y[j]))))
    for k in range(int(rng.integers(0, 3))):
        line = rows["mains"][int(rng.integers(len(rows["mains"])))]["geometry"]
        tap = line.interpolate(float(rng.uniform(0.2, 0.8)), normalized=True)
        _house(rows, f"{k}", tap)
    if rng.random() < 0.2:
        line = rows["mains"][int(rng.integers(len(rows["mains"])))]["geometry"]
        at = line.interpolate(0.5, normalized=True)
        east, north = at.x - 3_500_000.0, at.y - 5_400_000.0
        corners = [(east - 6, north - 6), (east + 6, north - 6), (east + 6, north + 6), (east - 6, north + 6)]
        rows["keep_out"].append(keep_out("area", *corners))
    return town


def _main(rows: dict[str, list[dict[str, Any]]], rng: np.random.Generator, spot: tuple[XY, ...]) -> None:
    ident = f"M{len(rows['mains']):02d}"
    made: dict[str, Any] = {"material": "PE100", "year": 2001, "joint": "fusion"}
    made["od_mm"] = float(rng.choice([90.0, 110.0, 125.0, 180.0, 225.0]))
    made |= {"sdr": None, "wall_mm": round(made["od_mm"] / 11.0, 1)}
    if rng.random() < 0.15:
        made |= {"material": "cast_iron", "od_mm": 118.0, "wall_mm": 9.0, "joint": "socket", "year": 1950}
    made["surface"] = SURFACES[int(rng.integers(len(SURFACES)))]
    rows["mains"].append(main(ident, *spot, **made))
    line = rows["mains"][-1]["geometry"]
    for k in range(int(rng.choice([0, 0, 1, 1, 2]))):
        at = line.interpolate(float(rng.uniform(0.05, 0.95)), normalized=True)
        state, operable = str(rng.choice(["open"] * 5 + ["closed"])), str(rng.choice(["yes"] * 5 + ["no"]))
        place = (at.x - 3_500_000.0, at.y - 5_400_000.0)
        rows["valves"].append(valve(f"V{k}-{ident}", place, state, operable=operable))
    if rng.random() < 0.2:
        at = line.interpolate(float(rng.uniform(0.1, 0.9)), normalized=True)
        kind = str(rng.choice(["coupler", "squeeze_mark"]))
        rows["fittings"].append(fitting(f"F-{ident}", (at.x - 3_500_000.0, at.y - 5_400_000.0), kind))


def _house(rows: dict[str, list[dict[str, Any]]], name: str, tap: Any) -> None:
    east, north = tap.x - 3_500_000.0, tap.y - 5_400_000.0
    end = (east + 3.0, north + 4.0)
    rows["services"].append(service(f"S{name}", (east, north), end, wall_mm=3.0))
    rows["customers"].append(customer(f"C{name}", end, service_id=f"S{name}"))
