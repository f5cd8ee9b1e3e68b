"""A few streets on whose records somebody's gas hangs: each kind of doubtful record once, and who hangs on it.

The work is in the middle of the main W, which leaves A northward and ends in a tail that B could feed. The
hospital and two houses on H hang on the valve V-H, whose state is not recorded.
"""

from __future__ import annotations

from typing import Any

from tests.support.networks import customer, layers, main, service, station, valve

__all__ = ["EXPECTED", "WORK", "doubtful_town"]

WORK = ("W", 48.0, 52.0)

EXPECTED = {
    # Three customers behind a valve of unknown state that is their only recorded way.
    ("C-hospital", "valves", "V-H"),
    ("C-h1", "valves", "V-H"),
    ("C-h2", "valves", "V-H"),
    # G is fed from both sides; if V-G is closed, only the work's main feeds it.
    ("C-g", "valves", "V-G"),
    # The service of C-short ends 0.4 m short of the work's main: no station by the records.
    ("C-short", "services", "S-short"),
    ("C-short", "customers", "C-short"),
    # N ends 1.2 m short of the work's main, and nothing else feeds it.
    ("C-n", "mains", "N"),
    ("C-n", "customers", "C-n"),
    # C-guess names no service: the nearest end is one of A, another within 5 m is one of W.
    ("C-guess", "customers", "C-guess"),
    # C-part has two services, one of which is not recorded; an end of W lies beside it.
    ("C-part", "customers", "C-part"),
    # C-lost is on no pipe at all.
    ("C-lost", "customers", "C-lost"),
}
"""Customer, layer and record in doubt where the stops stand beside the work and no feed is taken."""


def doubtful_town() -> dict[str, Any]:
    """Return the layers of the town."""
    mains = [
        main("A", (0, 0), (300, 0), od_mm=180),
        main("W", (100, 0), (100, 100)),
        main("H", (200, 0), (200, 80)),
        main("G", (100, 100), (160, 100), (160, 0)),
        main("N", (98.8, 50), (60, 50)),
        main("D", (100, 46.5), (140, 46.5)),  # in the zone, behind a closed valve: off, and so not in doubt
    ]
    houses = {
        "C-w": (service("S-w", (100, 49), (107, 49)), {}),
        "C-hospital": (
            service("S-hospital", (200, 60), (207, 60)),
            {"priority": "hospital", "priority_note": "ring the night desk"},
        ),
        "C-h1": (service("S-h1", (200, 70), (207, 70)), {}),
        "C-h2": (service("S-h2", (200, 75), (207, 75)), {}),
        "C-g": (service("S-g", (160, 60), (167, 60)), {}),
        "C-short": (service("S-short", (100.4, 51), (107, 51)), {"priority": "care_home"}),
        "C-n": (service("S-n", (70, 50), (70, 57)), {}),
        "C-d": (service("S-d", (130, 46.5), (130, 53)), {}),
        "C-a": (service("S-a", (40, 0), (40, 8)), {}),
    }
    services = [row for row, _ in houses.values()]
    services += [
        service("S-g1", (100, 50.5), (94, 54)),
        service("S-g2", (80, 0), (92, 54)),
        service("S-p1", (100, 51.5), (100.5, 58)),
        service("S-p2", (240, 0), (240, 8)),
    ]
    customers = [
        customer(name, ends_at(row), service_id=row["id"], **more) for name, (row, more) in houses.items()
    ]
    customers += [
        customer("C-guess", (92.25, 54)),
        customer("C-part", (101, 59), service_id="S-p2;S-gone"),
        customer("C-lost", (20, 40)),
    ]
    return layers(
        mains=mains,
        services=services,
        customers=customers,
        regulators=[station("R1", (0, 0)), station("R2", (300, 0))],
        valves=[
            valve("V-H", (200, 10), "unknown"),
            valve("V-G", (160, 10), "unknown"),
            valve("V-D", (102, 46.5), "closed"),
        ],
    )


def ends_at(row: dict[str, Any]) -> tuple[float, float]:
    """Return the last vertex of a service on the test grid."""
    x, y = row["geometry"].coords[-1][:2]
    return x - 3_500_000.0, y - 5_400_000.0
