"""Whether gas back in reaches its least flow in the zones of a cut, for the plan oracle.

Networks, outlets and what the live side gives are worked out here from the oracle's own drawing; the order of
legs, the pressure that a chain of pipes loses and the times of a purge are those of the public gas calculations.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np

from netplan.gas import Equipment, PurgePlan, PurgeSource, purge_plan
from netplan.gas.live_side_draw import FlowPath, PathPart
from netplan.gas.purge_tree import PurgeLeg, ZoneMains, purge_tree
from netplan.hydraulics import FlowState
from netplan.reference.purge_figures import purge_figure
from tests.support.outlets import named_mm, outlet_mm
from tests.support.plan_flow import GROUND_K, Drawing, Floats
from tests.support.plan_hours import PurgedBranch
from tests.support.plan_stops import PlannedStop

if TYPE_CHECKING:
    from tests.support.plan_oracle import PlanOracle

__all__ = ["PurgedPart", "ZonePurge"]

Solve = Callable[[Floats], FlowState]


@dataclass(frozen=True)
class PurgedPart:
    """A connected part of the mains of a zone, and the stops at it by their numbers."""

    mains: ZoneMains
    stops: tuple[int, ...]


class ZonePurge:
    """The zone of a drawing as it is purged, in the state with all stops in and all feeds open.

    Parameters
    ----------
    drawing : Drawing
    zone : frozenset of int
        Nodes in it.
    tees : mapping of int to int
        How many tees hoses of bypasses take at a stop, by its number.
    solve : callable
        Solves a demand with all stops in and all feeds open.
    demands : sequence of array
        What is drawn in each hour.
    kept : sequence of int
        Nodes of those that keep their gas.
    """

    def __init__(
        self,
        drawing: Drawing,
        zone: frozenset[int],
        tees: Mapping[int, int],
        solve: Solve,
        demands: Sequence[Floats],
        kept: Sequence[int],
    ) -> None:
        self.drawing, self.oracle, self.tees = drawing, drawing.oracle, tees
        self.solve, self.demands, self.kept = solve, demands, list(kept)
        pieces, pipes = self.oracle.network.pieces, self.oracle.network.pipes
        self.volume_m3, services, links = 0.0, set[int](), list[Any]()
        for row, (a, b, length, piece) in enumerate(drawing.rows):
            pipe = int(pieces.pipe[piece])
            if not pieces.is_open[piece]:
                continue
            if not (row in drawing.closes.values() or _is_inside(drawing, zone, row)):
                continue
            self.volume_m3 += length * math.pi / 4 * float(pipes.bore_m[pipe]) ** 2
            if pipe >= pipes.n_mains:
                services.add(pipe)
                continue
            for number, closes in drawing.closes.items():
                at = drawing.barrier.get(number, drawing.stops[number].live_node)
                if closes == row:
                    a, b = (drawing.count + number if end == at else end for end in (a, b))
            links.append((a, b, length, pipe, row))
        self.services = len(services)
        graph: nx.MultiGraph[int] = nx.MultiGraph((a, b, {"link": n}) for n, (a, b, *_) in enumerate(links))
        self.parts = []
        for part in nx.connected_components(graph):
            own = sorted(data["link"] for *_, data in graph.subgraph(part).edges(data=True))
            mains = _mains(self.oracle, drawing, [links[n] for n in own])
            at_it = tuple(n for n in range(len(drawing.stops)) if drawing.count + n in part)
            self.parts.append(PurgedPart(mains, at_it))

    def given(self, node: int, flow: float) -> float:
        """Return the pressure left in the first hour while a flow is drawn; NaN where someone loses too much."""
        states = []
        for demand in self.demands:
            drawn = demand.copy()
            drawn[node] += flow
            states.append(self.solve(drawn).pressure_pa_gauge)
        holds = all((pressure[self.kept] >= self.oracle.limit).all() for pressure in states)
        return float(states[0][node]) if holds else math.nan

    def is_fast_enough(self) -> bool:
        """Return whether every part has a stop round which gas sweeps all its mains fast enough."""
        return all(
            any(
                _reaches(self.oracle, self.drawing, part.mains, n, self._round(n), self.given)
                for n in part.stops
            )
            for part in self.parts
        )

    def _round(self, number: int) -> int:
        """Return the narrower outlet of the two that a hose round a stop joins [mm nominal]."""
        stop, tees = self.drawing.stops[number], self.tees.get(number, 0)
        vent = _tapped_mm(self.oracle, stop, "zone_vent")
        if not tees and not stop.tee_is_next and stop.pipe_of("bypass") >= 0:
            return min(vent, _tapped_mm(self.oracle, stop, "bypass"))
        own = _own_outlet_mm(self.oracle, self.drawing.stops, number, tees)
        return min(vent, own or _tapped_mm(self.oracle, stop, "gauge"))

    def branches(self) -> list[PurgedBranch]:
        """Return what is purged, branch by branch."""
        plans = [self._plan(part) for part in self.parts]
        found = []
        for part, plan in zip(self.parts, plans, strict=True):
            if plan is None:
                node = next((self.drawing.count + n for n in part.stops), None)
                node = self._end(part.mains) if node is None else node
                count = 0 if node is None else len(purge_tree(part.mains, node).legs)
                found += [PurgedBranch(0.0, 0.0, nitrogen=False, gas=False)] * count
                continue
            found += [
                PurgedBranch(p.minutes_out or 0.0, p.minutes_in or 0.0, nitrogen=not plan.reached, gas=True)
                for p in plan.places
                if p.role == "vent"
            ]
        return found or [PurgedBranch(0.0, 0.0, nitrogen=False, gas=True)]

    def _end(self, mains: ZoneMains) -> int | None:
        nodes, count = np.unique(np.concatenate([mains.from_node, mains.to_node]), return_counts=True)
        return int(nodes[count == 1].min()) if (count == 1).any() else None

    def _plan(self, part: PurgedPart) -> PurgePlan | None:
        """Return the plan of a part by the public gas calculations; None where no stop has gas behind it."""
        rules, sources = self.oracle.rules, []
        for number in part.stops:
            stop = self.drawing.stops[number]
            node = self.drawing.barrier.get(number, stop.live_node)
            if not self.given(node, 0.0) > 0.0:
                continue
            vent = next(((p, at) for role, p, at in stop.tappings if role == "zone_vent"), None)
            outlet = self._round(number)
            pipe, at = vent or (stop.pipe, stop.chainage_m)
            supply = partial(self.given, node)
            sources.append(
                PurgeSource(self.drawing.count + number, pipe, at, supply, outlet_m=outlet / 1000.0)
            )
        if not sources:
            return None
        equipment = Equipment(
            feed_bores_m=tuple(bore / 1000.0 for bore in rules.bypass.bores_mm),
            stack_bores_m=tuple(bore / 1000.0 for bore in rules.purge.stack_bores_mm),
            stack_height_m=rules.purge.stack_height_m,
            feed_loss=rules.bypass.loss_coefficient,
            roughness_m=rules.bypass.roughness_mm / 1000.0,
        )
        return purge_plan(
            part.mains,
            sources,
            equipment,
            self.oracle.conditions,
            volumes_out=rules.purge.volumes_out,
            volumes_in=rules.purge.volumes_in,
        )


def _is_inside(drawing: Drawing, zone: frozenset[int], row: int) -> bool:
    """Whether a link lies in a zone: by the nearest barrier before it on its piece, else by the piece's start."""
    pieces, piece = drawing.oracle.network.pieces, drawing.rows[row][3]
    own = drawing.piece_links[piece]
    start = float(pieces.from_m[piece]) + sum(drawing.rows[n][2] for n in own[: own.index(row)])
    middle = start + drawing.rows[row][2] / 2
    before = [s for s in drawing.stops if s.piece == piece and s.chainage_m <= middle]
    if before:
        return not max(before, key=lambda stop: stop.chainage_m).zone_is_low
    return int(pieces.from_node[piece]) in zone


