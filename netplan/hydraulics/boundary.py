"""Solving a part of a network whose boundary is crossed by gas, as long as nothing changes at the boundary.

What crosses the boundary flows as it did in the whole network before any change. When no pressure at the
boundary has moved, the part as solved and all beyond as before fit together: that is a solution of the whole,
as long as nobody beyond draws anything else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Flags, Floats, Ints
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState, PartStatus
from netplan.hydraulics.flow_result import WarmStart
from netplan.hydraulics.solver import FlowSolver
from netplan.network.subnetwork import BoundaryAffectedError

__all__ = ["MOST_BOUNDARY_CHANGE_PA", "SAME_SHARE", "Boundary", "BoundarySolver", "state_of_part"]


MOST_BOUNDARY_CHANGE_PA: Final = 1e-2
"""Pressure by which the boundary may move, a tenth of the last digit of a pressure in a plan (own) [Pa]. The
whole network's solution lies between that with the flows over the boundary as before and that with its
pressures as before, so that nothing inside errs by more; what does not reach the boundary hardly comes
back to the work."""
MOST_BOUNDARY_CHANGE_M3_PER_S: Final = 1e-9
"""Flow by which the gas may change that comes in where the boundary gives the pressure (own)
[m³/s at 15 °C, 101.325 kPa]."""
SAME_SHARE: Final = 1e-6
"""Share by which what is drawn at a node may differ and still count as the same (own): were it so at every
node of a network, each drop of pressure would move by two parts in a million, 0.004 Pa of 20 mbar [-]."""
_SAME_WEATHER: Final = 0.1
"""Share of the drawing nodes that may draw something else before it is another day's weather (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class _WholeState:
    """A state of the whole network, as far as the part is concerned.

    Parameters
    ----------
    demand_m3_per_s_std : float array, shape (nodes,)
        What is drawn in the part [m³/s at 15 °C, 101.325 kPa].
    outward_m3_per_s_std : float array, shape (crossings,)
        What flows out over the boundary [m³/s at 15 °C, 101.325 kPa]; 0 where no station gives it a pressure.
    pressure_pa_gauge : float array, shape (crossings,)
        At the node inside [Pa gauge]; NaN where no station gives it a pressure.
    state : FlowState
        Of the part.
    """

    demand_m3_per_s_std: Floats
    outward_m3_per_s_std: Floats
    pressure_pa_gauge: Floats
    state: FlowState

    def moved(self, demand_m3_per_s_std: Floats) -> Flags:
        """Return which of its nodes draw something else in another demand, whose nodes these are first."""
        drawn = self.demand_m3_per_s_std
        now = demand_m3_per_s_std[: drawn.size]
        return np.asarray(np.abs(now - drawn) > SAME_SHARE * np.abs(drawn))

    def steadied(self, demand_m3_per_s_std: Floats) -> Floats:
        """Return a demand in which what counts as the same is the same."""
        drawn, steady = self.demand_m3_per_s_std, demand_m3_per_s_std.copy()
        steady[: drawn.size] = np.where(self.moved(demand_m3_per_s_std), steady[: drawn.size], drawn)
        return steady


def state_of_part(state: FlowState, nodes: Ints, links: Ints, stations: Ints) -> FlowState:
    """Return the state of some nodes, links and stations of a network, numbered by their places in these."""
    return replace(
        state,
        pressure_pa_gauge=state.pressure_pa_gauge[nodes],
        flow_kg_per_s=state.flow_kg_per_s[links],
        flow_m3_per_s_std=state.flow_m3_per_s_std[links],
        station_flow_kg_per_s=state.station_flow_kg_per_s[stations],
        station_flow_m3_per_s_std=state.station_flow_m3_per_s_std[stations],
        station_state=tuple(state.station_state[place] for place in stations.tolist()),
        node_part=state.node_part[nodes],
        core=state.core.of_part(nodes, links, stations),
    )


