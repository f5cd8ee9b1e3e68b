"""Towns of the list-safety fuzz: two parts of the sample town, and one that has a use for every column."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import geopandas as gpd

from netplan.network.work_section import WorkPart
from tests.fuzz.districts import district
from tests.support.networks import (
    customer,
    fitting,
    injection,
    keep_out,
    layers,
    main,
    sensing_point,
    service,
    station,
    valve,
)

__all__ = ["TOWNS", "Town", "town"]

Layers = dict[str, gpd.GeoDataFrame]
Columns = dict[str, Any]
TOWNS = ("lane", "ward tail", "ward ring", "close")


@dataclass(frozen=True, slots=True, eq=False)
class Town:
    """Layers by the names of the contract, and the work section whose list is wanted."""

    name: str
    layers: Layers
    work: WorkPart


@lru_cache(maxsize=8)
def town(name: str) -> Town:
    """Return a town; each layer is to be copied before it is changed."""
    if name.startswith("ward"):
        work = WorkPart("M05", 40.0, 44.0) if name.endswith("tail") else WorkPart("M01", 136.0, 142.0)
        return Town(name, _ward(), work)
    frames, work = district(name)
    held = {layer: frame for layer, frame in frames.items() if len(frame) and layer not in _BASE}
    return Town(name, held, work)


_BASE = ("streets", "buildings", "water", "rail")
_STREETS = {
    # street: main, first corner, last corner, houses every so many metres
    "Alder Street": (("M01", (0, 0), (150, 0)), ("M02", (150, 0), (300, 0))),
    "Beech Street": (("M03", (300, 0), (300, 200)),),
    "Cherry Street": (("M04", (300, 200), (0, 200)),),
    "Elm Close": (("M05", (150, 0), (150, -150)),),
    "Dogwood Street": (("M06", (0, 200), (0, 0)),),
    "Fern Road": (("M07", (300, 200), (450, 200)), ("M08", (450, 200), (450, 60))),
}
_STEP_M = 14.0
_PRIORITY = {
    "00162": ("care_home", "night staff at the side door", "public"),
    "00164": ("medical", "oxygen at home", "household"),
    "00104": ("school", "key at the lodge", "public"),
    "00113": ("process", "oven, two hours to cool", "business"),
}


def _ward() -> Layers:
    """Return a ring with a close and a second district behind a closed valve; every column has a use."""
    mains, services, customers = list[Columns](), list[Columns](), list[Columns]()
    for street, parts in _STREETS.items():
        number = 1
        for name, start, end in parts:
            length = abs(end[0] - start[0]) + abs(end[1] - start[1])
            mains.append(
                main(
                    name,
                    start,
                    end,
                    od_mm=90.0 if street == "Elm Close" else 125.0,
                    sdr=17.0 if street == "Elm Close" else 11.0,
                    **_of_main(street, 1985 + 3 * len(mains)),
                )
            )
            along = (end[0] - start[0]) / length, (end[1] - start[1]) / length
            for k in range(int((length - 12.0) // _STEP_M) + 1):
                at = 8.0 + k * _STEP_M
                tap = (start[0] + along[0] * at, start[1] + along[1] * at)
                side = 9.0 if k % 2 else -9.0
                door = (tap[0] + along[1] * side, tap[1] - along[0] * side)
                place = len(services) + 1
                services.append(service(f"S{place:03}", tap, door, **_of_service(place)))
                customers.append(_household(f"{100 + place:05}", door, street, number, f"S{place:03}"))
                number += 1
    _second_services(services, customers)
    mains += _other_mains()
    return layers(
        mains=mains,
        services=services,
        customers=customers,
        regulators=[
            station("R1", (0, 0), capacity_m3h=900.0, **_LIVE),
            station("R2", (300, 200), capacity_m3h=900.0, **_LIVE),
            station("R3", (450, 60), capacity_m3h=600.0, **_LIVE),
            station("R9", (150, 60), capacity_m3h=900.0, system="LP", status="abandoned"),
        ],
        sensing_points=[
            sensing_point("R1", (4, 0)),
            sensing_point("R2", (296, 200)),
            sensing_point("R3", (450, 64)),
        ],
        valves=[
            valve("V1", (360, 200), "closed", system="LP"),
            valve("V2", (75, 0.0), "open", system="LP"),
            valve("V3", (151.2, 0), "open", system="LP", operable="unknown"),
            valve("V4", (0, 100), "unknown", system="LP"),
            valve("V5", (40, 32), "open", system="MP"),
        ],
        fittings=[
            fitting("F1", (150, -30), "squeeze_mark", system="LP"),
            fitting("F2", (150, 0), "tee", system="LP"),
            fitting("F3", (300, 0), "elbow", system="LP"),
            fitting("F4", (150, -150), "cap", system="LP"),
        ],
        injections=[injection("I1", (200, 200), system="LP")],
        keep_out=[keep_out("school yard", (146, -62), (154, -62), (154, -52), (146, -52))],
    )


_LIVE = {"system": "LP", "status": "live"}


def _of_main(street: str, year: int) -> Columns:
    return {
        **_LIVE,
        "mop_mbar": 75.0,
        "street": street,
        "surface": "footway",
        "year": float(year),
        "joint": "fusion",
        "host": "none",
        "depth_m": 0.8,
        "resin": "",
        "record_date": "2018-04-05",
    }


def _of_service(place: int) -> Columns:
    return {**_LIVE, "excess_flow_valve": "yes" if place % 3 else "no"}


def _household(name: str, door: tuple[float, float], street: str, number: int, feeds: str) -> Columns:
    code, note, category = _PRIORITY.get(name, ("", "", "household"))
    place = int(name)
    is_business = place % 17 == 0
    return customer(
        name,
        door,
        address=f"{number} {street}",
        street=street,
        number=str(number),
        postcode="QX7 3AB" if street < "C" else "QX7 4CD",
        category="business" if is_business and category == "household" else category,
        priority=code,
        priority_note=note,
        meters=6 if place % 13 == 0 else 1,
        annual_kwh=(float("nan") if is_business else 7000.0 + 911.0 * (place * 7 % 19))
        * (6 if place % 13 == 0 else 1),
        peak_kw=60.0 if is_business else float("nan"),
        service_id="" if place % 11 == 0 else feeds,
        service_regulator="no",
        language="de" if place % 9 == 0 else "",
    )


def _second_services(services: list[Columns], customers: list[Columns]) -> None:
    """Give one house of the close a second service from the street, and its neighbour a dead one."""
    corner = next(row for row in customers if row["address"] == "1 Elm Close")
    door = (141.0, -8.0)
    services.append(service("S901", (141, 0), door, **_of_service(1)))
    corner["service_id"] = f"{corner['service_id']};S901"
    services.append(service("S902", (150, -20), (158, -26), **{**_of_service(2), "status": "abandoned"}))


def _other_mains() -> list[Columns]:
    """Return a dead main across the ring, one that is planned, and one of medium pressure to the stations."""
    dead = {**_of_main("Alder Street", 1961), "status": "abandoned"}
    planned = {**_of_main("Elm Close", 2026), "status": "proposed"}
    pressure = {**_of_main("Alder Street", 1990), "system": "MP", "mop_mbar": 1000.0}
    return [
        main("M90", (150, 0), (150, 100), (150, 200), od_mm=125.0, **dead),
        main("M91", (150, -150), (300, -150), (300, 0), od_mm=90.0, sdr=17.0, **planned),
        main("M92", (0, 0), (80, 64), (220, 120), (300, 200), od_mm=180.0, **pressure),
    ]
