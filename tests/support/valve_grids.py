"""Random streets in a grid with valves of every record, for the emergency at every main."""

from __future__ import annotations

from typing import Any

import numpy as np

from netplan.network.model import Network
from tests.support.networks import build, customer, injection, main, service, station, valve

__all__ = ["valve_grid"]

STEP_M = 90.0


def valve_grid(seed: int) -> Network:
    """Return streets of a grid, some left out, with stations, valves and customers drawn at random."""
    draw = np.random.default_rng(seed)
    wide, high = int(draw.integers(2, 5)), int(draw.integers(2, 4))
    corners = [(i * STEP_M, j * STEP_M) for i in range(wide) for j in range(high)]
    pairs = [
        (a, b) for a in corners for b in corners if a < b and abs(a[0] - b[0]) + abs(a[1] - b[1]) == STEP_M
    ]
    joined, kept = {corners[0]}, []
    for a, b in [pairs[k] for k in draw.permutation(len(pairs))] * 2:
        if (a in joined) != (b in joined):
            joined |= {a, b}
            kept.append((a, b))
    kept += [pair for pair in pairs if pair not in kept and draw.random() < 0.35]
    mains: list[Any] = []
    valves: list[Any] = []
    services: list[Any] = []
    customers: list[Any] = []
    for row, (a, b) in enumerate(sorted(kept)):
        surface = str(draw.choice(["verge", "footway", "carriageway"]))
        mains.append(main(f"M{row}", a, b, surface=surface, street=f"Street {row}"))
        along = np.array([b[0] - a[0], b[1] - a[1]]) / STEP_M
        for name, at_m in (("a", 6.0), ("b", 84.0), ("c", 31.0)):
            if draw.random() < 0.3:
                place = tuple(np.array(a) + at_m * along)
                state = str(draw.choice(["open", "open", "open", "open", "closed", "unknown"]))
                operable = str(draw.choice(["yes", "yes", "unknown", "no"]))
                valves.append(valve(f"V{row}{name}", place, state=state, operable=operable))
        for name, at_m in (("x", 20.0), ("y", 62.0)):
            at = np.array(a) + at_m * along
            out = np.array([-along[1], along[0]]) * 8.0
            services.append(service(f"S{row}{name}", tuple(at), tuple(at + out)))
            customers.append(
                customer(
                    f"C{row}{name}",
                    tuple(at + out),
                    service_id=f"S{row}{name}",
                    meters=int(draw.integers(1, 9)),
                )
            )
    if len(services) > 4 and draw.random() < 0.7:
        here, there = draw.choice(len(customers), size=2, replace=False).tolist()
        also = {**services[there], "id": "S-second"}
        services.append(also)
        customers[here]["service_id"] += ";S-second"
    fed = draw.choice(len(corners), size=int(draw.integers(1, 3)), replace=False)
    regulators = [station(f"R{k}", corners[k]) for k in fed.tolist()]
    injections = [injection("GATE", corners[-1])] if draw.random() < 0.2 else []
    return build(
        mains=mains,
        services=services,
        customers=customers,
        regulators=regulators,
        valves=valves,
        injections=injections,
    )
