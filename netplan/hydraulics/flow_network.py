"""What goes into a flow calculation and what comes out: `FlowNetwork` with its links, and `FlowState`."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.errors import BadNetworkError, NotSolvedError
from netplan.graph.connected_components import component_labels

__all__ = [
    "FlowLinks",
    "FlowNetwork",
    "FlowState",
    "PartStatus",
    "StationState",
]


OWN_OUTLET: Final = -1
"""Sensing node of a station that regulates by the pressure at its own outlet."""


class PartStatus(StrEnum):
    """What became of one connected part of the network."""

    SOLVED = "solved"
    NO_SOURCE = "no source"
    """No station feeds the part."""
    DEMAND_NOT_MET = "demand not met"
    """Its stations cannot supply the demand, or the pressure would fall below zero gauge."""
    GAS_NOT_TAKEN = "gas not taken"
    """More gas is put in than drawn: no station could hold the pressure."""
    SENSING_CUT_OFF = "sensing cut off"
    """The sensing point of a station lies in another part: it would go to full flow."""
    NOT_CONVERGED = "not converged"


class StationState(StrEnum):
    """What a regulator station does."""

    HOLDING = "holding"
    """It keeps its set pressure at its sensing point."""
    LOCKED_UP = "locked up"
    """Back-pressured above its set pressure: it lets nothing through."""
    AT_CAPACITY = "at capacity"
    """It gives all it can; the pressure sags below its set pressure."""
    WITHOUT_NUMBERS = "without numbers"
    """Its part of the network was not solved."""


def _ints(values: npt.ArrayLike) -> Ints:
    # Arrays of the right kind are taken as they are: a city's are too large to copy for every hose.
    return np.asarray(values, dtype=np.int64).reshape(-1)


def _floats(values: npt.ArrayLike | None, count: int, default: float) -> Floats:
    if values is None:
        return np.full(count, default)
    array = np.asarray(values, dtype=float)
    return np.full(count, float(array)) if array.ndim == 0 else array.reshape(-1)


def _check(good: Flags, what: str, mend: str) -> None:
    bad = np.flatnonzero(~good)
    if bad.size:
        raise BadNetworkError(f"flow network: {what} ({bad.size} of them, first at row {bad[0]}); {mend}")


@dataclass(frozen=True, slots=True, eq=False)
class FlowLinks:
    """Pipes, hoses, valves: anything that carries gas from node to node.

    Parameters
    ----------
    from_node, to_node : array_like of int, shape (m,)
        End nodes; a positive flow runs from the first to the second.
    length_m : array_like of float, shape (m,)
        Length ≥ 0 [m]. An open link of length 0 without local loss joins its nodes exactly (a valve); with
        a local loss it counts as 1 mm long.
    bore_m : array_like of float, shape (m,)
        Inner diameter > 0 [m].
    roughness_m : array_like of float, shape (m,) or one for all
        Wall roughness ≥ 0 [m].
    loss_coefficient : array_like of float, optional
        Local losses on the velocity head in the bore, ≥ 0 [-]; default 0.
    is_open : array_like of bool, optional
        Whether the link carries gas; default all.

    Raises
    ------
    BadNetworkError
        When a value is missing, not finite or out of range.
    """

    from_node: Ints
    to_node: Ints
    length_m: Floats
    bore_m: Floats
    roughness_m: Floats
    loss_coefficient: Floats = None  # type: ignore[assignment]
    is_open: Flags = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "from_node", _ints(self.from_node))
        put(self, "to_node", _ints(self.to_node))
        count = self.count
        for name in ("length_m", "bore_m", "roughness_m", "loss_coefficient"):
            put(self, name, _floats(getattr(self, name), count, 0.0))
        opened = np.ones(count, bool) if self.is_open is None else np.asarray(self.is_open, bool).reshape(-1)
        put(self, "is_open", opened)
        for name in ("to_node", "length_m", "bore_m", "roughness_m", "loss_coefficient", "is_open"):
            if getattr(self, name).size != count:
                raise BadNetworkError(
                    f"flow network: {name} has {getattr(self, name).size} rows for {count} links; "
                    "give one each"
                )
        _check(np.isfinite(self.length_m) & (self.length_m >= 0), "length below 0 or missing", "correct it")
        _check(np.isfinite(self.bore_m) & (self.bore_m > 0), "bore not above 0", "give the inner diameter")
        _check(
            np.isfinite(self.roughness_m) & (self.roughness_m >= 0) & (self.roughness_m < 0.5 * self.bore_m),
            "roughness missing, below 0 or beyond half the bore",
            "correct it",
        )
        _check(
            np.isfinite(self.loss_coefficient) & (self.loss_coefficient >= 0),
            "loss coefficient below 0",
            "correct it",
        )

    @property
    def count(self) -> int:
        """Number of links."""
        return int(self.from_node.size)

    def joined_with(self, other: FlowLinks) -> FlowLinks:
        """Return these links followed by the `other` ones."""
        return FlowLinks(
            *(
                np.concatenate([getattr(self, name), getattr(other, name)])
                for name in (
                    "from_node",
                    "to_node",
                    "length_m",
                    "bore_m",
                    "roughness_m",
                    "loss_coefficient",
                    "is_open",
                )
            )
        )


@dataclass(frozen=True, slots=True, eq=False)
class FlowNetwork:
    """A network as the flow calculation sees it.

    Parameters
    ----------
    node_count : int
        Number of nodes, n.
    links : FlowLinks
        What joins them.
    station_node : array_like of int, shape (s,)
        Outlet node of each regulator station.
    station_pressure_pa_gauge : array_like of float, shape (s,)
        Set pressure at the sensing point [Pa gauge], > 0.
    station_capacity_m3_per_s_std : array_like of float, shape (s,), optional
        The most each can give [m³/s at 15 °C, 101.325 kPa]; NaN where it has no limit; default none.
    station_sensing_node : array_like of int, shape (s,), optional
        Node whose pressure the station holds; -1 (default) for its own outlet.
    node_height_m : array_like of float, shape (n,), optional
        Height of the pipe at each node [m]; NaN where unknown (taken as that of the nearest known node
        along the network, so that no height is made up and no ring drives itself); default all unknown.
    open_node : array_like of int, shape (e,), optional
        Nodes open to the air: gas leaves there at 0 Pa gauge, and no air comes in; default none.

    Raises
    ------
    BadNetworkError
        When a node number does not exist or a value is out of range.
    """

    node_count: int
    links: FlowLinks
    station_node: Ints
    station_pressure_pa_gauge: Floats
    station_capacity_m3_per_s_std: Floats = None  # type: ignore[assignment]
    station_sensing_node: Ints = None  # type: ignore[assignment]
    node_height_m: Floats = None  # type: ignore[assignment]
    open_node: Ints = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "station_node", _ints(self.station_node))
        put(self, "open_node", _ints([] if self.open_node is None else self.open_node))
        count = self.station_count
        sensing = (
            np.full(count, OWN_OUTLET) if self.station_sensing_node is None else self.station_sensing_node
        )
        put(self, "station_sensing_node", _ints(sensing))
        put(self, "station_pressure_pa_gauge", _floats(self.station_pressure_pa_gauge, count, np.nan))
        put(self, "station_capacity_m3_per_s_std", _floats(self.station_capacity_m3_per_s_std, count, np.nan))
        put(self, "node_height_m", _floats(self.node_height_m, self.node_count, np.nan))
        for name in ("station_pressure_pa_gauge", "station_capacity_m3_per_s_std", "station_sensing_node"):
            if getattr(self, name).size != count:
                raise BadNetworkError(
                    f"flow network: {name} does not have one row for each of {count} stations"
                )
        if self.node_height_m.size != self.node_count:
            raise BadNetworkError(f"flow network: node_height_m does not have {self.node_count} rows")
        for name, nodes, least in (
            ("from_node", self.links.from_node, 0),
            ("to_node", self.links.to_node, 0),
            ("station_node", self.station_node, 0),
            ("station_sensing_node", self.station_sensing_node, OWN_OUTLET),
            ("open_node", self.open_node, 0),
        ):
            _check((nodes >= least) & (nodes < self.node_count), f"{name} names no node", "correct it")
        _check(
            ~np.isin(self.open_node, self.station_node),
            "open_node names the outlet of a station",
            "put a length of pipe between",
        )
        pressure = self.station_pressure_pa_gauge
        _check(
            np.isfinite(pressure) & (pressure > 0), "station pressure not above 0", "give the set pressure"
        )
        capacity = self.station_capacity_m3_per_s_std
        _check(
            ~(capacity < 0) & ~np.isinf(capacity),
            "station capacity below 0 or infinite",
            "NaN means no limit",
        )

    @property
    def station_count(self) -> int:
        """Number of stations."""
        return int(self.station_node.size)

    def sensing_nodes(self) -> Ints:
        """Return the node each station holds, its own outlet where none is given."""
        own = self.station_sensing_node == OWN_OUTLET
        return np.where(own, self.station_node, self.station_sensing_node)

    def open_parts(self) -> Ints:
        """Return the number, from 0, of the part that open links join each node to, shape (n,)."""
        rows = np.flatnonzero(self.links.is_open)
        label, _ = component_labels(self.node_count, self.links.from_node[rows], self.links.to_node[rows])
        return label.astype(np.int64)

    def with_links(self, links: FlowLinks) -> FlowNetwork:
        """Return the same network with other links."""
        return FlowNetwork(
            self.node_count,
            links,
            self.station_node,
            self.station_pressure_pa_gauge,
            self.station_capacity_m3_per_s_std,
            self.station_sensing_node,
            self.node_height_m,
            self.open_node,
        )


@dataclass(frozen=True, slots=True, eq=False)
class FlowState:
    """The steady state of a network. Where a part has no solution, its numbers are NaN.

    Parameters
    ----------
    pressure_pa_gauge : ndarray of float, shape (n,)
        Pressure at each node against the air at its height [Pa gauge].
    flow_kg_per_s, flow_m3_per_s_std : ndarray of float, shape (m,)
        Flow of each link, + from its first node to its second; 0 where closed; NaN where several ways
        of no length run in parallel, so that it cannot be told how the flow divides.
    station_flow_kg_per_s, station_flow_m3_per_s_std : ndarray of float, shape (s,)
        Gas given by each station, ≥ 0.
    station_state : tuple of StationState
        What each station does.
    node_part : ndarray of int, shape (n,)
        Number of the connected part each node belongs to.
    part_status : tuple of PartStatus
        What became of each part.
    iterations : int
        Newton steps taken.
    open_flow_m3_per_s_std : ndarray of float, shape (e,)
        Gas that escapes at each node open to the air, ≥ 0.
    below_zero : ndarray of bool, shape (n,), or None
        Where a part without a solution, its demand not met, would fall below zero gauge; None for no such
        part.
    """

    pressure_pa_gauge: Floats
    flow_kg_per_s: Floats
    flow_m3_per_s_std: Floats
    station_flow_kg_per_s: Floats
    station_flow_m3_per_s_std: Floats
    station_state: tuple[StationState, ...]
    node_part: Ints
    part_status: tuple[PartStatus, ...]
    iterations: int
    core: Any = field(default=None, repr=False)
    open_flow_m3_per_s_std: Floats = field(default_factory=lambda: np.zeros(0))
    below_zero: Flags | None = None

    @property
    def status(self) -> PartStatus:
        """The worst status among the parts that have a station; NO_SOURCE if none has one."""
        fed = [status for status in self.part_status if status is not PartStatus.NO_SOURCE]
        if not fed:
            return PartStatus.NO_SOURCE
        for status in (
            PartStatus.NOT_CONVERGED,
            PartStatus.SENSING_CUT_OFF,
            PartStatus.GAS_NOT_TAKEN,
            PartStatus.DEMAND_NOT_MET,
        ):
            if status in fed:
                return status
        return PartStatus.SOLVED

    def require_solved(self) -> FlowState:
        """Return the state itself.

        Raises
        ------
        NotSolvedError
            When a part that has a station is not solved.
        """
        if self.status is not PartStatus.SOLVED:
            bad = sum(1 for s in self.part_status if s not in (PartStatus.SOLVED, PartStatus.NO_SOURCE))
            raise NotSolvedError(
                f"flow: {self.status} in {bad or len(self.part_status)} part(s) of the network; "
                "check stations, demand and closed links there"
            )
        return self
