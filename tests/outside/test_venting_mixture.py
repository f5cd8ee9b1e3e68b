"""Methane of a mixture, and the time that a purge takes, worked by hand."""

from __future__ import annotations

import pytest

from netplan.gas.purge_velocity import minutes_to_purge
from netplan.gas.vented_gas import methane_kg
from netplan.reference.gas import gas_from_composition


@pytest.mark.parametrize("share", [1.0, 0.9, 0.75])
def test_only_the_methane_of_a_gas_counts_as_methane(share: float) -> None:
    rest = {"ethane": 1.0 - share} if share < 1.0 else {}
    gas = gas_from_composition({"methane": share, **rest})
    # Ideal gas at 15 °C and 101.325 kPa, methane 16.04246 g/mol (ISO 6976); real gas holds 0.2 to 0.5 % more.
    ideal = 100.0 * 101_325.0 / (8.314462618 * 288.15) * share * 0.01604246
    assert methane_kg(100.0, gas) == pytest.approx(ideal, rel=6e-3)


def test_the_time_of_a_purge_is_its_volumes_over_the_flow() -> None:
    # Two volumes of 3 m³ at 0.02 m³/s are 300 s.
    assert minutes_to_purge(3.0, 2.0, 0.02) == pytest.approx(5.0)
