"""Gas properties against general property libraries: CoolProp 8.0 and pyaga8 0.1.18 (GERG-2008)."""

from __future__ import annotations

import pyaga8
import pytest
from CoolProp import CoolProp

from netplan.reference.gas import Gas, gas_from_composition, gas_names, named_gas
from tests.compared import compared

ATMOSPHERE = 101_325.0
NAMES = {"methane": "Methane", "hydrogen": "Hydrogen", "propane": "Propane"}


def gerg(gas: Gas, temperature_k: float, pressure_pa_abs: float) -> tuple[float, float]:
    """Return Z [-] and density [kg/m³] by GERG-2008."""
    composition = pyaga8.Composition()
    for key, fraction in gas.composition:
        setattr(composition, key, fraction)
    state = pyaga8.Gerg2008()
    state.set_composition(composition)
    state.temperature = temperature_k
    state.pressure = pressure_pa_abs / 1000.0
    state.calc_density(0)
    state.calc_properties()
    return state.z, state.d * state.mm


def test_methane_at_15_c() -> None:
    methane = named_gas("methane")
    z = methane.compressibility(288.15, ATMOSPHERE)
    compared(
        "Z of methane",
        z,
        CoolProp.PropsSI("Z", "T", 288.15, "P", ATMOSPHERE, "Methane"),
        abs=2e-5,
        source="CoolProp 8.0",
        how="library",
    )
    compared(
        "Z of methane",
        z,
        gerg(methane, 288.15, ATMOSPHERE)[0],
        abs=2e-5,
        source="GERG-2008 through pyaga8 0.1.18",
        how="library",
    )
    density = methane.density_kg_per_m3_at()
    compared(
        "density of methane",
        density,
        CoolProp.PropsSI("D", "T", 288.15, "P", ATMOSPHERE, "Methane"),
        rel=5e-5,
        unit="kg/m³",
        source="CoolProp 8.0",
        how="library",
    )
    raised = methane.density_kg_per_m3(288.15, ATMOSPHERE + 2000.0)
    compared(
        "density of methane", raised, 0.69328, rel=1e-4, unit="kg/m³", source="CoolProp 8.0", how="library"
    )  # CoolProp, 20 mbar gauge


@pytest.mark.parametrize("temperature_c", [-20.0, -10.0, 0.0, 10.0, 20.0, 40.0])
@pytest.mark.parametrize("name", ["methane", "hydrogen"])
def test_pure_gas_densities_over_temperature(name: str, temperature_c: float) -> None:
    kelvin = temperature_c + 273.15
    for pressure in (ATMOSPHERE, ATMOSPHERE + 10_000.0, 3 * ATMOSPHERE):
        ours = named_gas(name).density_kg_per_m3(kelvin, pressure)
        theirs = CoolProp.PropsSI("D", "T", kelvin, "P", pressure, NAMES[name])
        compared(
            "density of pure gases, −20 to 40 °C, to 3 atm",
            ours,
            theirs,
            rel=3e-4,
            unit="kg/m³",
            source="CoolProp 8.0",
            how="library",
        )


@pytest.mark.parametrize("name", gas_names())
@pytest.mark.parametrize("temperature_c", [-10.0, 0.0, 15.0, 30.0])
def test_example_gases_against_gerg(name: str, temperature_c: float) -> None:
    gas, kelvin = named_gas(name), temperature_c + 273.15
    limit = 1.5e-3 if name == "propane" else 3e-4
    for pressure in (ATMOSPHERE, ATMOSPHERE + 7_500.0):
        z, density = gerg(gas, kelvin, pressure)
        compared(
            "Z of the example gases, −10 to 30 °C",
            gas.compressibility(kelvin, pressure),
            z,
            abs=limit,
            source="GERG-2008 through pyaga8 0.1.18",
            how="library",
        )
        compared(
            "density of the example gases, −10 to 30 °C",
            gas.density_kg_per_m3(kelvin, pressure),
            density,
            rel=limit,
            unit="kg/m³",
            source="GERG-2008 through pyaga8 0.1.18",
            how="library",
        )


@pytest.mark.parametrize("share", [0.0, 0.05, 0.1, 0.2, 0.5, 0.8, 1.0])
def test_hydrogen_blends_against_gerg(share: float) -> None:
    parts = {"methane": 0.9 * (1 - share), "ethane": 0.06 * (1 - share), "nitrogen": 0.04 * (1 - share)}
    gas = gas_from_composition(parts | {"hydrogen": share})
    assert gas.hydrogen_fraction == pytest.approx(share)
    z, density = gerg(gas, 288.15, ATMOSPHERE)
    compared(
        "Z of blends with hydrogen",
        gas.compressibility(288.15, ATMOSPHERE),
        z,
        abs=1e-4,
        source="GERG-2008 through pyaga8 0.1.18",
        how="library",
    )
    compared(
        "density of blends with hydrogen",
        gas.density_kg_per_m3_at(),
        density,
        rel=1e-4,
        unit="kg/m³",
        source="GERG-2008 through pyaga8 0.1.18",
        how="library",
    )


@pytest.mark.parametrize("temperature_c", [-15.0, 0.0, 10.0, 15.0, 20.0, 35.0])
@pytest.mark.parametrize("name", ["methane", "hydrogen", "propane"])
def test_viscosity_of_pure_gases(name: str, temperature_c: float) -> None:
    kelvin = temperature_c + 273.15
    theirs = CoolProp.PropsSI("V", "T", kelvin, "P", ATMOSPHERE, NAMES[name])
    compared(
        "viscosity of pure gases, −15 to 35 °C",
        named_gas(name).viscosity_pa_s(kelvin),
        theirs,
        rel=5e-3,
        unit="Pa s",
        source="CoolProp 8.0",
        how="library",
    )


def test_viscosity_of_natural_gas_lies_in_the_codes_band() -> None:
    # Published: fuel gas code appendix A.4 takes 0.012 cP for natural gas; SG 0.6 gases lie 7 to 10 % below.
    assert 1.0e-5 < named_gas("natural gas").viscosity_pa_s(288.15) < 1.2e-5
