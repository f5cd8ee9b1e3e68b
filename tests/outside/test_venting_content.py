"""Line content, methane and carbon dioxide equivalent against direct arithmetic, a library and printed values."""

from __future__ import annotations

import math

import pytest
from CoolProp.CoolProp import PropsSI

from netplan.gas import geometry_m3, line_content, methane_kg, vent_figures
from netplan.reference.gas import METRIC_NORMAL, METRIC_STANDARD, US_STANDARD, named_gas
from netplan.reference.pipe_sizes import wall_mm
from netplan.reference.warming_potentials import warming_potentials
from tests.compared import compared

GROUND_K = 283.15
BORE_M = (125.0 - 2.0 * wall_mm(125.0, 11.0).wall_mm) / 1000.0
METHANE = named_gas("methane")


def test_a_hundred_metres_of_125_sdr_11() -> None:
    # Direct arithmetic with Z = 1: 0.85542 m³, of which 0.02060 by pressure (25 mbar); 0.89661 / 0.06179 (75 mbar).
    for pressure_pa, content, part in ((2500.0, 0.85542, 0.02060), (7500.0, 0.89661, 0.06179)):
        got = line_content(100.0, BORE_M, pressure_pa, GROUND_K)
        compared(
            "line content of 100 m, Z = 1",
            got.content_m3,
            content,
            abs=1e-5,
            unit="m³",
            source="direct arithmetic",
            how="arithmetic",
        )
        compared(
            "pressure part of 100 m, Z = 1",
            got.pressure_part_m3,
            part,
            abs=1e-5,
            unit="m³",
            source="direct arithmetic",
            how="arithmetic",
        )
    assert pytest.approx(0.1022, abs=1e-9) == BORE_M


@pytest.mark.parametrize(
    ("od_mm", "volume_m3"),
    # Direct arithmetic: m³ in 100 m of SDR 11, from published walls (ISO 4065 series).
    [(63, 0.2075), (90, 0.4254), (110, 0.6362), (125, 0.8203), (160, 1.3437), (180, 1.7018), (200, 2.1021),
     (250, 3.2878), (315, 5.2198), (400, 8.4187)],
)  # fmt: skip
def test_volume_of_a_hundred_metres(od_mm: float, volume_m3: float) -> None:
    bore_m = (od_mm - 2.0 * wall_mm(od_mm, 11.0).wall_mm) / 1000.0
    compared(
        "volume of 100 m of SDR 11",
        float(geometry_m3(100.0, bore_m)),
        volume_m3,
        abs=5e-5,
        unit="m³",
        source="published walls of the ISO 4065 series, by hand",
        how="published",
    )


@pytest.mark.parametrize("pressure_pa", [0.0, 2500.0, 7500.0])
@pytest.mark.parametrize("reference", [METRIC_STANDARD, METRIC_NORMAL, US_STANDARD])
def test_real_gas_holds_the_mass_of_the_library(pressure_pa: float, reference: object) -> None:
    # Library: CoolProp. Mass in the pipe = volume × density at 10 °C, whatever it is counted at.
    assert isinstance(reference, type(METRIC_STANDARD))
    content = line_content(100.0, BORE_M, pressure_pa, GROUND_K, METHANE, reference)
    density = PropsSI("D", "T", GROUND_K, "P", 101_325.0 + pressure_pa, "Methane")
    mass = math.pi / 4.0 * BORE_M**2 * 100.0 * density
    compared(
        "methane in a pipe",
        methane_kg(content.content_m3, METHANE, reference),
        mass,
        rel=1e-4,
        unit="kg",
        source="CoolProp 8.0",
        how="library",
    )


def test_methane_and_its_warming() -> None:
    # Direct arithmetic: 0.85542 m³ of methane at 0.67982 kg/m³ is 0.5815 kg; 16.28 kg CO2e at 28, 17.33 at 29.8.
    figures = vent_figures(
        line_content(100.0, BORE_M, 2500.0, GROUND_K), METHANE, volumes_in=1.0, kg_co2e_per_kg=28.0
    )
    compared(
        "methane lost",
        figures.methane_kg,
        0.5815,
        abs=1e-4,
        unit="kg",
        source="direct arithmetic",
        how="arithmetic",
    )
    compared(
        "carbon dioxide equivalent",
        figures.co2e_kg,
        16.28,
        abs=5e-3,
        unit="kg CO2e",
        source="direct arithmetic",
        how="arithmetic",
    )
    compared(
        "carbon dioxide equivalent, AR6",
        dict(figures.co2e_by_potential)["GWP100 29.8 (IPCC AR6, fossil methane)"],
        17.33,
        abs=5e-3,
        unit="kg CO2e",
        source="direct arithmetic",
        how="arithmetic",
    )
    assert figures.potential.line() == "GWP100 28 (IPCC AR5)"


@pytest.mark.parametrize(
    ("name", "value"),
    # GHG Protocol, Global Warming Potential Values 2.0 (August 2024): AR5 28 and 30, AR6 27.0 and 29.8.
    # 40 CFR 98 table A-1 before 2025: 25. An encyclopedia citing AR6 7.SM: 27.9 and 81.2 over 20 years.
    [("AR5", 28.0), ("AR5 fossil", 30.0), ("AR6 non-fossil", 27.0), ("AR6 fossil", 29.8), ("AR4", 25.0),
     ("AR6", 27.9), ("AR6 20 years", 81.2)],
)  # fmt: skip
def test_published_potentials(name: str, value: float) -> None:
    compared(
        "warming potential of methane",
        warming_potentials()[name].kg_co2e_per_kg,
        value,
        abs=0.0,
        unit="kg CO2e/kg",
        source="GHG Protocol values 2.0 (2024), 40 CFR 98 table A-1, IPCC AR6 as cited",
        how="published",
    )


def test_methane_density_of_the_trade() -> None:
    # CoolProp 8: 0.67983 at 15 °C, 0.71746 at 0 °C, 0.67852 at 60 °F and 1 atm; 40 CFR 98.323: 0.6776 (printed).
    compared(
        "density of methane at 15 °C",
        methane_kg(1.0, METHANE, METRIC_STANDARD),
        0.67983,
        abs=3e-5,
        unit="kg/m³",
        source="CoolProp 8.0",
        how="library",
    )
    compared(
        "density of methane at 0 °C",
        methane_kg(1.0, METHANE, METRIC_NORMAL),
        0.71746,
        rel=1e-4,
        unit="kg/m³",
        source="CoolProp 8.0",
        how="library",
    )
    at_atmosphere = methane_kg(1.0, METHANE, US_STANDARD) / (14.73 / 14.6959488)
    compared(
        "density of methane at 60 °F",
        at_atmosphere,
        0.67852,
        rel=1e-4,
        unit="kg/m³",
        source="CoolProp 8.0",
        how="library",
    )
    compared(
        "density of methane at 60 °F",
        at_atmosphere,
        0.6776,
        rel=2e-3,
        unit="kg/m³",
        source="40 CFR 98.323",
        how="published",
    )
