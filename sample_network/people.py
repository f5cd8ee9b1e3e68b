"""Customers and the services that feed them."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely

from sample_network.houses import House
from sample_network.mains import Main
from sample_network.roads import Road

__all__ = ["make_people"]

_PUBLIC: Final = {
    "hospital": ("Ring Road Hospital", "hospital", 700.0, 4_100_000.0, 2,
        "Call the duty engineer on the site radio first; boiler house at the rear gate."),
    "school": ("Lapwing Avenue School", "school", None, 620_000.0, 1,
        "Kitchen serves hot meals from 11:30; caretaker opens the plant room."),
    "care home": ("Hazel Close Care Home", "care_home", None, 240_000.0, 1,
        "38 residents, six of them bedridden; no heating for more than one hour in winter."),
    "laundry works": ("Estate Laundry Works", "process", 450.0, 1_900_000.0, 1,
        "Dryers must be run down before gas goes off; shift leader needs two hours."),
}  # fmt: skip
_QUARTER_CODE: Final = {
    "core": 1,
    "hillside": 2,
    "northeast": 3,
    "west": 4,
    "southbank": 5,
    "trading estate": 6,
}
_LETTERS: Final = "ABDEFGHJLNPQRSTUWXYZ"
_TWICE: Final = ("hospital", "school", "laundry works")


class _Streets:
    def __init__(self, mains: list[Main]) -> None:
        self.mains = [m for m in mains if m.system == "LP" and m.status == "live" and m.line.length > 6]

    def foot(self, door: Any, road: int, not_on: str = "") -> tuple[Main, Any]:
        near = [m for m in self.mains if m.id != not_on]
        own = [m for m in near if m.road == road and m.line.distance(door) < 45] or near
        main = min(own, key=lambda m: float(m.line.distance(door)))
        at = min(max(main.line.project(door), 0.9), main.line.length - 0.9)
        return main, shapely.Point(np.round(main.line.interpolate(at).coords[0], 3))


def _service(
    n: int, main: Main, foot: Any, door: Any, large: int, rng: np.random.Generator
) -> dict[str, Any]:
    year = int(main.facts["year"])
    steel = not large and main.facts["material"] == "cast_iron" and rng.random() < 0.5
    efv = "yes" if year >= 2006 and not large else "no" if year < 1998 or large else "unknown"
    return {
        "id": f"S{n + 1:05d}", "material": "steel" if steel else "PE100" if year > 2001 else "PE80",
        "od_mm": 42.4 if steel else float(large or 32),
            "sdr": None if steel else 17.0 if large > 75 else 11.0,
        "bore_mm": 37.2 if steel else None, "system": "LP", "status": "live", "excess_flow_valve": efv,
        "geometry": shapely.LineString([foot, door]),
    }  # fmt: skip


def _kind(house: House, road: Road, rng: np.random.Generator) -> tuple[str, float | None, float | None]:
    """Return category, yearly energy [kWh] and peak power [kW]."""
    if house.quarter == "trading estate":
        if rng.random() < 0.35:
            return "industry", float(round(rng.uniform(120, 420))), float(round(rng.lognormal(12.6, 0.5), -3))
        return "business", None, float(round(rng.lognormal(11.4, 0.5), -2))
    share = 0.34 if road.name in ("High Street", "Bridge Street") and house.quarter == "core" else 0.025
    if rng.random() < share:
        return "business", None, float(round(rng.lognormal(10.6, 0.45), -2))
    mean = 9.55 if house.quarter == "core" else 9.85 if house.quarter == "hillside" else 9.65
    return "household", None, float(round(rng.lognormal(mean, 0.3), -1))


def _row(house: House, road: Road, n: int, flat: int) -> dict[str, Any]:
    line = f"{house.number} {road.name}"
    first, second = _LETTERS[house.road % 20], _LETTERS[(house.road // 20 + int(house.at_m // 400)) % 20]
    return {
        "id": f"C{n + 1:05d}", "address": f"Flat {flat}, {line}" if flat else line, "street": road.name,
        "number": str(house.number), "priority": "", "priority_note": "", "meters": 1, "language": "",
        "postcode": f"QX{_QUARTER_CODE[house.quarter]} {1 + house.road % 9}{first}{second}",
        "service_regulator": "no",
    }  # fmt: skip


def make_people(
    houses: list[House], roads: list[Road], mains: list[Main], rng: np.random.Generator
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return services and customers, in the order of streets and numbers."""
    streets = _Streets(mains)
    services: list[dict[str, Any]] = []
    customers: list[dict[str, Any]] = []
    for house in sorted(houses, key=lambda h: (roads[h.road].name, h.number, h.at_m)):
        if house.tag.startswith("RS-"):
            continue
        door = shapely.Point(np.round(house.door, 3))
        main, foot = streets.foot(door, house.road)
        flats = (
            int(rng.integers(4, 9))
            if house.quarter == "core" and not house.tag and rng.random() < 0.035
            else 0
        )
        category, peak, kwh = _kind(house, roads[house.road], rng)
        big = {"hospital": 125, "laundry works": 110, "school": 90, "care home": 63}.get(house.tag, 0)
        large = big or (63 if flats or category == "industry" or (kwh or 0) > 90_000 else 0)
        services.append(_service(len(services), main, foot, door, large, rng))
        ids = [services[-1]["id"]]
        if house.tag in _TWICE:
            x, y = house.shape.exterior.coords[2]
            back = shapely.Point(round(x, 3), round(y, 3))
            other, tap = streets.foot(back, -1, main.id)
            services.append(_service(len(services), other, tap, back, big, rng))
            ids.append(services[-1]["id"])
        for flat in range(1, flats + 1) if flats else (0,):
            row = _row(house, roads[house.road], len(customers), flat)
            row |= {"category": "household" if flats else category, "peak_kw": None if flats else peak}
            row["annual_kwh"] = float(round(rng.lognormal(9.0, 0.25), -1)) if flats else kwh
            row |= {"service_id": ";".join(ids), "geometry": door}
            if flats == 0 and house.tag:
                name, code, peak_kw, energy, meters, note = _PUBLIC[house.tag]
                row |= {
                    "address": f"{name}, {row['address']}",
                    "priority": code,
                    "peak_kw": peak_kw,
                    "annual_kwh": energy,
                }
                row |= {
                    "meters": meters,
                    "priority_note": note,
                    "category": "industry" if code == "process" else "public",
                }
            if row["category"] == "household" and rng.random() < 0.02:
                row["language"] = "de"
            customers.append(row)
    return services, customers
