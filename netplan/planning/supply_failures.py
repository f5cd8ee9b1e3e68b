"""What else may fail while the main is cut: a bypass, a hose, an opened valve, a station."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import FailureCase

__all__ = ["MOST_NODES", "LossAnswer", "losses", "stations_left_out"]

MOST_NODES: Final = 120_000
"""Nodes of a network above which the loss of a station is not solved: it is felt in all of it (own) [-]."""
MOST_STATIONS: Final = 4
"""Stations whose loss is solved: those nearest to the stops (own) [-]."""


@dataclass(frozen=True, slots=True)
class LossAnswer:
    """Who has no gas or too little when a feed or a station is lost with all stops in.

    Parameters
    ----------
    what : str
        "bypass", "hose", "opened valve" or "station".
    id : str
    customers : tuple of str
        Customers kept so far.
    note : str
        In words.
    """

    what: str
    id: str
    customers: tuple[str, ...]
    note: str


def losses(option: EvaluatedOption, case: FailureCase) -> tuple[LossAnswer, ...]:
    """Return what the loss of each feed and of the stations nearest to the work does, each by itself.

    Solved in every hour to check with all stops in and everybody off who is off by plan.
    """
    found: list[LossAnswer] = []
    for feed in case.feeds:
        after = case.after(case.planned, lost_feeds={feed.id})
        words = "it shuts or is shut" if feed.valve_piece >= 0 else "shut it at both ends"
        found.append(LossAnswer(feed.what, feed.id, after.customers, "; ".join((words, *after.notes))))
    whole = case.whole
    stations = whole.context.request.network.stations
    for row in _nearest_stations(option, case):
        after = case.after(case.planned, lost_station=row)
        words = "it gives nothing any more"
        found.append(
            LossAnswer("station", stations.id[row], after.customers, "; ".join((words, *after.notes)))
        )
    return tuple(found)


def stations_left_out(case: FailureCase) -> bool:
    """Return whether the network is too large to solve the loss of a station."""
    return len(case.whole.context.request.network.nodes) > MOST_NODES


def _nearest_stations(option: EvaluatedOption, case: FailureCase) -> list[int]:
    """Return the stations nearest to the stops, of those that reach a stop or a feed, nearest first."""
    whole = case.whole
    if stations_left_out(case):
        return []
    network = whole.context.request.network
    live = case.nodes_in_whole(np.array([stop.live_node for stop in option.cut.stops], dtype=np.int64))
    label = whole.labels(whole.planned)
    stations, nodes = network.stations, network.nodes
    rows = np.flatnonzero(stations.node >= 0)
    rows = rows[np.isin(label[stations.node[rows]], label[live])]
    if not len(rows) or not len(live):
        return []
    x, y = nodes.x_m[stations.node[rows]], nodes.y_m[stations.node[rows]]
    away = np.hypot(x[:, None] - nodes.x_m[live], y[:, None] - nodes.y_m[live]).min(axis=1)
    ids = [stations.id[row] for row in rows.tolist()]
    order = sorted(range(len(rows)), key=lambda k: (round(float(away[k]), 3), ids[k]))
    return [int(rows[k]) for k in order[:MOST_STATIONS]]
