"""A street that is renewed in stages."""

from __future__ import annotations

from netplan.network.model import Network
from tests.support.networks import build, customer, main, service, station, valve

__all__ = ["long_row"]


def long_row(valves: tuple[float, ...] = (75.0,), street: str = "Long Row") -> Network:
    """Return a street of three mains between two stations, with a side street fed from a third."""
    taps = [float(x) for x in range(20, 160, 20)]
    return build(
        mains=[
            main("A", (0, 0), (60, 0), street=street),
            main("B", (110, 0), (60, 0), street=street),
            main("C", (110, 0), (160, 0), street=street.lower().replace(" ", "  ")),
            main("X", (60, 0), (60, 70), street="Side Row"),
            main("Y", (-60, 0), (0, 0)),
            main("Z", (160, 0), (220, 0)),
        ],
        services=[service(f"S{k}", (x, 0), (x, 8)) for k, x in enumerate(taps)]
        + [
            service("SX", (60, 60), (68, 60)),
            service("SY", (-50, 0), (-50, 8)),
            service("SZ", (210, 0), (210, 8)),
        ],
        customers=[customer(f"C{k}", (x, 8), service_id=f"S{k}") for k, x in enumerate(taps)]
        + [
            customer("CX", (68, 60), service_id="SX"),
            customer("CY", (-50, 8), service_id="SY"),
            customer("CZ", (210, 8), service_id="SZ"),
        ],
        regulators=[station("R1", (-60, 0)), station("R2", (220, 0)), station("R3", (60, 70))],
        valves=[valve(f"V{k}", (x, 0)) for k, x in enumerate(valves)],
    )
