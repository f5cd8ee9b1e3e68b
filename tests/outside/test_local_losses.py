"""Local losses and velocity in one link against the textbook, worked by hand from the gas law."""

from __future__ import annotations

import math

import numpy as np
import pytest

from netplan.feeds import link_velocity_m_per_s
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowState
from netplan.reference.gas import named_gas
from tests.support.flow_cases import solve

GAS = named_gas("natural gas")
KELVIN = 283.15
CONDITIONS = FlowConditions(GAS, ground_temperature_k=KELVIN)
PRESSURE_PA_GAUGE, BORE_M = 7500.0, 0.0514
FLOW_M3_PER_S_STD = 60.0 / 3600.0
SHORT_M = 1e-3
"""Its own friction is a ten-thousandth of a loss of one velocity head."""


def _velocity() -> float:
    """Boyle and Gay-Lussac from 15 °C and 101.325 kPa; compressibility moves it by less than 0.1 %."""
    actual = FLOW_M3_PER_S_STD * 101_325.0 / (101_325.0 + PRESSURE_PA_GAUGE) * KELVIN / 288.15
    return actual / (math.pi / 4.0 * BORE_M**2)


def _solved(coefficient: float) -> tuple[FlowNetwork, FlowState]:
    link = FlowLinks(
        *(np.array([end]) for end in (0, 1)),
        *(np.array([value]) for value in (SHORT_M, BORE_M, 1e-5, coefficient)),
    )
    network = FlowNetwork(2, link, np.array([0]), np.array([PRESSURE_PA_GAUGE]))
    return network, solve(network, np.array([0.0, FLOW_M3_PER_S_STD]), CONDITIONS).require_solved()


def test_velocity_is_that_at_the_pressure_in_the_pipe() -> None:
    velocity = link_velocity_m_per_s(*_solved(0.0), CONDITIONS)
    assert velocity[0] == pytest.approx(_velocity(), rel=1e-3)


def test_a_loss_is_its_coefficient_times_the_velocity_head() -> None:
    # Δp = K ρ v² / 2, textbook; the drop is under 1 % of the pressure, so that the density is one.
    density = (
        0.02896546 * GAS.relative_density_ideal() * (101_325.0 + PRESSURE_PA_GAUGE) / (8.314462618 * KELVIN)
    )
    head = density * _velocity() ** 2 / 2.0
    for coefficient in (1.5, 6.0):
        _, state = _solved(coefficient)
        drop = PRESSURE_PA_GAUGE - state.pressure_pa_gauge[1]
        assert drop == pytest.approx(coefficient * head, rel=0.01)
