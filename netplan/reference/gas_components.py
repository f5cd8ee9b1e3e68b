"""The table of gas components."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from netplan.reference import table_rows

__all__ = ["Component", "components"]


@dataclass(frozen=True, slots=True)
class Component:
    """One pure gas.

    Parameters
    ----------
    key, name : str
        Name in code and in words.
    molar_mass_kg_per_mol : float
        Molar mass [kg/mol].
    summation_factor : float
        Square root of 1 - Z at 15 °C, 101.325 kPa [-]; 0 for hydrogen, which has terms of its own.
    gross_heat_j_per_mol : float
        Gross heat of combustion at 15 °C [J/mol]; 0 for what does not burn.
    hydrogen_atoms, carbon_atoms : int
        Atoms in a molecule.
    critical_temperature_k, acentric_factor : float
        For how the second virial coefficient moves with temperature [K], [-].
    viscosity_pa_s, viscosity_exponent : float
        Dynamic viscosity at 15 °C, near 1 atm [Pa s], and the power of absolute temperature that it rises
        with [-].
    lower_flammable_percent, upper_flammable_percent : float or None
        Limits in air [% volume].
    sources : tuple of str
        Source keys of the row.
    """

    key: str
    name: str
    molar_mass_kg_per_mol: float
    summation_factor: float
    gross_heat_j_per_mol: float
    hydrogen_atoms: int
    carbon_atoms: int
    critical_temperature_k: float
    acentric_factor: float
    viscosity_pa_s: float
    viscosity_exponent: float
    lower_flammable_percent: float | None
    upper_flammable_percent: float | None
    sources: tuple[str, ...]


@lru_cache(maxsize=1)
def components() -> dict[str, Component]:
    """Return every component by its key, in the order of the table."""
    return {row["key"]: _component(row) for row in table_rows("components.csv")}


def _component(row: dict[str, str]) -> Component:
    def limit(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return Component(
        key=row["key"],
        name=row["name"],
        molar_mass_kg_per_mol=float(row["molar_mass_kg_per_mol"]),
        summation_factor=float(row["summation_factor"]),
        gross_heat_j_per_mol=float(row["gross_heat_j_per_mol"]),
        hydrogen_atoms=int(row["hydrogen_atoms"]),
        carbon_atoms=int(row["carbon_atoms"]),
        critical_temperature_k=float(row["critical_temperature_k"]),
        acentric_factor=float(row["acentric_factor"]),
        viscosity_pa_s=float(row["viscosity_pa_s"]),
        viscosity_exponent=float(row["viscosity_exponent"]),
        lower_flammable_percent=limit("lower_flammable_percent"),
        upper_flammable_percent=limit("upper_flammable_percent"),
        sources=tuple(row["source"].split(";")),
    )
