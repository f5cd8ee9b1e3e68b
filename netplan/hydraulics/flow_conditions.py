"""The gas and the air a flow calculation is made with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from netplan.core.constants import ATMOSPHERE_PA_ABS, GAS_CONSTANT_J_PER_MOL_K, ZERO_CELSIUS_K
from netplan.reference.gas import DRY_AIR_MOLAR_MASS_KG_PER_MOL, METRIC_STANDARD, Gas

__all__ = ["FlowConditions", "FlowGas"]


@dataclass(frozen=True, slots=True)
class FlowGas:
    """What the flow equations need to know of an isothermal gas.

    Parameters
    ----------
    pressure_per_density : float
        p/ρ = Z R T / M at the temperature in the ground [J/kg]; Z is held at one value.
    viscosity_pa_s : float
        Dynamic viscosity [Pa s].
    density_kg_per_m3_std : float
        Density at 15 °C, 101.325 kPa [kg/m³], to turn standard volumes into mass.
    """

    pressure_per_density: float
    viscosity_pa_s: float
    density_kg_per_m3_std: float


@dataclass(frozen=True, slots=True)
class FlowConditions:
    """Gas, temperature and air pressure of a flow calculation.

    Parameters
    ----------
    gas : Gas
        The gas in the pipes.
    ground_temperature_k : float
        Temperature of the gas, which is that of the ground [K]; default 10 °C.
    atmospheric_pressure_pa_abs : float
        Air pressure at the datum height [Pa absolute].
    datum_height_m : float or None
        Height of that air pressure [m]; None for the height of the first station whose height is known.
    air_temperature_k : float or None
        Temperature of the air outside, for its weight with height [K]; None for the ground's.
    flow_gas : FlowGas or None
        Properties to use in place of those worked out from `gas` (to compare with another program).
    """

    gas: Gas
    ground_temperature_k: float = ZERO_CELSIUS_K + 10.0
    atmospheric_pressure_pa_abs: float = ATMOSPHERE_PA_ABS
    datum_height_m: float | None = None
    air_temperature_k: float | None = None
    flow_gas: FlowGas | None = None

    def properties(self) -> FlowGas:
        """Return the gas as the flow equations need it.

        Z is taken at the air pressure: from there to 100 mbar gauge it moves by less than 0.03 % for
        natural gas, and the drop with it.
        """
        if self.flow_gas is not None:
            return self.flow_gas
        return _properties_of(self.gas, self.ground_temperature_k, self.atmospheric_pressure_pa_abs)

    def air_pressure_per_density(self) -> float:
        """Return p/ρ of the air outside [J/kg]."""
        temperature = self.ground_temperature_k if self.air_temperature_k is None else self.air_temperature_k
        return GAS_CONSTANT_J_PER_MOL_K * temperature / DRY_AIR_MOLAR_MASS_KG_PER_MOL


@lru_cache(maxsize=64)
def _properties_of(gas: Gas, temperature_k: float, pressure_pa_abs: float) -> FlowGas:
    # Every solution asks again for the same gas.
    z = gas.compressibility(temperature_k, pressure_pa_abs)
    return FlowGas(
        pressure_per_density=z * GAS_CONSTANT_J_PER_MOL_K * temperature_k / gas.molar_mass_kg_per_mol,
        viscosity_pa_s=gas.viscosity_pa_s(temperature_k),
        density_kg_per_m3_std=gas.density_kg_per_m3_at(METRIC_STANDARD),
    )
