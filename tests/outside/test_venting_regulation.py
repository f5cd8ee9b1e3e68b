"""W-14A and W-14B by worked figures: direct arithmetic on the formulas as remembered."""

from __future__ import annotations

import pytest

from netplan.gas import compared_with_regulation, line_content, vent_figures, w14a_scf, w14b_scf
from netplan.reference.gas import named_gas
from netplan.reference.warming_potentials import regulation_constant
from tests.compared import compared


@pytest.mark.parametrize(
    ("volume", "temperature", "gauge", "not_purged", "purged", "blown"),
    [
        (1000.0, 60.0, 0.25, 17.0068, 1017.0068, 17.0068),
        (1000.0, 60.0, 60.0, 4081.6327, 5081.6327, 4081.6327),
        (500.0, 50.0, 0.9, 41.0231, 541.0231, 31.2129),
    ],
)
def test_worked_figures(
    volume: float, temperature: float, gauge: float, not_purged: float, purged: float, blown: float
) -> None:
    pressure = gauge + 14.7
    compared(
        "W-14A, not purged",
        w14a_scf(volume, temperature, pressure, purged_with_other_gas=False),
        not_purged,
        abs=5e-5,
        unit="ft³",
        source="the formula as remembered, worked apart",
        how="from memory",
    )
    compared(
        "W-14A, purged",
        w14a_scf(volume, temperature, pressure, purged_with_other_gas=True),
        purged,
        abs=5e-5,
        unit="ft³",
        source="the formula as remembered, worked apart",
        how="from memory",
    )
    compared(
        "W-14B",
        w14b_scf(volume, temperature, pressure, 14.7),
        blown,
        abs=5e-5,
        unit="ft³",
        source="the formula as remembered, worked apart",
        how="from memory",
    )


def test_mass_and_warming_of_the_worked_figure() -> None:
    # 1000 ft³ at 0.25 psi, purged, 95 % methane at 0.0192 kg/ft³: 18.5502 kg, 0.519406 t CO2e at 28.
    volume = w14a_scf(1000.0, 60.0, 14.95, purged_with_other_gas=True)
    mass = volume * 0.95 * regulation_constant("methane_density_kg_per_cf")
    compared(
        "methane of a worked blowdown",
        mass,
        18.5502,
        abs=1e-4,
        unit="kg",
        source="direct arithmetic",
        how="arithmetic",
    )
    compared(
        "its warming",
        mass * 28.0 / 1000.0,
        0.519406,
        abs=1e-5,
        unit="t CO2e",
        source="direct arithmetic",
        how="arithmetic",
    )


def test_several_blowdowns_and_volumes_add_up() -> None:
    one = w14a_scf(500.0, 50.0, 15.6, purged_with_other_gas=True)
    assert w14a_scf(500.0, 50.0, 15.6, purged_with_other_gas=True, events=3) == pytest.approx(3 * one)
    assert w14a_scf([300.0, 200.0], 50.0, [15.6, 15.6], purged_with_other_gas=True) == pytest.approx(one)


def test_side_by_side_with_the_own_figure() -> None:
    methane = named_gas("methane")
    volume, pressure, ground = [0.8, 0.4], [2500.0, 2400.0], 283.15
    # Lengths of a bore of 1 m² area, so that volume is length.
    content = line_content(volume, 1.1283791670955126, pressure, ground, methane)
    figures = vent_figures(content, methane, volumes_in=2.0, kg_co2e_per_kg=28.0)
    full, whole, unpurged, blown = compared_with_regulation(figures, volume, pressure, ground)
    # Z of methane moves the content by less than 0.03 % here, its pressure part by less than 0.3 %.
    assert full.volume_m3 == pytest.approx(full.own_m3, rel=3e-4)
    assert blown.volume_m3 == pytest.approx(blown.own_m3, rel=3e-3)
    # By hand: with C = 1 the formula takes off V as it lies, so it is V (T60/T · 1 atm/14.7 psi - 1) above W-14B.
    base_pa, base_k = 14.7 * 6894.757293168, 288.7055555556
    over = 1.2 * (base_k / ground * 101_325.0 / base_pa - 1.0) * base_pa / 101_325.0 * 288.15 / base_k
    assert unpurged.volume_m3 - blown.volume_m3 == pytest.approx(over, abs=1e-6)
    assert whole.own_m3 == figures.total_m3
    assert all(row.reason for row in (full, whole, unpurged, blown))
