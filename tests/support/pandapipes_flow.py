"""Our flow networks as pandapipes networks, to solve them by an independent program (pandapipes 0.16).

pandapipes is told the same gas: one compressibility, one viscosity. With `same_law` its friction law is
replaced by ours (checked on its own against the general library fluids), so that what is compared is the
solving of the network and not two ideas of the transition zone.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from netplan.hydraulics import FlowConditions, FlowNetwork
from netplan.hydraulics.friction import friction_and_slope

Floats = npt.NDArray[np.float64]

NORMAL_K = 273.15
NORMAL_PA = 101_325.0
TOLERANCE = 1e-8


@dataclass(frozen=True)
class Answer:
    """What pandapipes finds: pressures [Pa gauge], flows [kg/s], Reynolds numbers [-]."""

    pressure_pa_gauge: Floats
    flow_kg_per_s: Floats
    reynolds: Floats


def build(network: FlowNetwork, demand_m3_per_s_std: Floats, conditions: FlowConditions) -> Any:
    """Return the pandapipes network of a level network with every link open and longer than nothing."""
    gas = conditions.properties()
    temperature = conditions.ground_temperature_k
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandapipes as pp

        # Our p/ρ = Z R T/M; theirs is Z p_n T / (T_n ρ_n) with ρ_n at 0 °C: set Z = 1 and let ρ_n carry it.
        fluid = pp.create_constant_fluid(
            "gas",
            "gas",
            density=NORMAL_PA * temperature / (NORMAL_K * gas.pressure_per_density),
            viscosity=gas.viscosity_pa_s,
            compressibility=1.0,
            der_compressibility=0.0,
            heat_capacity=2000.0,
            molar_mass=17.0,
        )
        net = pp.create_empty_network(fluid=fluid)
        pp.create_junctions(net, network.node_count, pn_bar=0.025, tfluid_k=temperature)
        links = network.links
        pp.create_pipes_from_parameters(
            net,
            links.from_node,
            links.to_node,
            links.length_m / 1000.0,
            links.bore_m * 1000.0,
            k_mm=links.roughness_m * 1000.0,
            loss_coefficient=links.loss_coefficient,
        )
        drawn = np.flatnonzero(demand_m3_per_s_std)
        pp.create_sinks(net, drawn, demand_m3_per_s_std[drawn] * gas.density_kg_per_m3_std)
        for node, pressure in zip(network.station_node, network.station_pressure_pa_gauge, strict=True):
            pp.create_ext_grid(net, int(node), p_bar=pressure / 1e5, t_k=temperature)
    return net


def solve_net(net: Any, *, same_law: bool, most_steps: int = 60) -> None:
    """Solve a pandapipes network in place at a tolerance of 1e-8 on flow and pressure."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pandapipes as pp

        with _our_law() if same_law else _their_law():
            pp.pipeflow(
                net,
                friction_model="colebrook",
                tol_p=TOLERANCE,
                tol_m=TOLERANCE,
                tol_res=TOLERANCE,
                max_iter_hyd=most_steps,
                max_iter_colebrook=200,
                tolerance_colebrook=1e-10,
                mode="hydraulics",
                use_numba=False,
            )


def answer_of(net: Any) -> Answer:
    """Return the results of a solved network."""
    return Answer(
        net.res_junction.p_bar.to_numpy() * 1e5,
        net.res_pipe.mdot_from_kg_per_s.to_numpy(),
        net.res_pipe.reynolds.to_numpy(),
    )


@contextmanager
def _their_law() -> Iterator[None]:
    yield


@contextmanager
def _our_law() -> Iterator[None]:
    from pandapipes.pf import derivative_calculation as theirs

    kept = theirs.calc_lambda, theirs.calc_der_lambda

    def law(m: Floats, eta: Floats, d: Floats, k: Floats, *_: Any) -> tuple[Floats, Floats]:
        reynolds = np.maximum(4.0 * np.abs(m) / (np.pi * d * eta), 1e-9)
        return friction_and_slope(reynolds, k / d)[0], reynolds

    def slope(m: Floats, eta: Floats, d: Floats, k: Floats, *_: Any) -> Floats:
        per_flow = 4.0 / (np.pi * d * eta)
        reynolds = np.maximum(per_flow * np.abs(m), 1e-9)
        return np.asarray(friction_and_slope(reynolds, k / d)[1] * per_flow * np.sign(m))

    theirs.calc_lambda, theirs.calc_der_lambda = law, slope
    try:
        yield
    finally:
        theirs.calc_lambda, theirs.calc_der_lambda = kept
