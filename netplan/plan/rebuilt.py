"""A planned option from its folder alone: the state after the stops, ready to be solved and fed anew.

Nothing of the network file is needed. Links, heights, stations and feeds come from the layers of plan.gpkg,
rules and window from plan.json. Demand of other weather is worked out from the customers' recorded energy
and power, with the parts they are fed in together; customers off stay off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from netplan.bypass import Draw, Feed, FeedCase, FeedKind, FeedSize, Inlets, Loads
from netplan.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.demand import DemandResult, Window, customer_demand
from netplan.errors import BadInputError
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.network.model import Customers
from netplan.network.text import Text
from netplan.network.words import Category
from netplan.plan.flowcase import flow_conditions, gas_of, limit_pa_gauge
from netplan.plan.model import Option, Plan
from netplan.reference.gas import METRIC_STANDARD
from netplan.rules import Rules, checked_rules

__all__ = ["Rebuilt", "rebuilt"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OPEN: Final = ("live", "fed", "stranded")
OTHER_SYSTEM: Final = "other system"
NEEDED: Final = {
    "pipes": "state length_m bore_mm roughness_mm loss_coefficient from_node to_node",
    "nodes": "node height_m demand_m3h pressure_before_mbar",
    "stations": "station_id node outlet_mbar capacity_m3h sensing_node",
    "bypasses": "bypass_id kind from_node to_node length_m bore_mm parallel",
    "customers": "customer_id effect category meters annual_kwh peak_kw part nodes demand_m3h "
    "pressure_before_mbar",
}


@dataclass(frozen=True, slots=True, eq=False)
class Rebuilt:
    """An option's state after the stops, its feeds taken out.

    Parameters
    ----------
    option : Option
    rules : Rules
        The rules it was planned by.
    air_temp_c : float
        Air temperature it was planned for [°C].
    flow : FlowNetwork
        Pipes of the work's pressure system as they are with the stops in; opened valves stay open.
    node : int array, shape (nodes,)
        Number in plan.gpkg of each node of `flow`, ascending.
    before_pa_gauge : float array, shape (nodes,)
        Pressure before any stop in the plan's weather [Pa gauge]; NaN where unknown.
    station_id : tuple of str
        Stations of `flow`, in order.
    planned : tuple of FeedSize
        Bypasses and hoses as planned.
    inlets : int array
        Nodes of meter inlets that must hold: of customers kept, that held before any stop.
    inlet_customer : tuple of str
        One customer at each of them.
    demand : DemandResult
        Demand of the customers over the plan's window.
    """

    option: Option
    rules: Rules
    air_temp_c: float
    flow: FlowNetwork
    node: Ints
    before_pa_gauge: Floats
    station_id: tuple[str, ...]
    planned: tuple[FeedSize, ...]
    inlets: Ints
    inlet_customer: tuple[str, ...]
    demand: DemandResult
    _part: Ints
    _is_on: NDArray[np.bool_]
    _owner: Ints
    _at: Ints
    _as_planned: Floats
    _beside: Floats

    @property
    def conditions(self) -> FlowConditions:
        """Gas and ground temperature."""
        return flow_conditions(self.rules)

    def node_demand(self, air_temp_c: float | None = None) -> Floats:
        """Return the demand of each node with all margins [m³/s at 15 °C, 101.325 kPa].

        Parameters
        ----------
        air_temp_c : float, optional
            Air temperature in every hour of the window [°C]; default as planned, forecast included.
        """
        flow = self._as_planned
        if air_temp_c is not None:
            anew = self.demand.at_air_temp(air_temp_c).flow_m3_per_s_std(part=self._part)
            flow = np.where(self._is_on, anew, 0.0)
        return self._beside + self._drawn(flow)

    def _drawn(self, flow: Floats) -> Floats:
        ways = np.bincount(self._owner, minlength=len(flow))
        drawn = flow[self._owner] / ways[self._owner]
        return np.bincount(self._at, weights=drawn, minlength=len(self.node)).astype(float)

    def loads(self, air_temp_c: float | None = None) -> Loads:
        """Return all that must be carried, gas for purging in on top [m³/s at 15 °C, 101.325 kPa].

        Parameters
        ----------
        air_temp_c : float, optional
            As for `node_demand`.
        """
        demand = self.demand if air_temp_c is None else self.demand.at_air_temp(air_temp_c)
        worst = demand.worst_hour
        hours = [self.node_demand(air_temp_c)]
        for hour in demand.hours_to_check():
            if hour != worst:
                flow = demand.flow_m3_per_s_std(hour, self._part)
                hours.append(self._beside + self._drawn(np.where(self._is_on, flow, 0.0)))
        draws = tuple(
            tuple(
                Draw(int(np.searchsorted(self.node, node)), load.draw_m3h / SECONDS_PER_HOUR)
                for node in load.nodes
            )
            for load in self.option.purge.loads
        )
        return Loads(tuple(hours), draws)

    def case(self, rules: Rules, air_temp_c: float | None = None) -> FeedCase:
        """Return the state as a case for feeds, its inlets held to these rules' minimum and margin."""
        demand = self.node_demand(air_temp_c)
        solver = FlowSolver(self.flow, self.conditions)
        solver.solve(demand)
        inlets = Inlets(self.inlets, np.full(len(self.inlets), limit_pa_gauge(rules)))
        return FeedCase(solver, demand, inlets, self.loads(air_temp_c))


