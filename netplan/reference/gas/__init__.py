"""Properties of fuel gases from their composition, at conditions that are always named."""

from netplan.reference.gas.conditions import (
    METRIC_NORMAL,
    METRIC_STANDARD,
    US_STANDARD,
    ReferenceConditions,
)
from netplan.reference.gas.mixture import DRY_AIR_MOLAR_MASS_KG_PER_MOL, Gas, air_density_kg_per_m3
from netplan.reference.gas.tables import gas_from_composition, gas_names, named_gas

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
