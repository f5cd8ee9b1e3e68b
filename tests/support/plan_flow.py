"""The network of the plan oracle with the stops of a cut drawn in, and its flow: shares no code with the planner."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from netplan.hydraulics import FlowLinks, FlowNetwork, FlowSolver, FlowState
from tests.support.plan_stops import PlannedStop

if TYPE_CHECKING:
    from tests.support.plan_oracle import PlanOracle

__all__ = ["GROUND_K", "HOLDS_PA", "Drawing", "Floats", "Hose", "gas_back_holds"]

GROUND_K: Final = 283.15
HOLDS_PA: Final = -1e-6
Floats = NDArray[np.float64]
Hose = tuple[int, int, float, float]
"""From and to node, length and bore [m]."""


class Drawing:
    """The network with a node at every barrier and tee, and the links that close each stop."""

    def __init__(self, oracle: PlanOracle, stops: Sequence[PlannedStop]) -> None:
        network, pieces = oracle.network, oracle.network.pieces
        self.oracle, self.count, self.stops = oracle, len(network.nodes), list(stops)
        self.rows: list[tuple[int, int, float, int]] = []
        self.barrier: dict[int, int] = {}
        self.tee: dict[int, int] = {}
        self.closes: dict[int, int] = {}
        self.piece_links: dict[int, list[int]] = {}
        for row in range(len(pieces)):
            marks: list[tuple[float, int, str]] = []
            for number, stop in enumerate(stops):
                if stop.piece == row and not stop.is_valve:
                    marks.append((stop.chainage_m, number, "barrier"))
                if stop.tee_piece == row and not stop.is_valve and not stop.tee_at_end:
                    marks.append((stop.tee_m, number, "tee"))
            at, node = float(pieces.from_m[row]), int(pieces.from_node[row])
            self.piece_links[row] = []
            for chainage, number, what in sorted(marks):
                self._add(row, node, self.count, chainage - at)
                (self.barrier if what == "barrier" else self.tee)[number] = self.count
                at, node = chainage, self.count
                self.count += 1
            self._add(row, node, int(pieces.to_node[row]), float(pieces.to_m[row]) - at)
        self.tee |= {number: stop.live_node for number, stop in enumerate(stops) if stop.tee_at_end}
        for number, stop in enumerate(stops):
            own = self.piece_links[stop.piece]
            if stop.is_valve:
                self.closes[number] = own[0]
                continue
            end = 1 if stop.zone_is_low else 0
            self.closes[number] = next(n for n in own if self.rows[n][end] == self.barrier[number])

    def _outlets(self, giving: int, fed: int) -> list[int]:
        """Return the outlets of the tees at two nodes [mm nominal]."""
        numbers = {node: number for number, node in self.tee.items()}
        return [self.oracle.tee_outlet_mm(self.stops[numbers[node]]) for node in (giving, fed)]

    def _add(self, piece: int, a: int, b: int, length_m: float) -> None:
        self.piece_links[piece].append(len(self.rows))
        self.rows.append((a, b, length_m, piece))

    def links(self, hoses: Sequence[Hose] = ()) -> FlowLinks:
        """Return pipes and then hoses, each hose (from, to, length, bore)."""
        rules, network = self.oracle.rules, self.oracle.network
        pipe = network.pieces.pipe[[row[3] for row in self.rows]]
        loss = [
            rules.bypass.loss_coefficient
            + sum(1.5 * max((1000 * bore / outlet) ** 4 - 1, 0.0) for outlet in self._outlets(*ends))
            for *ends, _, bore in hoses
        ]
        own = [row[:3] for row in self.rows]
        ends = own + [hose[:3] for hose in hoses]
        bores = [*network.pipes.bore_m[pipe].tolist(), *(hose[3] for hose in hoses)]
        wall = (rules.pipe.roughness_mm.PE / 1000, rules.bypass.roughness_mm / 1000)
        opened = [bool(network.pieces.is_open[row[3]]) for row in self.rows]
        return FlowLinks(
            from_node=np.array([end[0] for end in ends], dtype=np.int64),
            to_node=np.array([end[1] for end in ends], dtype=np.int64),
            length_m=np.array([end[2] for end in ends]),
            bore_m=np.array(bores),
            roughness_m=np.repeat(wall, (len(own), len(hoses))),
            loss_coefficient=np.array([0.0] * len(own) + loss),
            is_open=np.array(opened + [True] * len(hoses)),
        )

    def solver(self, hoses: Sequence[Hose] = ()) -> FlowSolver:
        """Return the flow solver of the network with hoses."""
        stations = self.oracle.network.stations
        network = FlowNetwork(
            self.count,
            self.links(hoses),
            stations.node.astype(np.int64),
            stations.outlet_pa_gauge,
            stations.capacity_m3_per_s_std,
            stations.sensing_node.astype(np.int64),
        )
        return FlowSolver(network, self.oracle.conditions)

    def solve(self, demand: Floats, closed: Sequence[int] = ()) -> FlowState:
        """Solve without hoses."""
        solver = self.solver()
        solver.solve(demand)
        return solver.resolve(demand_m3_per_s_std=demand, closed_links=closed)


def gas_back_holds(
    opening: Sequence[tuple[list[int], list[int]]],
    changed: tuple[list[int], set[int], list[int]],
    holds: Callable[[], bool],
) -> bool:
    """Whether all hold, meters still off, while stops come out one by one and then each feed is shut.

    Parameters
    ----------
    opening : sequence of (list of int, list of int)
        Links of hoses and of valves that each feed opens.
    changed : tuple of (list of int, set of int, list of int)
        Links of stops shut so far in their order, of hoses not open, of valves opened: changed on the way.
    holds : callable
        Whether all hold as it stands now.
    """
    shut, waiting, opened = changed
    while shut:
        shut.pop()
        if not holds():
            return False
    for links, valves in sorted(opening, key=lambda feed: bool(feed[0])):
        waiting.update(links)
        opened[:] = [link for link in opened if link not in valves]
        if not holds():
            return False
    return True