def rebuilt(plan: Plan, layers: Mapping[str, Any], rank: int = 1) -> Rebuilt:
    """Build an option's state after the stops from a plan and its layers.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to table
        Layers of plan.gpkg, `conditions` among them.
    rank : int
        Rank of the option.

    Raises
    ------
    BadInputError
        When the plan has no such option, or its layers do not hold the whole state.
    """
    option = next((option for option in plan.options if option.rank == rank), None)
    if option is None:
        raise BadInputError(f"--option {rank}: the plan has {len(plan.options)} options; choose one of them")
    rows = _of_option(layers, rank)
    rules = checked_rules(plan.rules, "plan.json: rules")
    pipes = rows["pipes"][rows["pipes"].state != OTHER_SYSTEM]
    bypasses = rows["bypasses"][rows["bypasses"].from_node >= 0]
    ends = [
        frame[name].to_numpy(np.int64) for frame in (pipes, bypasses) for name in ("from_node", "to_node")
    ]
    node = np.unique(np.concatenate(ends))
    nodes = rows["nodes"].set_index("node").reindex(node)
    if nodes.demand_m3h.isna().any():
        raise BadInputError("plan.gpkg: layer nodes lacks a node that a pipe ends at; make the plan again")
    stations = rows["stations"][rows["stations"].node.isin(node)]
    demand = _demand(plan, rules, rows["customers"])
    owner, at = _attachments(rows["customers"], node)
    held = owner, at, rows["customers"], limit_pa_gauge(rules) / PA_PER_MBAR
    inlets, names = _inlets(*held, option.pressures.weak_before)
    as_planned = rows["customers"].demand_m3h.to_numpy(float) / SECONDS_PER_HOUR
    state = Rebuilt(
        option=option,
        rules=rules,
        air_temp_c=plan.conditions.air_temp_c,
        flow=_flow(pipes, stations, nodes, node),
        node=node,
        before_pa_gauge=nodes.pressure_before_mbar.to_numpy(float) * PA_PER_MBAR,
        station_id=tuple(stations.station_id),
        planned=tuple(_planned(row, node) for row in bypasses.itertuples()),
        inlets=inlets,
        inlet_customer=names,
        demand=demand,
        _part=rows["customers"].part.to_numpy(np.int64),
        _is_on=as_planned > 0.0,
        _owner=owner,
        _at=at,
        _as_planned=as_planned,
        _beside=np.zeros(len(node)),
    )
    # What a node draws beside its customers, if anything, stays as planned.
    beside = nodes.demand_m3h.to_numpy(float) / SECONDS_PER_HOUR - state.node_demand()
    return replace(state, _beside=np.where(np.abs(beside) > LEAST_BESIDE_M3_PER_S, beside, 0.0))


LEAST_BESIDE_M3_PER_S: Final = 1e-9


def _of_option(layers: Mapping[str, Any], rank: int) -> dict[str, pd.DataFrame]:
    for name, columns in NEEDED.items():
        missing = [c for c in columns.split() if name not in layers or c not in layers[name]]
        if missing:
            raise BadInputError(
                f"plan.gpkg: layer {name} lacks {missing[0]!r}, as in plans of an older version; plan again"
            )
    left_out = _condition(layers, "left_out")
    if left_out:
        raise BadInputError(
            f"plan.gpkg: {left_out}; plan a smaller network to size its bypass from the folder"
        )
    return {name: layers[name][layers[name].option == rank].reset_index(drop=True) for name in NEEDED}


def _condition(layers: Mapping[str, Any], name: str) -> str:
    table = layers.get("conditions")
    if table is None or "name" not in table or "value" not in table:
        raise BadInputError("plan.gpkg: layer conditions is not there; make the plan again")
    value = table.value[table.name == name]
    return str(value.iloc[0]) if len(value) and isinstance(value.iloc[0], str) else ""


