"""Gas properties against published figures. The source stands beside each check."""

from __future__ import annotations

import pytest

from netplan.core.constants import GAS_CONSTANT_J_PER_MOL_K
from netplan.core.units import factor
from netplan.reference.gas import (
    METRIC_NORMAL,
    METRIC_STANDARD,
    US_STANDARD,
    Gas,
    ReferenceConditions,
    air_density_kg_per_m3,
    gas_from_composition,
    named_gas,
)
from tests.compared import compared

FT3_M3 = factor("ft**3", "m**3")
BTU_J = factor("Btu", "J")

AGA_5 = gas_from_composition(
    {
        "methane": 0.906724,
        "nitrogen": 0.031284,
        "carbon_dioxide": 0.004676,
        "ethane": 0.045279,
        "propane": 0.008280,
        "isobutane": 0.001037,
        "n_butane": 0.001563,
        "isopentane": 0.000321,
        "n_pentane": 0.000443,
        "n_hexane": 0.000393,
    },
    "worked gas",
)


def test_aga_report_5_worked_gas() -> None:
    # Published: AGA Report No. 5 calculation sheet, 60 °F, 14.73 psia.
    compared(
        "molar mass of the worked gas",
        AGA_5.molar_mass_kg_per_mol,
        17.5950e-3,
        rel=1e-4,
        unit="kg/mol",
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    z = AGA_5.compressibility(US_STANDARD.temperature_k, US_STANDARD.pressure_pa_abs)
    compared(
        "Z of the worked gas",
        z,
        0.997776,
        abs=3e-5,
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    gross = AGA_5.gross_calorific_value_j_per_m3(US_STANDARD) * FT3_M3 / BTU_J
    net = AGA_5.net_calorific_value_j_per_m3(US_STANDARD) * FT3_M3 / BTU_J
    compared(
        "gross calorific value of the worked gas",
        gross,
        1034.8,
        rel=2e-4,
        unit="Btu/ft³",
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    compared(
        "net calorific value of the worked gas",
        net,
        933.6,
        rel=4e-4,
        unit="Btu/ft³",
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    compared(
        "Wobbe number of the worked gas",
        AGA_5.wobbe_j_per_m3(US_STANDARD) * FT3_M3 / BTU_J,
        1326.5,
        rel=3e-4,
        unit="Btu/ft³",
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    compared(
        "relative density of the worked gas",
        AGA_5.relative_density(US_STANDARD),
        0.6086,
        rel=1e-4,
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )
    compared(
        "ideal relative density of the worked gas",
        AGA_5.relative_density_ideal(),
        0.6075,
        rel=1.5e-4,
        source="AGA Report No. 5, calculation sheet, 60 °F, 14.73 psia",
        how="published",
    )


def test_aga_report_5_gas_at_metric_conditions() -> None:
    # Computed from ISO 6976:2016 by direct arithmetic.
    compared(
        "density of the worked gas at 15 °C",
        AGA_5.density_kg_per_m3_at(),
        0.74580,
        rel=1e-4,
        unit="kg/m³",
        source="ISO 6976:2016 worked apart",
        how="arithmetic",
    )
    compared(
        "gross calorific value of the worked gas at 15 °C",
        AGA_5.gross_calorific_value_j_per_m3(),
        38.543e6,
        rel=2e-4,
        unit="J/m³",
        source="ISO 6976:2016 worked apart",
        how="arithmetic",
    )
    compared(
        "Wobbe number of the worked gas at 15 °C",
        AGA_5.wobbe_j_per_m3(),
        49.408e6,
        rel=2e-4,
        unit="J/m³",
        source="ISO 6976:2016 worked apart",
        how="arithmetic",
    )
    compared(
        "relative density of the worked gas at 15 °C",
        AGA_5.relative_density(),
        0.608564,
        abs=1e-4,
        source="ISO 6976:2016 worked apart",
        how="arithmetic",
    )


def by_volume(volumes: dict[str, float]) -> Gas:
    """Return the gas of volume fractions, each pure gas being measured at 15 °C, 101.325 kPa.

    EN 437 gives its test gases by volume; with propane in them that is not the mole fraction.
    """
    pure = {key: gas_from_composition({key: 1.0}).compressibility(288.15, 101_325.0) for key in volumes}
    moles = {key: volumes[key] / pure[key] for key in volumes}
    return gas_from_composition({key: amount / sum(moles.values()) for key, amount in moles.items()})


EN_437 = {
    # name: fractions by volume, gross, net [MJ/m³ at 15 °C, 101.325 kPa], relative density
    "G20": ({"methane": 1.0}, 37.78, 34.02, 0.555),  # from memory
    "G23": ({"methane": 0.925, "nitrogen": 0.075}, 34.95, 31.46, 0.586),  # EN 437:2003+A1:2009, table 2
    "G24": (
        {"methane": 0.68, "propane": 0.12, "hydrogen": 0.20},
        39.55,
        35.70,
        0.577,
    ),  # EN 437:2003+A1:2009, table 2
    "G222": ({"methane": 0.77, "hydrogen": 0.23}, 31.86, 28.53, 0.443),  # EN 437:2003+A1:2009, table 2
}


@pytest.mark.parametrize("name", EN_437)
def test_en_437_test_gases(name: str) -> None:
    volumes, gross, net, relative_density = EN_437[name]
    gas = by_volume(volumes)
    compared(
        "gross calorific value of test gases",
        gas.gross_calorific_value_j_per_m3(),
        gross * 1e6,
        rel=1e-3,
        unit="J/m³",
        source="EN 437:2003+A1:2009, table 2 (G20 from memory)",
        how="published",
    )
    compared(
        "net calorific value of test gases",
        gas.net_calorific_value_j_per_m3(),
        net * 1e6,
        rel=1e-3,
        unit="J/m³",
        source="EN 437:2003+A1:2009, table 2 (G20 from memory)",
        how="published",
    )
    compared(
        "relative density of test gases",
        gas.relative_density(),
        relative_density,
        rel=1.5e-3,
        source="EN 437:2003+A1:2009, table 2 (G20 from memory)",
        how="published",
    )


def test_en_437_wobbe_numbers() -> None:
    # EN 437: G20 50.72 from memory; G23 45.66 and 41.11 from EN 437:2003+A1:2009, table 2.
    compared(
        "Wobbe number of G20",
        named_gas("methane").wobbe_j_per_m3(),
        50.72e6,
        rel=5e-4,
        unit="J/m³",
        source="EN 437",
        how="from memory",
    )
    g23 = by_volume({"methane": 0.925, "nitrogen": 0.075})
    compared(
        "Wobbe number of G23",
        g23.wobbe_j_per_m3(),
        45.66e6,
        rel=1e-3,
        unit="J/m³",
        source="EN 437:2003+A1:2009, table 2",
        how="published",
    )
    compared(
        "net Wobbe number of G23",
        g23.net_wobbe_j_per_m3(),
        41.11e6,
        rel=1e-3,
        unit="J/m³",
        source="EN 437:2003+A1:2009, table 2",
        how="published",
    )


@pytest.mark.parametrize(
    ("reference", "litres_per_mol"),
    [
        # Published: handbook appendix "Standard gas conditions" (2006), ideal molar volumes.
        (METRIC_STANDARD, 23.6444),
        (METRIC_NORMAL, 22.4136),
        (ReferenceConditions("60 °F, 14.696 psia", US_STANDARD.temperature_k, 101_325.0), 23.6900),
    ],
)
def test_ideal_molar_volume_at_named_conditions(
    reference: ReferenceConditions, litres_per_mol: float
) -> None:
    volume = GAS_CONSTANT_J_PER_MOL_K * reference.temperature_k / reference.pressure_pa_abs
    compared(
        "ideal molar volume at reference conditions",
        volume * 1e3,
        litres_per_mol,
        rel=1e-4,
        unit="L/mol",
        source="handbook appendix, Standard gas conditions (2006)",
        how="published",
    )


def test_air() -> None:
    # ISO 6976 from memory: 1.22552 kg/m³; CoolProp 1.22554.
    compared(
        "density of air at 15 °C",
        air_density_kg_per_m3(288.15),
        1.22553,
        rel=5e-5,
        unit="kg/m³",
        source="ISO 6976, and CoolProp 8.0",
        how="from memory",
    )


def test_methane_density_in_emission_rules() -> None:
    # Published: 40 CFR 98.323, 0.0423 lb/ft³ at 60 °F and 1 atm.
    rule = 0.0423 * factor("lb", "kg") / FT3_M3
    compared(
        "density of methane at 60 °F",
        named_gas("methane").density_kg_per_m3(US_STANDARD.temperature_k, 101_325.0),
        rule,
        rel=2e-3,
        unit="kg/m³",
        source="40 CFR 98.323, 0.0423 lb/ft³",
        how="published",
    )


def test_flammable_limits() -> None:
    # Methane 4.4 to 17.0 %, hydrogen 4 to 77 %: IEC 60079-20-1 from memory.
    compared(
        "flammable limits of methane",
        named_gas("methane").flammable_limits_percent(),
        (4.4, 17.0),
        rel=1e-6,
        abs=1e-12,
        unit="% volume",
        source="IEC 60079-20-1",
        how="from memory",
    )
    compared(
        "flammable limits of hydrogen",
        named_gas("hydrogen").flammable_limits_percent(),
        (4.0, 77.0),
        rel=1e-6,
        abs=1e-12,
        unit="% volume",
        source="IEC 60079-20-1",
        how="from memory",
    )
    # Le Chatelier by hand: 1/(0.8/4.4 + 0.2/4.0) and 1/(0.8/17 + 0.2/77) = 1/0.0496562.
    half = gas_from_composition({"methane": 0.8, "hydrogen": 0.2})
    compared(
        "flammable limits of a blend",
        half.flammable_limits_percent(),
        (4.313725, 20.138462),
        rel=1e-6,
        unit="% volume",
        source="Le Chatelier's rule by hand",
        how="arithmetic",
    )
    assert gas_from_composition({"nitrogen": 1.0}).flammable_limits_percent() is None


def test_methane_limits_against_other_published_pages() -> None:
    # Published safety pages print 5 to 15 % and 4.4 %: ours must not be narrower than either.
    lower, upper = named_gas("methane").flammable_limits_percent() or (0.0, 0.0)
    assert lower <= 4.4
    assert upper >= 15.0
