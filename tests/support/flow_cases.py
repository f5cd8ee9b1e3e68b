"""Networks for the flow tests: fixed ones by name, and random ones for hypothesis."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from hypothesis import strategies as st

from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver, FlowState, LinearSolver
from netplan.reference.gas import named_gas

Floats = npt.NDArray[np.float64]

ROUGHNESS_M = 7e-6
CONDITIONS = FlowConditions(named_gas("natural gas"))
BORES_M = (0.0260, 0.0514, 0.0736, 0.1022, 0.1472, 0.2046)
LENGTHS_M = (0.01, 0.5, 5.0, 40.0, 150.0, 400.0, 800.0)
M3H = 1.0 / 3600.0


@dataclass(frozen=True)
class Case:
    """A network with its demand [m³/s at 15 °C, 101.325 kPa]."""

    network: FlowNetwork
    demand: Floats


def solve(
    network: FlowNetwork,
    demand_m3_per_s_std: npt.ArrayLike,
    conditions: FlowConditions,
    *,
    warm: FlowState | None = None,
    linear_solver: LinearSolver | None = None,
) -> FlowState:
    """Solve a network once."""
    return FlowSolver(network, conditions, linear_solver=linear_solver).solve(demand_m3_per_s_std, warm=warm)


def pipe_drop(
    flow_m3_per_s_std: float,
    pressure_from_pa_gauge: float,
    length_m: float,
    bore_m: float,
    roughness_m: float,
    conditions: FlowConditions,
) -> float:
    """Return the drop along one pipe [Pa], as a network of nothing else has it."""
    # A station stands above the air outside: else the same absolute pressure, counted from thinner air.
    shift = 1000.0 if pressure_from_pa_gauge == 0.0 else 0.0
    air = replace(conditions, atmospheric_pressure_pa_abs=conditions.atmospheric_pressure_pa_abs - shift)
    start = pressure_from_pa_gauge + shift
    pipe = FlowLinks(
        np.array([0]), np.array([1]), np.array([length_m]), np.array([bore_m]), np.array([roughness_m])
    )
    network = FlowNetwork(2, pipe, np.array([0]), np.array([start]))
    state = solve(network, np.array([0.0, flow_m3_per_s_std]), air).require_solved()
    return float(start - state.pressure_pa_gauge[1])


def links(
    ends: list[tuple[int, int]], lengths: list[float], bores: list[float], loss: float = 0.0
) -> FlowLinks:
    """Return PE links from lists."""
    pairs = np.array(ends, dtype=np.int64).reshape(-1, 2)
    return FlowLinks(
        pairs[:, 0],
        pairs[:, 1],
        np.array(lengths, float),
        np.array(bores, float),
        np.full(len(lengths), ROUGHNESS_M),
        np.full(len(lengths), loss),
    )


def ring_six() -> Case:
    """Return the reference ring R6: source node 0 at 25 mbar, seven pipes a to g, 313 m³/h."""
    return Case(
        FlowNetwork(
            6,
            links(
                [(0, 1), (1, 2), (0, 3), (3, 2), (1, 4), (4, 5), (2, 5)],
                [200.0, 150.0, 180.0, 220.0, 160.0, 140.0, 170.0],
                [0.1472, 0.1022, 0.1022, 0.1022, 0.1022, 0.1022, 0.0736],
            ),
            np.array([0]),
            np.array([2500.0]),
        ),
        np.array([0.0, 60.0, 75.0, 40.0, 48.0, 90.0]) * M3H,
    )


def imbalance(case: Case, flow_kg_per_s: Floats, station_flow_kg_per_s: Floats) -> Floats:
    """Return what flows into each node less what leaves it [kg/s], from the results alone."""
    network, count = case.network, case.network.node_count
    density = CONDITIONS.properties().density_kg_per_m3_std
    into = np.bincount(network.links.to_node, weights=flow_kg_per_s, minlength=count)
    out = np.bincount(network.links.from_node, weights=flow_kg_per_s, minlength=count)
    given = np.bincount(network.station_node, weights=station_flow_kg_per_s, minlength=count)
    return np.asarray(into - out + given - case.demand * density)


@st.composite
def cases(
    draw: st.DrawFn,
    *,
    most_nodes: int = 25,
    most_stations: int = 3,
    heights: bool = False,
    capacities: bool = True,
    closed: bool = True,
    one_set_pressure: bool = False,
) -> Case:
    """Draw a connected random network, 1 cm stubs and 800 m pipes among it, demand up to ten times design."""
    count = draw(st.integers(2, most_nodes))
    ends = [(draw(st.integers(0, node - 1)), node) for node in range(1, count)]
    more = draw(st.integers(0, count))
    ends += [(draw(st.integers(0, count - 1)), draw(st.integers(0, count - 1))) for _ in range(more)]
    lengths = [draw(st.sampled_from(LENGTHS_M)) for _ in ends]
    bores = [draw(st.sampled_from(BORES_M)) for _ in ends]
    is_open = np.array([not closed or draw(st.integers(0, 19)) > 0 for _ in ends])
    stations = draw(st.integers(1, most_stations))
    outlets = np.array([draw(st.integers(0, count - 1)) for _ in range(stations)])
    level = 2500.0 if one_set_pressure else None
    pressures = np.array([level or draw(st.sampled_from([2500.0, 2100.0, 2300.0])) for _ in range(stations)])
    limits = [np.nan, 0.002, 0.01, 0.05] if capacities else [np.nan]
    capacity = np.array([draw(st.sampled_from(limits)) for _ in range(stations)])
    size = draw(st.sampled_from([0.0, 0.1, 1.0, 3.0, 10.0]))
    demand = np.array([draw(st.sampled_from([0.0, 0.0, 0.3, 1.0, 4.0])) for _ in range(count)])
    height = np.full(count, np.nan)
    if heights:
        height = np.array([draw(st.sampled_from([0.0, 3.0, 12.0, 40.0])) for _ in range(count)])
    pairs = np.array(ends).reshape(-1, 2)
    network = FlowNetwork(
        count,
        FlowLinks(
            pairs[:, 0],
            pairs[:, 1],
            np.array(lengths),
            np.array(bores),
            np.full(len(ends), ROUGHNESS_M),
            np.zeros(len(ends)),
            is_open,
        ),
        outlets,
        pressures,
        capacity,
        node_height_m=height,
    )
    return Case(network, demand * size * M3H)
