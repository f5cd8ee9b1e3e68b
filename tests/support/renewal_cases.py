"""Random small renewals: a street of a few mains with houses, side streets, valves, and stations at its ends."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.rules import Rules, read_rules
from tests.support.networks import customer, layers, main, service, station, valve

__all__ = ["RenewalCase", "renewal_case"]

STREET = "Long Row"
QUICK = {"seconds": 30.0, "max_zones": 200, "max_solves_without_option": 2000}


@dataclass(frozen=True)
class RenewalCase:
    """A renewal along the x axis, from x = 0 on.

    Parameters
    ----------
    network : Network
    rules : Rules
    own_supply : tuple of int
        Rows of priority customers with a supply of their own.
    hours : float
        Length of the window [h].
    junctions_m : tuple of float
        Where side streets leave it [m].
    """

    network: Network
    rules: Rules
    own_supply: tuple[int, ...]
    hours: float
    junctions_m: tuple[float, ...]


def renewal_case(seed: int) -> RenewalCase:
    """Return the renewal of a seed."""
    rng = np.random.default_rng(seed)
    lengths = rng.choice([25.0, 32.0, 40.0, 48.0], size=rng.integers(3, 5))
    joints = np.concatenate([[0.0], np.cumsum(lengths)]).tolist()
    end = joints[-1]
    size = float(rng.choice([63.0, 90.0, 110.0]))
    rows: dict[str, Any] = {name: [] for name in ("mains", "services", "customers", "regulators", "valves")}
    for k, (low, high) in enumerate(itertools.pairwise(joints)):
        ends = ((low, 0.0), (high, 0.0)) if rng.random() < 0.7 else ((high, 0.0), (low, 0.0))
        rows["mains"].append(main(f"M{k}", *ends, street=STREET, od_mm=size, year=2010))
    rows["mains"] += [main("W", (-60, 0), (0, 0), year=2010), main("E", (end, 0), (end + 60, 0), year=2010)]
    rows["regulators"].append(station("RW", (-60, 0)))
    if rng.random() < 0.6:
        rows["regulators"].append(station("RE", (end + 60, 0)))
    junctions = [x for x in joints[1:-1] if rng.random() < 0.4]
    for k, x in enumerate(junctions):
        rows["mains"].append(main(f"X{k}", (x, 0), (x, 70), od_mm=90.0, year=2010))
        if rng.random() < 0.5:
            rows["regulators"].append(station(f"RX{k}", (x, 70)))
        _house(rows, f"X{k}", (x, 50.0), (x + 8, 50.0), rng, priority=0.3)
    _house(rows, "W", (-50.0, 0.0), (-50.0, 8.0), rng)
    _house(rows, "E", (end + 50.0, 0.0), (end + 50.0, 8.0), rng, priority=0.3)
    for k, x in enumerate(np.arange(6.0, end, float(rng.choice([9.0, 13.0, 17.0]))).tolist()):
        if min(abs(x - joint) for joint in joints) > 2.0:
            _house(rows, f"{k}", (x, 0.0), (x, 8.0), rng)
    for k in range(int(rng.integers(0, 3))):
        rows["valves"].append(valve(f"V{k}", (float(np.round(rng.uniform(2.0, end - 2.0), 1)), 0.0)))
    network = build_network(layers(**rows), strict=False)
    own = tuple(
        row for row in range(len(network.customers)) if network.customers.priority[row] and rng.random() < 0.5
    )
    rules = read_rules(
        None,
        {
            "staging": {
                "step_m": 50,
                "longest_m": float(rng.choice([60.0, 75.0, 100.0])),
                "shortest_m": 10,
                "share_m": float(rng.choice([0.0, 4.0, 8.0])),
                "bypass_move": float(rng.choice([0.0, 400.0, 2000.0])),
                "plans_max": 10_000,
                "ways": int(rng.choice([1, 2, 3])),
            },
            "choice": QUICK,
            "price": {"bypass": float(rng.choice([100.0, 900.0]))},
        },
    )
    hours = float(rng.choice([13.0, 16.0, 24.0]))
    return RenewalCase(network, rules, own, hours, tuple(x for x in (0.0, *junctions, end)))


def _house(
    rows: dict[str, list[Any]],
    name: str,
    tee: tuple[float, float],
    at: tuple[float, float],
    rng: Any,
    *,
    priority: float = 0.005,
) -> None:
    rows["services"].append(service(f"S{name}", tee, at))
    more: dict[str, Any] = {"meters": int(rng.choice([1, 1, 1, 2, 4]))}
    if rng.random() < priority:
        more["priority"] = "care home"
    rows["customers"].append(customer(f"C{name}", at, service_id=f"S{name}", **more))
