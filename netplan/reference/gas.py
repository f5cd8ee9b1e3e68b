"""Properties of fuel gases from their composition, at conditions that are always named."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from netplan.core.constants import (
    ATMOSPHERE_PA_ABS,
    GAS_CONSTANT_J_PER_MOL_K,
    STANDARD_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from netplan.core.errors import BadInputError, OutsideValidityError, quoted
from netplan.core.units import convert, factor
from netplan.reference import table_rows
from netplan.reference.gas_components import Component, components

__all__ = [
    "DRY_AIR_MOLAR_MASS_KG_PER_MOL",
    "METRIC_NORMAL",
    "METRIC_STANDARD",
    "US_STANDARD",
    "Gas",
    "ReferenceConditions",
    "air_density_kg_per_m3",
    "gas_from_composition",
    "gas_names",
    "named_gas",
]


@dataclass(frozen=True, slots=True)
class ReferenceConditions:
    """A temperature and an absolute pressure, with the name to print beside every volume.

    Parameters
    ----------
    name : str
        How it is written.
    temperature_k : float
        Temperature [K].
    pressure_pa_abs : float
        Pressure [Pa absolute].
    """

    name: str
    temperature_k: float
    pressure_pa_abs: float


METRIC_STANDARD: Final = ReferenceConditions("15 °C, 101.325 kPa", STANDARD_TEMPERATURE_K, ATMOSPHERE_PA_ABS)
"""Standard conditions of ISO 13443, which every flow and volume of this package is at."""

METRIC_NORMAL: Final = ReferenceConditions("0 °C, 101.325 kPa", ZERO_CELSIUS_K, ATMOSPHERE_PA_ABS)
"""Normal conditions, as used on the European continent."""

US_STANDARD: Final = ReferenceConditions(
    "60 °F, 14.73 psia", convert(60.0, "degF", "K"), 14.73 * factor("psi", "Pa")
)
"""The usual base of US gas measurement."""


DRY_AIR_MOLAR_MASS_KG_PER_MOL: Final = 0.02896546
"""Molar mass of dry air [kg/mol] (source: iso_6976)."""

_AIR_COMPRESSION_15C: Final = 1.0 - 0.999595
_AIR_CRITICAL_K: Final = 132.53
_AIR_ACENTRIC: Final = 0.0335
_WATER_HEAT_15C_J_PER_MOL: Final = 44_431.0
"""Heat of vaporisation of water at 15 °C [J/mol] (source: iso_6976)."""
_HYDROGEN_PAIR: Final = 0.000596
_HYDROGEN_OTHER: Final = 0.00025
"""Hydrogen swells where the others shrink: its part of Z - 1 with itself and with another gas, at 15 °C and
101.325 kPa [-] (source: gerg_2008)."""

TEMPERATURE_LIMITS_K: Final = (243.15, 323.15)
"""Range the properties hold for: -30 to +50 °C [K] (source: own)."""
PRESSURE_LIMIT_PA_ABS: Final = 1.2e6
"""Most pressure that one virial term carries: error in Z near 0.1 % there [Pa absolute] (source: own)."""


def _shrink_ratio(temperature_k: float, critical_k: float, acentric: float) -> float:
    """B(T)/T over its value at 15 °C, by the Pitzer-Abbott correlation (source: abbott)."""

    def reduced_virial(temperature: float) -> float:
        t = temperature / critical_k
        value = (0.083 - 0.422 / math.pow(t, 1.6)) + acentric * (0.139 - 0.172 / math.pow(t, 4.2))
        return value / temperature

    return reduced_virial(temperature_k) / reduced_virial(STANDARD_TEMPERATURE_K)


def _check_range(temperature_k: float, pressure_pa_abs: float) -> None:
    low, high = TEMPERATURE_LIMITS_K
    if not low <= temperature_k <= high:
        raise OutsideValidityError(
            f"gas: {temperature_k - ZERO_CELSIUS_K:.1f} °C is outside -30 to 50 °C; "
            "use a temperature of the ground or air"
        )
    if not 0.0 <= pressure_pa_abs <= PRESSURE_LIMIT_PA_ABS:
        raise OutsideValidityError(
            f"gas: {pressure_pa_abs:.6g} Pa absolute is outside 0 to 12 bar; "
            "use a pressure of distribution networks"
        )


def air_density_kg_per_m3(temperature_k: float, pressure_pa_abs: float = ATMOSPHERE_PA_ABS) -> float:
    """Density of dry air [kg/m³] at a temperature [K] and an absolute pressure [Pa]."""
    _check_range(temperature_k, pressure_pa_abs)
    ratio = _shrink_ratio(temperature_k, _AIR_CRITICAL_K, _AIR_ACENTRIC)
    z = 1.0 - _AIR_COMPRESSION_15C * ratio * pressure_pa_abs / ATMOSPHERE_PA_ABS
    return pressure_pa_abs * DRY_AIR_MOLAR_MASS_KG_PER_MOL / (z * GAS_CONSTANT_J_PER_MOL_K * temperature_k)


@dataclass(frozen=True, slots=True)
class Gas:
    """A dry gas of known composition.

    Make one with `named_gas` or `gas_from_composition`, which check it.

    Parameters
    ----------
    composition : tuple of (str, float)
        Component keys and mole fractions, summing to 1 [-].
    name : str
        What it is called in print.

    Notes
    -----
    Z by the summation of ISO 6976 (one virial term), moved with temperature by Pitzer-Abbott; heats of
    combustion always at 15 °C, whatever the metering conditions. Checked against GERG-2008 by the tests.
    """

    composition: tuple[tuple[str, float], ...]
    name: str = "gas"

    def parts(self) -> Iterator[tuple[Component, float]]:
        """Yield each component with its mole fraction [-]."""
        table = components()
        for key, fraction in self.composition:
            yield table[key], fraction

    def fraction_of(self, key: str) -> float:
        """Mole fraction of one component [-]; 0 where it is not in the gas."""
        return dict(self.composition).get(key, 0.0)

    @property
    def hydrogen_fraction(self) -> float:
        """Mole fraction of hydrogen [-]."""
        return self.fraction_of("hydrogen")

    @property
    def molar_mass_kg_per_mol(self) -> float:
        """Molar mass [kg/mol]."""
        return sum(fraction * part.molar_mass_kg_per_mol for part, fraction in self.parts())

    def compressibility(self, temperature_k: float, pressure_pa_abs: float) -> float:
        """Compressibility factor Z [-].

        Parameters
        ----------
        temperature_k : float
            -30 to +50 °C [K].
        pressure_pa_abs : float
            Up to 12 bar [Pa absolute].

        Raises
        ------
        OutsideValidityError
            Outside those ranges.
        """
        _check_range(temperature_k, pressure_pa_abs)
        shrink = sum(
            fraction
            * part.summation_factor
            * math.sqrt(_shrink_ratio(temperature_k, part.critical_temperature_k, part.acentric_factor))
            for part, fraction in self.parts()
            if part.summation_factor
        )
        h = self.hydrogen_fraction
        swell = h * h * _HYDROGEN_PAIR + 2.0 * h * (1.0 - h) * _HYDROGEN_OTHER
        return 1.0 - (shrink**2 - swell) * pressure_pa_abs / ATMOSPHERE_PA_ABS

    def density_kg_per_m3(self, temperature_k: float, pressure_pa_abs: float) -> float:
        """Density [kg/m³] at a temperature [K] and an absolute pressure [Pa]."""
        z = self.compressibility(temperature_k, pressure_pa_abs)
        return pressure_pa_abs * self.molar_mass_kg_per_mol / (z * GAS_CONSTANT_J_PER_MOL_K * temperature_k)

    def density_kg_per_m3_at(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Density at reference conditions [kg/m³]."""
        return self.density_kg_per_m3(reference.temperature_k, reference.pressure_pa_abs)

    def relative_density(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Density over that of dry air, both real and at the reference conditions [-]."""
        air = air_density_kg_per_m3(reference.temperature_k, reference.pressure_pa_abs)
        return self.density_kg_per_m3_at(reference) / air

    def relative_density_ideal(self) -> float:
        """Molar mass over that of dry air [-]."""
        return self.molar_mass_kg_per_mol / DRY_AIR_MOLAR_MASS_KG_PER_MOL

    def _mol_per_m3(self, reference: ReferenceConditions) -> float:
        return self.density_kg_per_m3_at(reference) / self.molar_mass_kg_per_mol

    def gross_calorific_value_j_per_m3(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Gross calorific value (combustion at 15 °C) per real volume at the reference conditions [J/m³]."""
        heat = sum(fraction * part.gross_heat_j_per_mol for part, fraction in self.parts())
        return heat * self._mol_per_m3(reference)

    def net_calorific_value_j_per_m3(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Net calorific value: the gross one less the heat of the water that leaves as steam [J/m³]."""
        water = sum(
            fraction * part.hydrogen_atoms / 2.0
            for part, fraction in self.parts()
            if part.gross_heat_j_per_mol
        )
        gross = self.gross_calorific_value_j_per_m3(reference)
        return gross - water * _WATER_HEAT_15C_J_PER_MOL * self._mol_per_m3(reference)

    def wobbe_j_per_m3(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Gross Wobbe number: gross calorific value over the root of the relative density [J/m³]."""
        return self.gross_calorific_value_j_per_m3(reference) / math.sqrt(self.relative_density(reference))

    def net_wobbe_j_per_m3(self, reference: ReferenceConditions = METRIC_STANDARD) -> float:
        """Net Wobbe number [J/m³]."""
        return self.net_calorific_value_j_per_m3(reference) / math.sqrt(self.relative_density(reference))

    def viscosity_pa_s(self, temperature_k: float) -> float:
        """Dynamic viscosity near atmospheric pressure [Pa s], mixed by Wilke's rule (source: wilke).

        Good to about 2 % for natural gas, about 4 % for mixtures rich in hydrogen.
        """
        _check_range(temperature_k, ATMOSPHERE_PA_ABS)
        rows = [
            (
                fraction,
                part.molar_mass_kg_per_mol,
                part.viscosity_pa_s * (temperature_k / STANDARD_TEMPERATURE_K) ** part.viscosity_exponent,
            )
            for part, fraction in self.parts()
        ]
        total = 0.0
        for fraction, mass, viscosity in rows:
            crowd = sum(
                other_fraction
                * (1.0 + math.sqrt(viscosity / other_viscosity) * (other_mass / mass) ** 0.25) ** 2
                / math.sqrt(8.0 * (1.0 + mass / other_mass))
                for other_fraction, other_mass, other_viscosity in rows
            )
            total += fraction * viscosity / crowd
        return total

    def flammable_limits_percent(self) -> tuple[float, float] | None:
        """Lower and upper flammable limit in air [% volume], by Le Chatelier's rule; None if it burns not.

        Inert parts count as diluting only. The rule is fair for lower limits, rough for upper ones of
        mixtures with hydrogen or with much inert gas (source: le_chatelier).
        """
        lower = upper = 0.0
        for part, fraction in self.parts():
            if part.lower_flammable_percent is not None and part.upper_flammable_percent is not None:
                lower += fraction / part.lower_flammable_percent
                upper += fraction / part.upper_flammable_percent
        if lower == 0.0:
            return None
        return 1.0 / lower, min(100.0, 1.0 / upper)


SUM_TOLERANCE = 1e-3


def gas_from_composition(fractions: Mapping[str, float], name: str = "gas") -> Gas:
    """Return the gas of a composition.

    Parameters
    ----------
    fractions : mapping of str to float
        Mole fraction of each component [-]; they must sum to 1 within 0.001 and are then scaled to 1.
    name : str
        What to call it.

    Raises
    ------
    BadInputError
        For an unknown component, a fraction that is no number from 0 to 1, or a wrong sum.
    """
    table = components()
    unknown = sorted(set(fractions) - set(table))
    if unknown:
        raise BadInputError(
            f"gas {name}: component {quoted(unknown[0])} is not known; use one of {', '.join(table)}"
        )
    for key in sorted(fractions):
        value = fractions[key]
        if not math.isfinite(value) or not 0.0 <= value <= 1.0:
            raise BadInputError(f"gas {name}: fraction of {key} is {value}; give a mole fraction from 0 to 1")
    total = math.fsum(fractions.values())
    if abs(total - 1.0) > SUM_TOLERANCE:
        raise BadInputError(f"gas {name}: mole fractions sum to {total:.6g}; make them sum to 1")
    # In table order, so that two spellings of one composition give the same figures.
    return Gas(tuple((key, fractions[key] / total) for key in table if fractions.get(key, 0.0) > 0.0), name)


@lru_cache(maxsize=1)
def _examples() -> dict[str, Gas]:
    gases = {}
    for row in table_rows("gas_examples.csv"):
        fractions = {key: float(value) for key, value in row.items() if key not in ("name", "source")}
        gases[row["name"]] = gas_from_composition(fractions, row["name"])
    return gases


def gas_names() -> tuple[str, ...]:
    """Return the names of the example gases."""
    return tuple(_examples())


def named_gas(name: str) -> Gas:
    """Return an example gas.

    Raises
    ------
    BadInputError
        When there is no example of that name; the message lists them.
    """
    try:
        return _examples()[name]
    except KeyError:
        raise BadInputError(
            f"gas: no example gas is called {quoted(name)}; "
            f"use one of {', '.join(gas_names())}, or give a composition"
        ) from None
