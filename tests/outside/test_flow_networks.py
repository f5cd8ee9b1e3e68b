"""Networks against independent results: pandapipes 0.16 run here, analytic cases, the reference ring."""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from netplan.hydraulics import FlowConditions, FlowGas, FlowLinks, FlowNetwork, FlowSolver, PartStatus
from netplan.reference.gas import named_gas
from tests.benchmarks.street_grid import street_grid
from tests.compared import compared
from tests.support import schutterwald
from tests.support.flow_cases import CONDITIONS, M3H, ROUGHNESS_M, Case, cases, links, ring_six, solve
from tests.support.pandapipes_flow import answer_of, build, solve_net

E_PIPE, SOURCE = 4, 0
HOSE = links([(1, 4)], [12.0], [0.0514])


def hgas_at_15_c() -> FlowConditions:
    """Return pandapipes' own hgas at 15 °C as our gas, Z and viscosity at the ring's mean pressure."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandapipes as pp

        gas = pp.call_lib("hgas")
    density, kelvin = float(gas.get_density(273.15)), 288.15
    z = float(np.ravel(gas.get_compressibility(1.0365, np.array([kelvin])))[0])
    viscosity = float(np.ravel(gas.get_viscosity(np.array([kelvin])))[0])
    per_density = 101_325.0 * z * kelvin / (273.15 * density)
    return FlowConditions(named_gas("methane"), kelvin, flow_gas=FlowGas(per_density, viscosity, density))


class TestRingSix:
    """Reference ring R6, own network; figures by pandapipes 0.16 with colebrook and hgas at 15 °C.

    Demands count m³ at 0 °C there, which the gas's standard density carries.
    """

    def test_all_pipes_in(self) -> None:
        state = solve(ring_six().network, ring_six().demand, hgas_at_15_c())
        flows = [223.6246, 62.7106, 89.3754, 49.3754, 100.914, 52.914, 37.086]
        compared(
            "ring: flows",
            state.flow_m3_per_s_std / M3H,
            flows,
            rel=1e-4,
            unit="m³/h",
            source="pandapipes 0.16.0, colebrook, hgas",
            how="library",
        )
        compared(
            "ring: pressures",
            state.pressure_pa_gauge[1:] / 100,
            [23.4579, 22.7566, 23.4342, 21.7313, 21.2441],
            abs=5e-3,
            unit="mbar",
            source="pandapipes 0.16.0, colebrook, hgas",
            how="library",
        )
        # The same network solved with scipy at constant density.
        compared(
            "ring: pressures",
            state.pressure_pa_gauge[1:] / 100,
            [23.4555, 22.7538, 23.4318, 21.7290, 21.2422],
            abs=1e-2,
            unit="mbar",
            source="scipy root finder at constant density",
            how="library",
        )

    def test_pipe_e_out(self) -> None:
        solver = FlowSolver(ring_six().network, hgas_at_15_c())
        solver.solve(ring_six().demand)
        state = solver.resolve(closed_links=[E_PIPE])
        compared(
            "ring, a main out: flows",
            state.flow_m3_per_s_std[[5, 6]] / M3H,
            [-48.0, 138.0],
            rel=1e-9,
            unit="m³/h",
            source="what the nodes draw",
            how="arithmetic",
        )
        assert state.flow_kg_per_s[E_PIPE] == 0.0
        compared(
            "ring, a main out: pressures",
            state.pressure_pa_gauge[[4, 5]] / 100,
            [5.087, 5.505],
            abs=0.02,
            unit="mbar",
            source="pandapipes 0.16.0",
            how="library",
        )

    def test_pipe_e_out_and_the_bypass_in(self) -> None:
        solver = FlowSolver(ring_six().network, hgas_at_15_c())
        solver.solve(ring_six().demand)
        state = solver.resolve(closed_links=[E_PIPE], added_links=HOSE)
        compared(
            "ring, main out, bypass in: its flow",
            state.flow_m3_per_s_std[7] / M3H,
            90.49,
            abs=0.02,
            unit="m³/h",
            source="pandapipes 0.16.0",
            how="library",
        )
        compared(
            "ring, main out, bypass in: pressures",
            state.pressure_pa_gauge[[4, 5]] / 100,
            [20.621, 20.288],
            abs=5e-3,
            unit="mbar",
            source="pandapipes 0.16.0",
            how="library",
        )


FAR_PA_GAUGE = 1e9
SMALL = 0.1


def pole_links(ends: list[tuple[int, int]], length: list[float], bore: list[float]) -> FlowLinks:
    """Return links whose drop is Pole's, ΔP = s L Q²/(0.0071² d⁵), raised 1 / SMALL² times.

    A constant friction factor is a pure local loss. At a very high pressure the squares differ like the
    pressures, and at a tenth of the flow the millimetre that a local loss counts as long is nothing.
    """
    d = np.array(bore)
    density_std, density = 0.7353, (FAR_PA_GAUGE + 101_325.0) / PRESSURE_PER_DENSITY
    per_head = 3600.0**2 * math.pi**2 * density / (8.0 * density_std**2)
    factor = 100.0 * 0.60 * per_head / (0.0071**2 * 1e15) / SMALL**2
    pairs = np.array(ends)
    return FlowLinks(
        pairs[:, 0],
        pairs[:, 1],
        np.zeros(d.size),
        d,
        np.full(d.size, ROUGHNESS_M),
        factor * np.array(length) / d,
    )


PRESSURE_PER_DENSITY = 1e9
POLE = FlowConditions(named_gas("methane"), 288.15, flow_gas=FlowGas(PRESSURE_PER_DENSITY, 1.1e-5, 0.7353))
RING_ENDS = [(0, 1), (1, 2), (0, 3), (3, 2), (1, 4), (4, 5), (2, 5)]
RING_LENGTHS = [200.0, 150.0, 180.0, 220.0, 160.0, 140.0, 170.0]
RING_BORES = [0.1472, 0.1022, 0.1022, 0.1022, 0.1022, 0.1022, 0.0736]


class TestRingSixByPole:
    """The same ring by Pole's formula, computed with scipy's root finder."""

    solver = FlowSolver(
        FlowNetwork(
            6, pole_links(RING_ENDS, RING_LENGTHS, RING_BORES), np.array([0]), np.array([FAR_PA_GAUGE])
        ),
        POLE,
    )

    def pressures(self, state: Any) -> Any:
        return (state.pressure_pa_gauge - FAR_PA_GAUGE) / 100.0 + 25.0

    def test_all_pipes_in(self) -> None:
        state = self.solver.solve(ring_six().demand * SMALL)
        compared(
            "ring by Pole: flows",
            state.flow_m3_per_s_std / M3H / SMALL,
            [220.5716, 61.7878, 92.4284, 52.4284, 98.7839, 50.7839, 39.2161],
            abs=1e-4,
            unit="m³/h",
            source="scipy root finder",
            how="library",
        )
        compared(
            "ring by Pole: pressures",
            self.pressures(state)[1:],
            [23.3242, 22.7129, 23.3584, 21.6574, 21.2720],
            abs=1e-3,
            unit="mbar",
            source="scipy root finder",
            how="library",
        )

    def test_pipe_e_out_and_with_the_bypass(self) -> None:
        self.solver.solve(ring_six().demand * SMALL)
        out = self.solver.resolve(closed_links=[E_PIPE])
        compared(
            "ring by Pole, a main out: flows",
            out.flow_m3_per_s_std[[1, 5, 6]] / M3H / SMALL,
            [134.1093, -48.0, 138.0],
            abs=1e-4,
            unit="m³/h",
            source="scipy root finder",
            how="library",
        )
        compared(
            "ring by Pole, a main out: pressures",
            self.pressures(out)[[2, 4, 5]],
            [20.8222, 2.6355, 2.9798],
            abs=1e-3,
            unit="mbar",
            source="scipy root finder",
            how="library",
        )
        fed = self.solver.resolve(closed_links=[E_PIPE], added_links=pole_links([(1, 4)], [12.0], [0.0514]))
        compared(
            "ring by Pole, bypass in: its flow",
            fed.flow_m3_per_s_std[7] / M3H / SMALL,
            87.0186,
            abs=1e-4,
            unit="m³/h",
            source="scipy root finder",
            how="library",
        )
        compared(
            "ring by Pole, bypass in: pressures",
            self.pressures(fed)[[4, 5]],
            [20.3483, 20.1208],
            abs=1e-3,
            unit="mbar",
            source="scipy root finder",
            how="library",
        )


class TestAnalytic:
    """Cases with an answer on paper."""

    def test_two_parallel_pipes_share_by_the_root(self) -> None:
        # Q1/Q2 = √(K2/K1), K = L/D⁵: 3.0492141, share 0.7530385.
        both = pole_links([(0, 1), (0, 1)], [100.0, 150.0], [0.1472, 0.1022])
        state = solve(
            FlowNetwork(2, both, np.array([0]), np.array([FAR_PA_GAUGE])),
            np.array([0.0, 20.0 * M3H]),
            POLE,
        )
        one, other = state.flow_kg_per_s
        compared(
            "two parallel pipes: ratio of flows",
            one / other,
            3.0492141,
            rel=1e-6,
            source="√(K2/K1)",
            how="arithmetic",
        )
        compared(
            "two parallel pipes: share",
            one / (one + other),
            0.7530385,
            rel=1e-6,
            source="√(K2/K1)",
            how="arithmetic",
        )

    def test_laminar_flow_shares_by_the_fourth_power(self) -> None:
        # Hagen-Poiseuille: Q ~ D⁴/L, exactly.
        both = links([(0, 1), (0, 1)], [100.0, 150.0], [0.1472, 0.1022])
        state = solve(
            FlowNetwork(2, both, np.array([0]), np.array([2500.0])), np.array([0.0, 0.5 * M3H]), CONDITIONS
        )
        one, other = state.flow_kg_per_s
        compared(
            "parallel laminar flow: ratio",
            one / other,
            1.5 * (147.2 / 102.2) ** 4,
            rel=1e-8,
            source="Hagen-Poiseuille",
            how="arithmetic",
        )

    def test_symmetric_square_splits_equally(self) -> None:
        square = links([(0, 1), (1, 2), (0, 3), (3, 2)], [100.0] * 4, [0.1022] * 4)
        state = solve(
            FlowNetwork(4, square, np.array([0]), np.array([2500.0])),
            np.array([0.0, 0.0, 80.0, 0.0]) * M3H,
            CONDITIONS,
        )
        compared(
            "symmetric square: flows",
            state.flow_m3_per_s_std / M3H,
            [40.0] * 4,
            rel=1e-12,
            unit="m³/h",
            source="by symmetry",
            how="arithmetic",
        )

    def test_balanced_bridge_carries_nothing(self) -> None:
        # K1/K2 = K3/K4 on both sides: no flow across.
        bridge = links(
            [(0, 1), (1, 3), (0, 2), (2, 3), (1, 2)], [100.0, 150.0, 100.0, 150.0, 30.0], [0.1022] * 5
        )
        state = solve(
            FlowNetwork(4, bridge, np.array([0]), np.array([2500.0])),
            np.array([0.0, 0.0, 0.0, 120.0]) * M3H,
            CONDITIONS,
        )
        assert abs(state.flow_m3_per_s_std[4]) <= 1e-9 * 120.0 * M3H

    def test_tree_flows_are_the_demand_beyond(self) -> None:
        tree = links([(0, 1), (1, 2), (1, 3), (3, 4), (5, 3)], [100.0, 50.0, 70.0, 20.0, 15.0], [0.1022] * 5)
        demand = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]) * M3H
        state = solve(FlowNetwork(6, tree, np.array([0]), np.array([2500.0])), demand, CONDITIONS)
        compared(
            "tree: flows",
            state.flow_m3_per_s_std / M3H,
            [20.0, 3.0, 15.0, 5.0, -6.0],
            rel=1e-14,
            unit="m³/h",
            source="demand beyond",
            how="arithmetic",
        )
        compared(
            "tree: flow of the station",
            state.station_flow_m3_per_s_std / M3H,
            [21.0],
            rel=1e-14,
            unit="m³/h",
            source="demand beyond",
            how="arithmetic",
        )

    def test_scaling_of_a_quadratic_law(self) -> None:
        ring = FlowNetwork(
            6, pole_links(RING_ENDS, RING_LENGTHS, RING_BORES), np.array([0]), np.array([FAR_PA_GAUGE])
        )
        one = solve(ring, ring_six().demand * 0.1, POLE)
        other = solve(ring, ring_six().demand * 0.2, POLE)
        assert other.flow_kg_per_s == pytest.approx(2.0 * one.flow_kg_per_s, rel=1e-6)
        assert FAR_PA_GAUGE - other.pressure_pa_gauge == pytest.approx(
            4.0 * (FAR_PA_GAUGE - one.pressure_pa_gauge), rel=1e-5, abs=1e-5
        )

    def test_column_of_still_gas(self) -> None:
        # Barometric formula by hand: both columns isothermal at 10 °C, 50 m up.
        gas = CONDITIONS.properties()
        riser = FlowNetwork(
            2,
            links([(0, 1)], [60.0], [0.1022]),
            np.array([0]),
            np.array([2500.0]),
            node_height_m=np.array([0.0, 50.0]),
        )
        state = solve(riser, np.zeros(2), CONDITIONS)
        inside = (101_325.0 + 2500.0) * math.exp(-9.80665 * 50.0 / gas.pressure_per_density)
        outside = 101_325.0 * math.exp(-9.80665 * 50.0 * 0.02896546 / (8.314462618 * 283.15))
        compared(
            "gauge pressure 50 m up, still gas",
            state.pressure_pa_gauge[1],
            inside - outside,
            abs=1e-6,
            unit="Pa",
            source="barometric formula by hand",
            how="arithmetic",
        )
        # Rule of thumb, common practice: about +0.05 mbar for each metre.
        compared(
            "rise of gauge pressure with height",
            (state.pressure_pa_gauge[1] - 2500.0) / 100.0 / 50.0,
            0.05,
            abs=0.006,
            unit="mbar/m",
            source="rule of thumb, +0.05 mbar/m",
            how="common practice",
        )


def town() -> Case:
    """Return the whole Schutterwald network as stored, level, at 50 mbar and a quarter of the mean demand."""
    net = schutterwald.stored()
    row = {junction: number for number, junction in enumerate(net.junction.index)}
    pipes = net.pipe
    demand = np.zeros(len(row))
    mass = net.sink.mdot_kg_per_s.to_numpy() * 0.25
    np.add.at(demand, net.sink.junction.map(row).to_numpy(), mass)
    network = FlowNetwork(
        len(row),
        FlowLinks(
            pipes.from_junction.map(row).to_numpy(),
            pipes.to_junction.map(row).to_numpy(),
            pipes.length_km.to_numpy() * 1000.0,
            pipes.inner_diameter_mm.to_numpy() / 1000.0,
            np.full(len(pipes), 1e-4),
        ),
        net.ext_grid.junction.map(row).to_numpy(),
        np.full(len(net.ext_grid), 5000.0),
    )
    return Case(network, demand / CONDITIONS.properties().density_kg_per_m3_std)


def test_schutterwald_with_the_same_law() -> None:
    case = town()
    assert (case.network.node_count, case.network.links.count) == (2559, 2559)
    net = build(case.network, case.demand, CONDITIONS)
    solve_net(net, same_law=True)
    theirs, ours = answer_of(net), solve(case.network, case.demand, CONDITIONS)
    assert ours.status is PartStatus.SOLVED
    law = {"source": "pandapipes 0.16.0 with this project's friction law", "how": "library"}
    pressures = ours.pressure_pa_gauge / 100.0, theirs.pressure_pa_gauge / 100.0
    compared("Schutterwald: every pressure", *pressures, abs=1e-3, unit="mbar", **law)  # type: ignore[arg-type]
    flows = ours.flow_kg_per_s, theirs.flow_kg_per_s
    compared("Schutterwald: every flow", *flows, abs=1e-7, unit="kg/s", **law)  # type: ignore[arg-type]


def test_schutterwald_with_their_own_colebrook_where_turbulent() -> None:
    # Their Colebrook divides the roughness by 3.71 where ours has 3.7, and they do not know laminar flow:
    # so drops are compared pipe by pipe, where Re > 4000.
    case = town()
    net = build(case.network, case.demand, CONDITIONS)
    solve_net(net, same_law=False)
    theirs, ours = answer_of(net), solve(case.network, case.demand, CONDITIONS)
    turbulent = theirs.reynolds > 4000.0
    assert turbulent.sum() > 100
    ends = case.network.links.from_node[turbulent], case.network.links.to_node[turbulent]
    air = 101_325.0
    squares = [
        (p[ends[0]] + air) ** 2 - (p[ends[1]] + air) ** 2
        for p in (ours.pressure_pa_gauge, theirs.pressure_pa_gauge)
    ]
    # The ring of 17 pipes divides by all its pipes, laminar ones too: their flow must agree first.
    flows = ours.flow_kg_per_s[turbulent], theirs.flow_kg_per_s[turbulent]
    same = np.abs(flows[0] - flows[1]) < 1e-6 * np.abs(flows[1])
    assert same.sum() > 80
    compared(
        "Schutterwald: every drop of squared pressure where turbulent",
        squares[0][same],
        squares[1][same],
        rel=2e-3,
        abs=1e-12,
        unit="Pa²",
        source="pandapipes 0.16.0, its own Colebrook",
        how="library",
    )


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
@given(cases(most_nodes=30, most_stations=1, capacities=False, closed=False))
def test_random_networks_with_the_same_law(case: Case) -> None:
    net_links = case.network.links
    assume((net_links.from_node != net_links.to_node).all())
    net = build(case.network, case.demand, CONDITIONS)
    try:
        solve_net(net, same_law=True)
    except Exception as error:  # noqa: BLE001 - their failure is no verdict on ours
        assume("not converge" not in str(error) and False)
    theirs, ours = answer_of(net), solve(case.network, case.demand, CONDITIONS)
    assume(np.isfinite(theirs.pressure_pa_gauge).all() and theirs.pressure_pa_gauge.min() > 0.0)
    assert ours.status is PartStatus.SOLVED
    assert np.abs(ours.pressure_pa_gauge - theirs.pressure_pa_gauge).max() / 100.0 <= 1e-3


def test_street_grid_with_the_same_law() -> None:
    grid = street_grid(12, service_m3_per_h=0.6)
    net = build(grid.network, grid.demand_m3_per_s_std, CONDITIONS)
    solve_net(net, same_law=True)
    theirs, ours = answer_of(net), solve(grid.network, grid.demand_m3_per_s_std, CONDITIONS)
    fed = ~np.isnan(ours.pressure_pa_gauge)
    assert fed.sum() > 1000
    assert (np.isnan(theirs.pressure_pa_gauge) == ~fed).all()
    compared(
        "street grid: every pressure",
        ours.pressure_pa_gauge[fed] / 100.0,
        theirs.pressure_pa_gauge[fed] / 100.0,
        abs=1e-3,
        unit="mbar",
        source="pandapipes 0.16.0 with this project's friction law",
        how="library",
    )
