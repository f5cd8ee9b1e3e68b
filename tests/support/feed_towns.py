"""Small random towns whose cheapest plan feeds a part by a bypass or hose."""

from __future__ import annotations

from typing import Any

import numpy as np
from geopandas import GeoDataFrame

from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.request import PlanRequest
from netplan.rules import Rules, read_rules
from tests.support.networks import Row, build, customer, layers, main, service, station

__all__ = ["town_layers", "town_request"]

SIZES = (110.0, 125.0, 160.0)


def _rules(rng: np.random.Generator) -> Rules:
    # Customers are dear, so that they are fed rather than turned off; hoses are cheap or dear.
    return read_rules(
        overrides={
            "price": {
                "off_per_hour": {"household": 900.0, "business": 900.0, "industry": 900.0, "public": 900.0},
                "hose_per_m": float(rng.choice([10.0, 60.0])),
            },
            "bypass": {"velocity_max_m_s": float(rng.choice([6.0, 20.0])), "parallel_max": 3},
        }
    )


def _rows(rng: np.random.Generator) -> tuple[dict[str, Any], WorkPart]:
    """Lay a trunk with two side streets, a tail behind the work, and in a third of the towns a way round."""
    first, middle, last = rng.uniform(90, 200), rng.uniform(90, 160), rng.uniform(80, 220)
    size = [float(od) for od in rng.choice(SIZES, 3)]
    bend = float(rng.uniform(60, 140))
    mains = [
        main("M1", (0, 0), (first, 0), od_mm=160.0),
        main("M2", (first, 0), (first + middle, 0), od_mm=size[0]),
        main("M3", (first + middle, 0), (first + middle, last), od_mm=size[1]),
        main("M4", (first, 0), (first, bend), od_mm=size[2]),
    ]
    if rng.random() < 0.35:
        mains.append(main("M5", (first, bend), (first + middle, last), od_mm=63.0))
    elif rng.random() < 0.35 and bend < last - 10.0:
        # A street that ends close to the tail: a hose may bridge the gap.
        mains.append(main("M6", (first, bend), (first + middle - float(rng.uniform(8, 20)), bend)))
    services: list[Row] = []
    customers: list[Row] = []

    def house(x: float, y: float, dx: float) -> None:
        number = len(services)
        services.append(service(f"S{number:02d}", (x, y), (x + dx, y)))
        customers.append(
            customer(
                f"C{number:02d}",
                (x + dx, y),
                service_id=f"S{number:02d}",
                annual_kwh=float(rng.uniform(8_000, 90_000)),
                category=str(rng.choice(["household", "household", "household", "business", "public"])),
            )
        )

    for y in np.arange(12.0, last - 3.0, rng.uniform(8.0, 14.0)):
        house(first + middle, float(y), 7.0)
    for y in np.arange(15.0, bend - 3.0, rng.uniform(14.0, 25.0)):
        house(first, float(y), -7.0)
    stations = [station("R1", (0, 0), outlet_mbar=float(rng.uniform(26.0, 45.0)))]
    work = float(rng.uniform(30.0, middle - 45.0))
    part = WorkPart("M2", work, work + float(rng.uniform(2.0, 15.0)))
    return {"mains": mains, "services": services, "customers": customers, "regulators": stations}, part


def _network(rng: np.random.Generator) -> tuple[Network, WorkPart]:
    rows, work = _rows(rng)
    return build(**rows), work


def town_layers(seed: int) -> dict[str, GeoDataFrame]:
    """Return the layers of a random town as they are read."""
    rng = np.random.default_rng(seed)
    _rules(rng)
    return layers(**_rows(rng)[0])


def town_request(seed: int) -> PlanRequest:
    """Return a request for one option on a random town."""
    rng = np.random.default_rng(seed)
    rules = _rules(rng)
    network, work = _network(rng)
    return PlanRequest(network, (work,), rules, air_temp_c=float(rng.uniform(-10.0, 8.0)), options=1)