def _flow(pipes: pd.DataFrame, stations: pd.DataFrame, nodes: pd.DataFrame, node: Ints) -> FlowNetwork:
    sensing = stations.sensing_node.to_numpy(np.int64)
    return FlowNetwork(
        node_count=len(node),
        links=FlowLinks(
            from_node=np.searchsorted(node, pipes.from_node.to_numpy(np.int64)),
            to_node=np.searchsorted(node, pipes.to_node.to_numpy(np.int64)),
            length_m=pipes.length_m.to_numpy(float),
            bore_m=pipes.bore_mm.to_numpy(float) / MM_PER_M,
            roughness_m=pipes.roughness_mm.to_numpy(float) / MM_PER_M,
            loss_coefficient=pipes.loss_coefficient.to_numpy(float),
            is_open=pipes.state.isin(OPEN).to_numpy(bool),
        ),
        station_node=np.searchsorted(node, stations.node.to_numpy(np.int64)),
        station_pressure_pa_gauge=stations.outlet_mbar.to_numpy(float) * PA_PER_MBAR,
        station_capacity_m3_per_s_std=stations.capacity_m3h.to_numpy(float) / SECONDS_PER_HOUR,
        station_sensing_node=np.where(np.isin(sensing, node), np.searchsorted(node, sensing), -1),
        node_height_m=nodes.height_m.to_numpy(float),
    )


def _planned(row: Any, node: Ints) -> FeedSize:
    ends = np.searchsorted(node, [int(row.from_node), int(row.to_node)])
    feed = Feed(FeedKind(row.kind), row.bypass_id, int(ends[0]), int(ends[1]), float(row.length_m))
    return FeedSize(feed, float(row.bore_mm) / MM_PER_M, int(row.parallel))


def _demand(plan: Plan, rules: Rules, customers: pd.DataFrame) -> DemandResult:
    conditions = plan.conditions
    start = None if conditions.start is None else datetime.fromisoformat(conditions.start)
    window = Window(start, conditions.hours, conditions.air_temp_c)
    heat = gas_of(rules).gross_calorific_value_j_per_m3(METRIC_STANDARD)
    return customer_demand(_records(customers), window, rules, heat)


def _records(rows: pd.DataFrame) -> Customers:
    count = len(rows)
    words, empty = list(Category.words()), Text([""] * count)
    try:
        category = np.array([words.index(word) for word in rows.category], dtype=np.uint8)
    except ValueError:
        raise BadInputError("plan.gpkg: a customer's category is not known; make the plan again") from None
    return Customers(
        id=Text(rows.customer_id),
        address=empty,
        street=empty,
        number=empty,
        postcode=empty,
        category=category,
        priority=empty,
        priority_note=empty,
        meters=rows.meters.to_numpy(np.int32),
        annual_kwh=rows.annual_kwh.to_numpy(float),
        peak_kw=rows.peak_kw.to_numpy(float),
        service_regulator=np.zeros(count, dtype=np.uint8),
        language=empty,
        x_m=np.zeros(count),
        y_m=np.zeros(count),
        attach_start=np.zeros(count + 1, dtype=np.int32),
        attach_node=np.zeros(0, dtype=np.int32),
        attached_by=np.zeros(count, dtype=np.uint8),
    )


def _attachments(customers: pd.DataFrame, node: Ints) -> tuple[Ints, Ints]:
    """Return customer row and node row of every place a customer of this system draws at."""
    pairs = [
        (row, int(number))
        for row, text in enumerate(customers.nodes)
        for number in (text.split(";") if isinstance(text, str) and text else ())
    ]
    table = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    table = table[np.isin(table[:, 1], node)]
    return table[:, 0], np.searchsorted(node, table[:, 1])


def _inlets(
    owner: Ints, at: Ints, customers: pd.DataFrame, required_mbar: float, weak_before: tuple[str, ...]
) -> tuple[Ints, tuple[str, ...]]:
    before = customers.pressure_before_mbar.to_numpy(float)
    counts = (customers.effect != "off").to_numpy(bool) & (before >= required_mbar)
    # Some failed in another hour than that of the pressures on record.
    counts &= ~customers.customer_id.isin(weak_before).to_numpy(bool)
    rows = np.flatnonzero(counts[owner])
    nodes, first = np.unique(at[rows], return_index=True)
    return nodes, tuple(str(customers.customer_id.iloc[owner[rows[i]]]) for i in first)
