"""An independent solution of a fed network: pandapipes, and nothing of this project's flow code.

Properties of its library gas hgas are handed to our solver, so that both sides solve the same equations.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.hydraulics import FlowConditions, FlowGas, FlowNetwork
from netplan.reference.gas import named_gas

__all__ = ["Hose", "hgas_conditions", "pandapipes_pressures", "per_second"]

Floats = NDArray[np.float64]

ATMOSPHERE_BAR = 1.01325
NORMAL_K = 273.15
STANDARD_K = 288.15
NORMAL_PER_STANDARD = STANDARD_K / NORMAL_K


@dataclass(frozen=True, slots=True)
class Hose:
    """A hose of a feed, as another program sees it: nodes, length and bore [m], loss coefficient, roughness [m]."""

    from_node: int
    to_node: int
    length_m: float
    bore_m: float
    loss_coefficient: float
    roughness_m: float


def per_second(m3_per_h_normal: Floats | float) -> Floats:
    """Return m³/h at 0 °C, 101.325 kPa as m³/s at 15 °C, 101.325 kPa."""
    return np.asarray(m3_per_h_normal, dtype=float) / 3600.0 * NORMAL_PER_STANDARD


def _hgas() -> object:
    import pandapipes as pp

    return pp.call_lib("hgas")


def hgas_conditions(ground_temperature_k: float = STANDARD_K) -> FlowConditions:
    """Return flow conditions with the density, compressibility and viscosity pandapipes uses for hgas."""
    fluid = _hgas()
    normal_density = float(fluid.get_density(NORMAL_K))  # type: ignore[attr-defined]
    ratio = float(
        fluid.get_compressibility(ATMOSPHERE_BAR + 0.024)  # type: ignore[attr-defined]
    )
    pressure_per_density = ATMOSPHERE_BAR * 1e5 / normal_density * ground_temperature_k / NORMAL_K * ratio
    return FlowConditions(
        named_gas("natural gas"),
        ground_temperature_k=ground_temperature_k,
        flow_gas=FlowGas(
            pressure_per_density=pressure_per_density,
            viscosity_pa_s=float(fluid.get_viscosity(ground_temperature_k)),  # type: ignore[attr-defined]
            density_kg_per_m3_std=normal_density / NORMAL_PER_STANDARD,
        ),
    )


def pandapipes_pressures(
    network: FlowNetwork,
    demand_m3_per_s_std: Floats,
    hoses: Sequence[Hose],
    ground_temperature_k: float = STANDARD_K,
) -> tuple[Floats, Floats]:
    """Return the pressure at each node [Pa gauge] (NaN without gas) and the flow of each hose [m³/s at 15 °C]."""
    import pandapipes as pp

    fluid = _hgas()
    density = float(fluid.get_density(NORMAL_K)) / NORMAL_PER_STANDARD  # type: ignore[attr-defined]
    net = pp.create_empty_network(fluid=fluid)
    first = float(network.station_pressure_pa_gauge[0]) / 1e5
    pp.create_junctions(net, network.node_count, pn_bar=first, tfluid_k=ground_temperature_k)
    for node, pressure in zip(network.station_node, network.station_pressure_pa_gauge, strict=True):
        pp.create_ext_grid(net, int(node), p_bar=float(pressure) / 1e5, t_k=ground_temperature_k)
    links, live = network.links, np.flatnonzero(network.links.is_open)
    pp.create_pipes_from_parameters(
        net,
        [*links.from_node[live], *(hose.from_node for hose in hoses)],
        [*links.to_node[live], *(hose.to_node for hose in hoses)],
        length_km=np.array([*links.length_m[live], *(hose.length_m for hose in hoses)]) / 1e3,
        inner_diameter_mm=np.array([*links.bore_m[live], *(hose.bore_m for hose in hoses)]) * 1e3,
        k_mm=np.array([*links.roughness_m[live], *(hose.roughness_m for hose in hoses)]) * 1e3,
        loss_coefficient=np.array(
            [*links.loss_coefficient[live], *(hose.loss_coefficient for hose in hoses)]
        ),
    )
    drawn = np.flatnonzero(demand_m3_per_s_std)
    pp.create_sinks(net, drawn, mdot_kg_per_s=demand_m3_per_s_std[drawn] * density)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pp.pipeflow(net, friction_model="colebrook", tol_p=1e-8, tol_m=1e-8, max_iter_hyd=200)
    pressure = net.res_junction.p_bar.to_numpy() * 1e5
    flow = net.res_pipe.mdot_from_kg_per_s.to_numpy()[live.size :] / density
    return pressure, flow