class Boundary:
    """The boundary of a part of a network, and what crosses it in every state the whole was solved in.

    Parameters
    ----------
    network : FlowNetwork
        The part.
    node : int array, shape (crossings,)
        Node inside of each link that crosses.
    """

    def __init__(self, network: FlowNetwork, node: Ints) -> None:
        self.node = node
        self._part = network.open_parts()
        without = np.ones(int(self._part.max(initial=-1)) + 1, dtype=bool)
        without[self._part[network.station_node]] = False
        self._unsupplied = without[self._part[node]]
        self._kept: list[_WholeState] = []

    def keep(self, demand_m3_per_s_std: Floats, outward_m3_per_s_std: Floats, state: FlowState) -> None:
        """Keep a state of the whole.

        Parameters
        ----------
        demand_m3_per_s_std : float array, shape (nodes,)
            Drawn at the nodes of the part [m³/s at 15 °C, 101.325 kPa].
        outward_m3_per_s_std : float array, shape (crossings,)
            What flows out over the boundary [m³/s at 15 °C, 101.325 kPa].
        state : FlowState
            Of the part, as `state_of_part` returns it.
        """
        pressure = state.pressure_pa_gauge[self.node]
        known = np.isfinite(pressure) & np.isfinite(outward_m3_per_s_std)
        self._kept.append(
            _WholeState(
                demand_m3_per_s_std,
                np.where(known, outward_m3_per_s_std, 0.0),
                np.where(known, pressure, np.nan),
                state,
            )
        )

    def nearest_state(self, demand_m3_per_s_std: Floats) -> _WholeState:
        """Return the kept state in which the fewest nodes draw something else.

        Raises
        ------
        BoundaryAffectedError
            When that is another state of the whole, such as that of a colder day.
        """
        moved = [int(kept.moved(demand_m3_per_s_std).sum()) for kept in self._kept]
        nearest = min(range(len(moved)), key=moved.__getitem__)
        drawing = int(np.count_nonzero(demand_m3_per_s_std))
        if moved[nearest] > _SAME_WEATHER * max(drawing, 1):
            raise BoundaryAffectedError
        return self._kept[nearest]

    def sources(self, kept: _WholeState) -> Ints:
        """Return one crossing for each piece of the part that gas reaches over the boundary alone.

        There the boundary gives the pressure, since no station does: the crossing over which the most comes
        in.
        """
        rows = np.flatnonzero(self._unsupplied & np.isfinite(kept.pressure_pa_gauge))
        part = self._part[self.node[rows]]
        order = np.lexsort([kept.outward_m3_per_s_std[rows], part])
        first = np.unique(part[order], return_index=True)[1]
        return np.asarray(rows[order[first]])