def _mains(oracle: PlanOracle, drawing: Drawing, links: Sequence[Any]) -> ZoneMains:
    pipes = oracle.network.pipes
    pipe = np.array([link[3] for link in links], dtype=np.int64)
    vents = [outlet_mm("zone_vent", "", round(1000.0 * float(od), 3)) for od in pipes.od_m[pipe]]
    nothing = np.zeros(len(links))
    length = np.array([link[2] for link in links])
    return ZoneMains(
        from_node=np.array([link[0] for link in links], dtype=np.int64),
        to_node=np.array([link[1] for link in links], dtype=np.int64),
        length_m=length,
        bore_m=pipes.bore_m[pipe],
        roughness_m=np.full(len(links), oracle.rules.pipe.roughness_mm.PE / 1000.0),
        pipe=pipe,
        from_m=nothing,
        to_m=length,
        outlet_m=np.array(vents) / 1000.0,
        outlet_at_m={
            drawing.count + number: _tapped_mm(oracle, stop, "zone_vent") / 1000.0
            for number, stop in enumerate(drawing.stops)
        },
    )


def _tapped_mm(oracle: PlanOracle, stop: PlannedStop, role: str) -> int:
    """Return how wide a stop is tapped for a role [mm nominal]; 0 where it is not."""
    pipe = stop.pipe_of(role)
    od_m = float(oracle.network.pipes.od_m[pipe])
    return 0 if pipe < 0 else outlet_mm(role, "", round(1000.0 * od_m, 3))


