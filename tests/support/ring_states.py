"""States of an emergency ring solved by other means: pieces as plain links, Newton's method of its own.

From the answer only what it says on paper is used: the stops by valve id or main and chainage, and where the hit
is. Demand is the program's, by customer (it has laws of its own), shared out by the parts that networkx finds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import networkx as nx
import numpy as np
import pandas as pd

from netplan.demand import Window, customer_demand
from netplan.network.model import Network
from netplan.planfile.emergency_answer import Ring
from netplan.reference.gas import METRIC_STANDARD, named_gas
from netplan.rules import Rules
from tests.support.open_end_flow import OpenEndFlow, Outflow, Solved

__all__ = ["REQUIRED_MBAR", "RingState", "RingStates"]

REQUIRED_MBAR = 21.0
"""19 mbar and 2 mbar of margin: the shipped rules."""

ROUGHNESS_MM = {"PE": 0.007}


@dataclass(frozen=True)
class RingState:
    """Pressure of each customer [mbar], NaN without gas; who hangs on a station; what escapes [m³/h]."""

    mbar: dict[str, float]
    fed: frozenset[str]
    escaping_m3h: float
    is_solved: bool

    def fell_low(self, before: RingState, among: frozenset[str]) -> set[str]:
        """Return who is below the minimum and was not before, or has fallen by a millibar more since."""
        low = {name for name in among if not self.mbar[name] >= REQUIRED_MBAR}

        def fall(name: str) -> float:
            return float(np.nan_to_num(before.mbar[name]) - np.nan_to_num(self.mbar[name]))

        return {name for name in low if before.mbar[name] >= REQUIRED_MBAR or fall(name) >= 1.0}


class RingStates:
    """A ring of a network whose mains are all of PE, one hit at a chainage."""

    def __init__(
        self, network: Network, rules: Rules, ring: Ring, hit: tuple[str, float], at: datetime
    ) -> None:
        self.network, self.ring = network, ring
        gas = named_gas(str(rules.gas.name))
        window = Window(at, 1.0, None, None)
        self.demand = customer_demand(
            network.customers, window, rules, gas.gross_calorific_value_j_per_m3(METRIC_STANDARD)
        )
        self.rules, self.count = rules, len(network.nodes)
        self.links: list[dict[str, Any]] = []
        cuts: dict[str, list[tuple[float, str]]] = {}
        cuts.setdefault(hit[0], []).append((hit[1], "hit"))
        self.stop_key: list[tuple[str, str]] = []
        for n, stop in enumerate(ring.stops):
            if stop.valve_id:
                self.stop_key.append(("valve", stop.valve_id))
            else:
                cuts.setdefault(stop.main_id, []).append((stop.chainage_m, f"stop{n}"))
                self.stop_key.append(("gap", f"stop{n}"))
        self.hit_node = -1
        self._draw(cuts)

    def _draw(self, cuts: dict[str, list[tuple[float, str]]]) -> None:
        network = self.network
        pieces = network.pieces
        for row in range(len(pieces)):
            pipe, number = int(pieces.pipe[row]), int(pieces.valve[row])
            name, from_m, to_m = network.pipes.id[pipe], float(pieces.from_m[row]), float(pieces.to_m[row])
            at, start = from_m, int(pieces.from_node[row])
            key = network.valves.id[number] if number >= 0 else ""
            is_open = bool(pieces.is_open[row])
            if number < 0 and to_m > from_m:
                own = [cut for cut in cuts.get(name, []) if from_m <= cut[0] < to_m]
                for chainage, what in sorted(own):
                    cuts[name].remove((chainage, what))
                    here = self.count
                    self.count += 1
                    self._link(pipe, start, here, chainage - at, "", is_open)
                    start, at = here, chainage
                    if what == "hit":
                        self.hit_node = here
                    else:
                        self.count += 1
                        self._link(pipe, here, here + 1, 0.0, what, is_open)
                        start = here + 1
            self._link(pipe, start, int(pieces.to_node[row]), to_m - at, key, is_open)

    def _link(self, pipe: int, start: int, end: int, length_m: float, key: str, is_open: bool) -> None:
        self.links.append(
            {
                "from_node": start,
                "to_node": end,
                "length_m": max(length_m, 0.0),
                "bore_mm": float(self.network.pipes.bore_m[pipe]) * 1e3,
                "roughness_mm": ROUGHNESS_MM["PE"],
                "loss_coefficient": 0.0,
                "key": key,
                "is_open": is_open,
            }
        )

    def solve(
        self, stops_shut: int, *, is_open: bool, gone: Sequence[str] = (), stations_shut: Sequence[str] = ()
    ) -> RingState:
        """Solve with the first stops shut; `gone` draw nothing."""
        network = self.network
        shut = {key for _, key in self.stop_key[:stops_shut]}
        links = pd.DataFrame([one for one in self.links if one["is_open"] and one["key"] not in shut])
        stations = network.stations
        on = [row for row in range(len(stations)) if stations.id[row] not in stations_shut]
        if not on:
            names = [str(name) for name in network.customers.id]
            return RingState(dict.fromkeys(names, np.nan), frozenset(), 0.0, is_solved=True)
        graph: Any = nx.Graph()
        graph.add_nodes_from(range(self.count))
        graph.add_edges_from(zip(links.from_node, links.to_node, strict=True))
        part = np.zeros(self.count, dtype=np.int64)
        for number, nodes in enumerate(nx.connected_components(graph)):
            part[list(nodes)] = number
        fed = np.isin(part, part[stations.node[on]])
        drawn, at = self._drawn(part, fed, gone)
        of_nodes = pd.DataFrame({"node": range(self.count), "demand_m3h": drawn * 3600.0, "height_m": np.nan})
        layers = {
            "pipes": links.assign(state="live"),
            "nodes": of_nodes,
            "bypasses": pd.DataFrame(columns=["from_node"]),
            "stations": pd.DataFrame(
                {
                    "station_id": [stations.id[row] for row in on],
                    "node": stations.node[on],
                    "outlet_mbar": stations.outlet_pa_gauge[on] / 100.0,
                    "capacity_m3h": stations.capacity_m3_per_s_std[on] * 3600.0,
                    "sensing_node": stations.sensing_node[on],
                }
            ),
            "conditions": {"gas": self.rules.gas.name, "ground_temp_c": self.rules.gas.ground_temp_c},
        }
        bore_mm = next(one["bore_mm"] for one in self.links if one["from_node"] == self.hit_node)
        # Both ends open: as an outlet of one bore whose discharge coefficient is 2.
        ways = [Outflow(self.hit_node, bore_mm, 2.0)] if is_open else []
        found: Solved = OpenEndFlow(layers).solve(ways)
        mbar = {
            name: np.nan if node in found.starved or not fed[node] else found.pressure_mbar.get(node, np.nan)
            for name, node in at.items()
        }
        joined = frozenset(name for name, node in at.items() if fed[node])
        return RingState(mbar, joined, found.escaping_m3h, found.is_solved)

    def _drawn(self, part: Any, fed: Any, gone: Sequence[str]) -> tuple[Any, dict[str, int]]:
        """Return what each node draws [m³/s], and the node of each customer: each has one."""
        customers = self.network.customers
        at = {
            customers.id[row]: int(customers.attach_node[customers.attach_start[row]])
            for row in range(len(customers))
            if customers.attach_start[row + 1] > customers.attach_start[row]
        }
        label = np.array([part[at[name]] if name in at else -1 for name in customers.id], dtype=np.int64)
        label[[name in set(gone) for name in customers.id]] = -2
        flow = self.demand.flow_m3_per_s_std(0, label)
        drawn = np.zeros(self.count)
        for row in range(len(customers)):
            name = customers.id[row]
            if name in at and name not in set(gone) and fed[at[name]]:
                drawn[at[name]] += flow[row]
        return drawn, at