class BoundarySolver:
    """A part of a network, changed or not, solved as `FlowSolver` does while nothing changes at its boundary.

    Parameters
    ----------
    boundary : Boundary
    network : FlowNetwork
        Made from the part: its nodes come first.
    conditions : FlowConditions
        With the height of the air of the whole network.
    """

    def __init__(self, boundary: Boundary, network: FlowNetwork, conditions: FlowConditions) -> None:
        self._boundary, self._network, self._conditions = boundary, network, conditions
        self._solvers: dict[bytes, FlowSolver] = {}
        self._demand = np.zeros(network.node_count)

    @property
    def network(self) -> FlowNetwork:
        """The network it was prepared for."""
        return self._network

    @property
    def supply_node(self) -> Ints:
        """Nodes that gas comes from: stations, and the boundary."""
        return np.concatenate([self._network.station_node, self._boundary.node])

    @property
    def conditions(self) -> FlowConditions:
        """Gas, temperature and air pressure."""
        return self._conditions

    def prepared_for(self, network: FlowNetwork) -> BoundarySolver:
        """Return a solver for another network made from the same part."""
        return BoundarySolver(self._boundary, network, self._conditions)

    def solve(self, demand_m3_per_s_std: npt.ArrayLike, *, warm: FlowState | None = None) -> FlowState:
        """Solve for a demand, which later changes keep where they give none; as `FlowSolver.solve`.

        Raises
        ------
        BoundaryAffectedError
            When it would change something beyond the boundary.
        """
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
        station_capacity_m3_per_s_std: npt.ArrayLike | None = None,
        warm: FlowState | None = None,
    ) -> FlowState:
        """Solve with changes; parameters and result are those of `FlowSolver.resolve`.

        Raises
        ------
        BoundaryAffectedError
            When the changes would change something beyond the boundary.
        """
        demand = self._demand
        if demand_m3_per_s_std is not None:
            demand = np.array(demand_m3_per_s_std, dtype=float).reshape(-1)
        kept = self._boundary.nearest_state(demand)
        demand = kept.steadied(demand)
        sources = self._boundary.sources(kept)
        crossing = np.zeros(demand.size)
        outward = kept.outward_m3_per_s_std.copy()
        outward[sources] = 0.0
        np.add.at(crossing, self._boundary.node, outward)
        set_to = station_pressure_pa_gauge
        if sources.size:
            stations = self._network.station_pressure_pa_gauge if set_to is None else set_to
            set_to = np.append(np.asarray(stations, dtype=float), kept.pressure_pa_gauge[sources])
        most = station_capacity_m3_per_s_std
        if most is not None and sources.size:
            most = np.append(np.asarray(most, dtype=float), np.full(sources.size, np.nan))
        own = warm if warm is not None and self._made(warm, sources) else None
        state = self._solver(sources, kept).resolve(
            demand_m3_per_s_std=demand + crossing,
            closed_links=closed_links,
            opened_links=opened_links,
            added_links=added_links,
            station_pressure_pa_gauge=set_to,
            station_capacity_m3_per_s_std=most,
            warm=own or self._begin(sources, kept),
        )
        self._check_boundary_unaffected(state, kept, sources)
        return _without_sources(state, self._network.station_count) if sources.size else state

    def _solver(self, sources: Ints, kept: _WholeState) -> FlowSolver:
        key = sources.tobytes()
        if key not in self._solvers:
            network = _with_sources(
                self._network, self._boundary.node[sources], kept.pressure_pa_gauge[sources]
            )
            self._solvers[key] = FlowSolver(network, self._conditions)
        return self._solvers[key]

    def _made(self, state: FlowState, sources: Ints) -> bool:
        """Whether a state was solved here, for this network and these sources."""
        kept, stations = state.core, self._network.station_count + sources.size
        return (
            isinstance(kept, WarmStart)
            and kept.station_code.size == stations
            and kept.node_level.size == self._network.node_count
        )

    def _begin(self, sources: Ints, kept: _WholeState) -> FlowState:
        """Return the part as it stands, to start from."""
        state, density = kept.state, self._conditions.properties().density_kg_per_m3_std
        given = -kept.outward_m3_per_s_std[sources] * density
        return replace(state, core=state.core.with_more(self._network.node_count, given))

    def _check_boundary_unaffected(self, state: FlowState, kept: _WholeState, sources: Ints) -> None:
        known = np.isfinite(kept.pressure_pa_gauge)
        boundary = self._boundary.node[known]
        if np.isfinite(state.pressure_pa_gauge[self._boundary.node[~known]]).any():
            raise BoundaryAffectedError  # gas got to where none was known to come from
        good = np.array([status is PartStatus.SOLVED for status in state.part_status], dtype=bool)
        if not good[state.node_part[boundary]].all():
            raise BoundaryAffectedError
        moved = state.pressure_pa_gauge[boundary] - kept.pressure_pa_gauge[known]
        given = state.station_flow_m3_per_s_std[self._network.station_count :]
        more = given + kept.outward_m3_per_s_std[sources]
        still = np.abs(moved) <= MOST_BOUNDARY_CHANGE_PA
        if not (still.all() and (np.abs(more) <= MOST_BOUNDARY_CHANGE_M3_PER_S).all()):
            raise BoundaryAffectedError


def _with_sources(network: FlowNetwork, node: Ints, pressure_pa_gauge: Floats) -> FlowNetwork:
    if not node.size:
        return network
    return replace(
        network,
        station_node=np.concatenate([network.station_node, node]),
        station_pressure_pa_gauge=np.concatenate([network.station_pressure_pa_gauge, pressure_pa_gauge]),
        station_capacity_m3_per_s_std=np.append(
            network.station_capacity_m3_per_s_std, np.full(node.size, np.nan)
        ),
        station_sensing_node=np.concatenate([network.sensing_nodes(), node]),
    )


def _without_sources(state: FlowState, count: int) -> FlowState:
    return replace(
        state,
        station_flow_kg_per_s=state.station_flow_kg_per_s[:count],
        station_flow_m3_per_s_std=state.station_flow_m3_per_s_std[:count],
        station_state=state.station_state[:count],
    )
