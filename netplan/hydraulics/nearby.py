"""Solving a change of a large network by what lies near it: exact, because the rim is looked at.

Round the change a window is cut out of the network. What crosses its rim flows as it did before the change.
When the window is solved and no pressure at the rim has moved, inside and outside fit together: that is a
solution of the whole. When one has moved, a larger window is cut, in the end the whole network. How far a
change reaches depends on how near regulator stations are, not on how large the network is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import partial
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.hydraulics.conditions import FlowConditions
from netplan.hydraulics.model import FlowLinks, FlowNetwork, FlowState, PartStatus
from netplan.hydraulics.outcome import Kept
from netplan.hydraulics.solver import FlowSolver, link_numbers
from netplan.hydraulics.solving import NetworkSolver
from netplan.hydraulics.surroundings import Surroundings
from netplan.hydraulics.window import Change, Window, cut_window

__all__ = ["FIRST_NODES", "NearbySolver", "nearby_solver"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

FIRST_NODES: Final = 30_000
"""Nodes of the first window (own): solved in hundredths of a second, and two or three stations across [-]."""
GROWTH: Final = 2
"""How many times as many the next window has (own) [-]."""
_WORTH_IT: Final = 4
"""How many times as many nodes a network has for which windows are cut (own) [-]."""


def nearby_solver(
    around: Surroundings, network: FlowNetwork, first_nodes: int = FIRST_NODES
) -> NetworkSolver:
    """Return what solves a network that was made from the one of the surroundings.

    Parameters
    ----------
    around : Surroundings
    network : FlowNetwork
        Nodes, links and stations of the network as it stands first, some of the links changed, then others.
    first_nodes : int
        Nodes of the first window; a network of fewer than four times as many is solved as a whole.
    """
    if network.node_count >= _WORTH_IT * first_nodes:
        change = _change(around.network, network)
        if change is not None:
            return NearbySolver(around, change, first_nodes)
    if network is around.network:
        return around.whole
    return around.whole.prepared_for(network)


class NearbySolver:
    """A changed network, solved as `FlowSolver` does, by what lies near the change.

    Parameters
    ----------
    around : Surroundings
        The network as it stands, solved.
    change : Change
    first_nodes : int
        Nodes of the first window.
    """

    def __init__(self, around: Surroundings, change: Change, first_nodes: int = FIRST_NODES) -> None:
        self._around, self._change, self._first_nodes = around, change, first_nodes
        self._window: Window | None = None
        self._whole: FlowSolver | None = None
        self._reaches_far = False
        self._demand = np.zeros(change.network.node_count)

    @property
    def network(self) -> FlowNetwork:
        """The changed network."""
        return self._change.network

    @property
    def supply_node(self) -> Ints:
        """Nodes that gas comes from: the stations."""
        return self.network.station_node

    @property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure."""
        return self._around.whole.conditions

    def prepared_for(self, network: FlowNetwork) -> NetworkSolver:
        """Return what solves another network made from the same one."""
        return nearby_solver(self._around, network, self._first_nodes)

    def solve(self, demand_m3_per_s_std: npt.ArrayLike, *, warm: FlowState | None = None) -> FlowState:
        """Solve for a demand, which later changes keep where they give none; as `FlowSolver.solve`."""
        self._demand = np.array(demand_m3_per_s_std, dtype=float).reshape(-1)
        return self.resolve(warm=warm)

    def resolve(
        self,
        *,
        demand_m3_per_s_std: npt.ArrayLike | None = None,
        closed_links: Iterable[int] = (),
        opened_links: Iterable[int] = (),
        added_links: FlowLinks | None = None,
        station_pressure_pa_gauge: npt.ArrayLike | None = None,
        warm: FlowState | None = None,
    ) -> FlowState:
        """Solve with changes; parameters, result and errors are those of `FlowSolver.resolve`."""
        demand = self._demand
        if demand_m3_per_s_std is not None:
            demand = np.array(demand_m3_per_s_std, dtype=float).reshape(-1)
        total = self.network.links.count
        closed, opened = link_numbers(closed_links, total), link_numbers(opened_links, total)
        if (
            not self._reaches_far
            and added_links is None
            and station_pressure_pa_gauge is None
            and demand.size == self.network.node_count
        ):
            state = self._near(demand, closed, np.setdiff1d(opened, closed), warm)
            if state is not None:
                return state
        if self._whole is None:
            standing = self.network is self._around.network
            self._whole = self._around.whole if standing else self._around.whole.prepared_for(self.network)
        return self._whole.resolve(
            demand_m3_per_s_std=demand,
            closed_links=closed.tolist(),
            opened_links=opened.tolist(),
            added_links=added_links,
            station_pressure_pa_gauge=station_pressure_pa_gauge,
            warm=warm if warm is not None and isinstance(warm.core, Kept) else None,
        )

    def _near(self, demand: Floats, closed: Ints, opened: Ints, warm: FlowState | None) -> FlowState | None:
        standing = self._around.network.node_count
        nearest = self._around.nearest(demand[:standing])
        if nearest is None:
            return None
        _, before, moved = nearest
        is_open = self.network.links.is_open
        closed, opened = closed[is_open[closed]], opened[~is_open[opened]]
        change = Change(self.network, np.unique(np.concatenate([self._change.links, closed, opened])))
        drawing = standing + np.flatnonzero(demand[standing:])
        touched = np.unique(np.concatenate([change.nodes(change.links), moved, drawing]))
        if not touched.size:
            return before
        at_least, known = self._first_nodes, True
        while touched.size < at_least:
            window = self._window if known else None
            if window is None or not window.covers(touched, change, at_least):
                window = cut_window(self._around, change, touched, at_least)
            if window is None:
                # What reaches half of the network once will do so again: no more windows are tried.
                self._reaches_far = True
                return None
            self._window = window
            own = warm.core if warm is not None else None
            start = own.state if isinstance(own, _Seen) and own.window is window else None
            inner = window.solve(demand, before, closed, opened, start)
            if inner is not None:
                return _whole_state(self.network, window, inner, before)
            # One that was cut for other changes may have this one at its rim: the next is cut round it.
            at_least, known = (at_least, False) if known else (GROWTH * at_least, False)
            self._around.forget_nodes()
        return None


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What a later solution may start from."""

    window: Window
    state: FlowState


def _change(standing: FlowNetwork, network: FlowNetwork) -> Change | None:
    """Return what is not as it stands; None where that cannot be looked at from near."""
    nodes, count = standing.node_count, standing.links.count
    same_stations = all(
        getattr(standing, name) is getattr(network, name)
        or np.array_equal(getattr(standing, name), getattr(network, name), equal_nan=True)
        for name in (
            "station_node",
            "station_pressure_pa_gauge",
            "station_capacity_m3_per_s_std",
            "station_sensing_node",
        )
    )
    height = network.node_height_m
    known = np.isfinite(height)
    # A height that is not known is that of the nearest known node, which need not lie in the window.
    if not same_stations or (known.any() and not known.all()):
        return None
    if network.node_count < nodes or not np.array_equal(
        standing.node_height_m, height[:nodes], equal_nan=True
    ):
        return None
    if network.links is standing.links:
        return Change(network, np.zeros(0, np.int64))
    differs = np.zeros(network.links.count, dtype=bool)
    differs[count:] = True
    for column in fields(FlowLinks):
        old, new = getattr(standing.links, column.name), getattr(network.links, column.name)
        differs[:count] |= new[:count] != old
    return Change(network, np.flatnonzero(differs))


def _whole_state(network: FlowNetwork, window: Window, inner: FlowState, before: FlowState) -> FlowState:
    """Return the state of the whole: as before, and inside the window as solved."""
    of_all = partial(_with, at=window.links, count=network.links.count)
    of_stations = partial(_with, at=window.stations, count=network.station_count)
    states = list(before.station_state)
    for place, state in zip(window.stations.tolist(), inner.station_state, strict=True):
        states[place] = state
    label, status = _parts(network, window, inner, before)
    return FlowState(
        pressure_pa_gauge=_with(
            before.pressure_pa_gauge, inner.pressure_pa_gauge, at=window.nodes, count=network.node_count
        ),
        flow_kg_per_s=of_all(before.flow_kg_per_s, inner.flow_kg_per_s),
        flow_m3_per_s_std=of_all(before.flow_m3_per_s_std, inner.flow_m3_per_s_std),
        station_flow_kg_per_s=of_stations(before.station_flow_kg_per_s, inner.station_flow_kg_per_s),
        station_flow_m3_per_s_std=of_stations(
            before.station_flow_m3_per_s_std, inner.station_flow_m3_per_s_std
        ),
        station_state=tuple(states),
        node_part=label,
        part_status=status,
        iterations=inner.iterations,
        core=_Seen(window, inner),
    )


def _with(outside: Floats, inside: Floats, *, at: Ints, count: int) -> Floats:
    """Return an array of `count` rows: those outside first, over which those inside are written."""
    whole = np.empty(count)
    whole[: outside.size] = outside
    whole[outside.size :] = np.nan
    whole[at] = inside
    return whole


def _parts(
    network: FlowNetwork, window: Window, inner: FlowState, before: FlowState
) -> tuple[Ints, tuple[PartStatus, ...]]:
    """Return the part of each node and what became of each.

    A part that reaches the rim goes on outside, under its number there; one that does not is a new one.
    """
    number = np.full(len(inner.part_status), -1, dtype=np.int64)
    number[inner.node_part[window.rim_place]] = before.node_part[window.rim_node]
    new = np.flatnonzero(number < 0)
    number[new] = len(before.part_status) + np.arange(new.size)
    label = np.full(network.node_count, -1, dtype=np.int64)
    label[: before.node_part.size] = before.node_part
    label[window.nodes] = number[inner.node_part]
    status = [*before.part_status, *(inner.part_status[part] for part in new.tolist())]
    if any(one is not PartStatus.SOLVED for one in before.part_status):
        # Numbers that no node has any more stand for nothing that could fail.
        for part in np.flatnonzero(np.bincount(label, minlength=len(status)) == 0).tolist():
            status[part] = PartStatus.SOLVED
    return label, tuple(status)