def _own_outlet_mm(oracle: PlanOracle, stops: Sequence[PlannedStop], number: int, tees: int) -> int:
    """Return how wide an outlet for gas alone is, past the outermost of a stop's pit [mm nominal]; 0 for none.

    It is a clearance past that, or past the last tee of a row of hoses, and as far from all that follows.
    """
    stop, network = stops[number], oracle.network
    pieces, pipes, fittings = network.pieces, network.pipes, network.fittings
    role, pipe, start = stop.tappings[-1]
    if role == "zone_vent":
        return 0
    od_m = float(pipes.od_m[pipe])
    clear = max(oracle.rules.clearance.fitting_m, oracle.rules.clearance.fitting_od * od_m)
    holds = [
        row
        for row in np.flatnonzero(pieces.pipe == pipe).tolist()
        if float(pieces.from_m[row]) <= start <= float(pieces.to_m[row])
        and pieces.to_m[row] > pieces.from_m[row]
    ]
    row = stop.piece if stop.piece in holds else holds[0]
    if row == stop.piece and not stop.is_valve:
        rises = stop.zone_is_low
    else:
        rises = int(pieces.from_node[row]) == stop.live_node or (
            int(pieces.to_node[row]) != stop.live_node and stop.zone_is_low
        )
    sign = 1.0 if rises else -1.0
    last = start + sign * clear * (1 + (max(tees, 1) - 1 if role == "bypass" else 0))
    marks = [float(pieces.to_m[row] if rises else pieces.from_m[row])]
    marks += [float(at) for at in fittings.chainage_m[fittings.pipe == pipe]]
    marks += [
        at
        for other, one in enumerate(stops)
        if other != number
        for _, on, at in one.every_tapping
        if on == pipe
    ]
    ahead = [sign * (mark - start) for mark in marks if sign * (mark - start) > 1e-9]
    if not ahead or min(ahead) < sign * (last - start) + clear - 1e-9:
        return 0
    return outlet_mm("purge_in", "", round(1000.0 * od_m, 3))


def _fitting(bores_mm: Sequence[float], most_mm: float) -> list[float]:
    """Return the bores that an outlet takes [m]; what is too wide for it is reduced to it."""
    found = [bore for bore in bores_mm if named_mm(bore) <= most_mm]
    return [bore / 1000.0 for bore in found or ([most_mm] if most_mm > 0 else [min(bores_mm)])]


def _reaches(
    oracle: PlanOracle,
    drawing: Drawing,
    mains: ZoneMains,
    number: int,
    outlet: int,
    given: Callable[[int, float], float],
) -> bool:
    """Whether gas let in round one stop sweeps every leg fast enough, with the widest hose and stack that fit."""
    rules, stop = oracle.rules, drawing.stops[number]
    node = drawing.barrier.get(number, stop.live_node)
    if not given(node, 0.0) > 0.0:
        return False
    hose = max(_fitting(rules.bypass.bores_mm, outlet))
    tree = purge_tree(mains, drawing.count + number)
    wall = rules.bypass.roughness_mm / 1000.0
    for leg in tree.legs:
        needed = _least_flow(oracle, mains, leg)
        stack = max(_fitting(rules.purge.stack_bores_mm, 1000.0 * mains.outlet_of(leg)))
        parts = [PathPart(purge_figure("feed_length_m"), hose, wall, rules.bypass.loss_coefficient)]
        for rows, is_air in ((leg.before, False), (leg.swept, True)):
            for row in rows:
                size = float(mains.length_m[row]), float(mains.bore_m[row]), float(mains.roughness_m[row])
                parts.append(PathPart(*size, holds_air=is_air))
        loss = purge_figure("stack_loss") + purge_figure("arrester_loss")
        parts.append(PathPart(rules.purge.stack_height_m, stack, wall, loss, holds_air=True))
        if not FlowPath(parts, oracle.conditions).carries(needed, given(node, needed)):
            return False
    return True


def _least_flow(oracle: PlanOracle, mains: ZoneMains, leg: PurgeLeg) -> float:
    """Return what a leg takes at the least velocity [m³/s at 15 °C, 101.325 kPa]."""
    bore = max(float(mains.bore_m[row]) for row in leg.swept)
    speed = max(0.6, 0.5 * math.sqrt(9.80665 * bore))
    gas, air_pa = oracle.gas, oracle.conditions.atmospheric_pressure_pa_abs
    per_actual = gas.density_kg_per_m3(GROUND_K, air_pa) / gas.density_kg_per_m3_at(oracle.standard)
    return (2.0 if leg.meets else 1.0) * speed * math.pi / 4 * bore**2 * per_actual
