"""Regulator stations, their outlet mains, and the medium-pressure main that feeds them."""

from __future__ import annotations

import itertools
from typing import Any, Final

import numpy as np
import shapely
from shapely import ops

from sample_network.houses import House
from sample_network.mains import Main
from sample_network.roads import Road

__all__ = ["GATE_M", "medium_pressure", "outlet_mains", "station_rows"]

_OUTLETS: Final = {"RS-1": (30.0, 55.0, 900.0), "RS-2": (31.0, 58.0, 1600.0), "RS-3": (30.0, 60.0, 1100.0)}
"""Outlet and fault pressure [mbar gauge] and capacity [m³/h] of each station."""

_MP_OFFSET_M: Final = -2.6
GATE_M: Final = 85.0
"""How far west of the first street the gate station stands [m]."""

_ROUTE: Final = ("Westgate Road", "Ring Road North", "Foundry Road")


def _rounded(line: Any) -> Any:
    return shapely.transform(line, lambda c: np.round(c, 3))


def outlet_mains(mains: list[Main], roads: list[Road], houses: list[House]) -> list[Main]:
    """Return the main from each station to the main in its street, which it joins at its interior."""
    found = []
    for house in (h for h in houses if h.tag.startswith("RS-")):
        place = shapely.Point(house.shape.centroid)
        own = min((m for m in mains if m.road == house.road), key=lambda m: float(m.line.distance(place)))
        at = min(max(own.line.project(place), 4.0), own.line.length - 4.0)
        foot = own.line.interpolate(at)
        od = 250.0 if house.tag == "RS-1" else 315.0
        facts = {
            "material": "PE100", "od_mm": od, "sdr": 17.0, "joint": "fusion", "year": 2011, "host": "none",
            "resin": "PE100 orange HD", "street": roads[house.road].name, "surface": "verge", "depth_m": 0.9,
            "mop_mbar": 75.0, "record_date": "2011-09-14", "outlet": True,
        }  # fmt: skip
        line = _rounded(shapely.LineString([place, foot]))
        found.append(Main("", house.road, 0.0, 0.0, line, od, facts=facts))
    return found


def _route(roads: list[Road], end: Any) -> Any:
    by_name = {road.name: road.line for road in roads}
    parts = []
    for name in _ROUTE:
        line = by_name[name]
        parts.append(line if line.coords[0][0] < line.coords[-1][0] else line.reverse())
    points: list[Any] = []
    for k, line in enumerate(parts):
        stop = (
            line.project(end) if k == len(parts) - 1 else line.project(shapely.Point(parts[k + 1].coords[0]))
        )
        points += list(ops.substring(line, 0, stop).coords)[(1 if k else 0) :]
    first = points[0]
    return shapely.LineString(
        [(first[0] - GATE_M, first[1] + 24.0), (first[0] - 30.0, first[1] + 6.0), *points]
    )


def medium_pressure(roads: list[Road], houses: list[House]) -> list[Main]:
    """Return the medium-pressure main from the gate to the stations, with a branch to each."""
    stations = [h for h in houses if h.tag.startswith("RS-")]
    line = _route(roads, shapely.Point(next(h for h in stations if h.tag == "RS-3").shape.centroid))
    line = line.offset_curve(_MP_OFFSET_M, join_style="mitre").simplify(0.15)
    line = _rounded(line)
    cuts = np.linspace(0, line.length, 6)
    found = []
    for k, (low, high) in enumerate(itertools.pairwise(cuts.tolist())):
        steel = k < 3
        facts = {
            "material": "steel" if steel else "PE100", "od_mm": 219.1 if steel else 180.0,
            "bore_mm": 206.5 if steel else None, "sdr": None if steel else 11.0,
            "joint": "fusion", "year": 1974 if steel else 2006, "host": "none",
            "resin": "" if steel else "PE100 orange HD",
            "street": "", "surface": "verge", "depth_m": 1.1, "mop_mbar": 4000.0, "record_date": "2015-03-02",
        }  # fmt: skip
        piece = _rounded(ops.substring(line, low, high))
        found.append(Main("", -1, low, high, piece, 219.1 if steel else 180.0, system="MP", facts=facts))
    for house in stations:
        kiosk = shapely.Point(house.shape.centroid.x + 1.2, house.shape.centroid.y + 0.4)
        own = min(found[:5], key=lambda m: float(m.line.distance(kiosk)))
        along = own.line.project(kiosk)
        along = own.line.length if own.line.length - along < 5.0 else along
        foot = own.line.interpolate(along)
        facts = dict(found[4].facts, od_mm=125.0, year=2011)
        found.append(
            Main(
                "",
                house.road,
                0.0,
                0.0,
                _rounded(shapely.LineString([foot, kiosk])),
                125.0,
                "MP",
                facts=facts,
            )
        )
    return found


def station_rows(houses: list[House], mains: list[Main]) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return regulators and sensing points; RS-3 reads the pressure far away, on Eastgate."""
    regulators, sensing = [], []
    for house in sorted((h for h in houses if h.tag.startswith("RS-")), key=lambda h: h.tag):
        outlet, most, capacity = _OUTLETS[house.tag]
        place = shapely.Point(np.round(house.shape.centroid.coords[0], 3))
        regulators.append(
            {"id": house.tag, "outlet_mbar": outlet, "max_outlet_mbar": most, "capacity_m3h": capacity,
             "system": "LP", "status": "live", "geometry": place}
        )  # fmt: skip
        if house.tag == "RS-3":
            far = shapely.Point(1160.0, 482.0)
            own = min((m for m in mains if m.system == "LP"), key=lambda m: float(m.line.distance(far)))
            at = shapely.Point(np.round(own.line.interpolate(own.line.project(far)).coords[0], 3))
        else:
            at = place
        sensing.append({"station_id": house.tag, "geometry": at})
    return regulators, sensing
