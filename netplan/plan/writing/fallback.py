"""Fallback stops as they stand in a plan."""

from __future__ import annotations

import numpy as np

from netplan.network.place import points_at
from netplan.plan import model
from netplan.plan.desk import Desk
from netplan.plan.fallback import FallbackAnswer
from netplan.plan.naming import stop_id

__all__ = ["fallbacks_of"]


def fallbacks_of(desk: Desk, answers: tuple[FallbackAnswer, ...]) -> tuple[model.Fallback, ...]:
    """Return the fallbacks of an option, both kinds of every stop."""
    network = desk.request.network
    found = []
    for answer in answers:
        pipe = np.array([stop.pipe for stop in answer.use], dtype=np.int64)
        xy = points_at(network, pipe, np.array([stop.chainage_m for stop in answer.use]))
        found.append(
            model.Fallback(
                stop_id=stop_id(answer.stop),
                failure=answer.failure,
                use=tuple(
                    model.FallbackUse(
                        valve_id=network.valves.id[stop.valve] if stop.valve >= 0 else None,
                        main_id=network.pipes.id[stop.pipe],
                        chainage_m=stop.chainage_m,
                        method=stop.method,
                        x=float(x),
                        y=float(y),
                    )
                    for stop, (x, y) in zip(answer.use, xy, strict=True)
                ),
                minutes=answer.minutes,
                standby=tuple(network.customers.id[row] for row in answer.standby),
                note=answer.note,
            )
        )
    return tuple(found)
