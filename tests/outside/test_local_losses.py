"""Local losses and velocity in one pipe against the textbook, worked by hand from the gas law."""

from __future__ import annotations

import math

import pytest

from netplan.hydraulics import FlowConditions, pipe_drop, pipe_velocity
from netplan.reference.gas import named_gas

GAS = named_gas("natural gas")
KELVIN = 283.15
CONDITIONS = FlowConditions(GAS, ground_temperature_k=KELVIN)
PRESSURE_PA_GAUGE, BORE_M = 7500.0, 0.0514
FLOW_M3_PER_S_STD = 60.0 / 3600.0


def _velocity() -> float:
    """Boyle and Gay-Lussac from 15 °C and 101.325 kPa; compressibility moves it by less than 0.1 %."""
    actual = FLOW_M3_PER_S_STD * 101_325.0 / (101_325.0 + PRESSURE_PA_GAUGE) * KELVIN / 288.15
    return actual / (math.pi / 4.0 * BORE_M**2)


def test_velocity_is_that_at_the_pressure_in_the_pipe() -> None:
    ours = pipe_velocity(FLOW_M3_PER_S_STD, PRESSURE_PA_GAUGE, BORE_M, CONDITIONS)
    assert ours == pytest.approx(_velocity(), rel=1e-3)


def test_a_loss_is_its_coefficient_times_the_velocity_head() -> None:
    # Δp = K ρ v² / 2, textbook; the drop is under 1 % of the pressure, so that the density is one.
    density = (
        0.02896546 * GAS.relative_density_ideal() * (101_325.0 + PRESSURE_PA_GAUGE) / (8.314462618 * KELVIN)
    )
    head = density * _velocity() ** 2 / 2.0
    for coefficient in (1.5, 6.0):
        drop = pipe_drop(
            FLOW_M3_PER_S_STD,
            PRESSURE_PA_GAUGE,
            0.0,
            BORE_M,
            1e-5,
            CONDITIONS,
            loss_coefficient=coefficient,
        )
        assert drop == pytest.approx(coefficient * head, rel=0.01)
