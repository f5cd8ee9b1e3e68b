"""Gas out of an open outlet, against the published flow of gas through an opening below the speed of sound."""

from __future__ import annotations

import math

import numpy as np
import pytest

from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork
from netplan.reference.gas import named_gas
from netplan.reference.purge_figures import purge_figure
from tests.compared import compared
from tests.support.flow_cases import solve

CONDITIONS = FlowConditions(named_gas("natural gas"), ground_temperature_k=283.15)
AIR_PA = 101_325.0
HEAT_RATIO = 1.31
"""Of natural gas near 10 °C, from memory [-]."""


def _subsonic_kg_s(bore_m: float, gauge_pa: float, discharge: float) -> float:
    """IEC 60079-10-1:2015, annex B: W = Cd S p sqrt(M/(Z R T) 2g/(g-1) (1-x^((g-1)/g))) x^(1/g), x = p_a/p."""
    p, g = AIR_PA + gauge_pa, HEAT_RATIO
    x = AIR_PA / p
    per_density = CONDITIONS.properties().pressure_per_density
    rest = 2.0 * g / (g - 1.0) * (1.0 - x ** ((g - 1.0) / g)) / per_density
    return float(discharge * math.pi / 4.0 * bore_m**2 * p * math.sqrt(rest) * x ** (1.0 / g))


@pytest.mark.parametrize("gauge_mbar", [20.0, 30.0, 50.0])
@pytest.mark.parametrize("bore_mm", [20.0, 25.0, 50.0, 80.0])
def test_an_outlet_is_an_orifice(bore_mm: float, gauge_mbar: float) -> None:
    discharge = purge_figure("outlet_discharge")
    assert 0.5 <= discharge <= 0.75, "a sharp-edged opening, as the standard has it"
    link = FlowLinks(
        np.array([0]),
        np.array([1]),
        np.zeros(1),
        np.array([bore_mm / 1e3]),
        np.zeros(1),
        np.array([discharge**-2.0]),
    )
    network = FlowNetwork(2, link, np.array([0]), np.array([gauge_mbar * 100.0]), open_node=np.array([1]))
    state = solve(network, np.zeros(2), CONDITIONS).require_solved()
    m3h = 3600.0 / CONDITIONS.properties().density_kg_per_m3_std
    compared(
        "gas out of an open outlet, 20 to 80 mm, 20 to 50 mbar",
        float(state.open_flow_m3_per_s_std[0]) * 3600.0,
        _subsonic_kg_s(bore_mm / 1e3, gauge_mbar * 100.0, discharge) * m3h,
        rel=0.02,
        unit="m³/h",
        source="IEC 60079-10-1:2015, annex B, non-choked release",
        how="from memory",
    )
