"""Global warming potentials of methane, and the constants of the regulation's vent formulas."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from netplan.reference import table_rows

__all__ = ["WarmingPotential", "regulation_constant", "warming_potential", "warming_potentials"]

_SAME = 1e-9


@dataclass(frozen=True, slots=True)
class WarmingPotential:
    """How many kilograms of carbon dioxide warm as much as one of methane.

    Parameters
    ----------
    name, report : str
        Short name, and the assessment report it is from.
    years : int
        Time horizon [years].
    origin : str
        What methane it is for: all, fossil or non-fossil.
    kg_co2e_per_kg : float
        The value [kg CO2e/kg].
    source : str
        Source key.
    """

    name: str
    report: str
    years: int
    origin: str
    kg_co2e_per_kg: float
    source: str

    def line(self) -> str:
        """Return it as printed beside a figure."""
        origin = "" if self.origin == "all" else f", {self.origin} methane"
        return f"GWP{self.years} {self.kg_co2e_per_kg:g} ({self.report}{origin})"


@lru_cache(maxsize=1)
def warming_potentials() -> dict[str, WarmingPotential]:
    """Return every potential by its name."""
    return {
        row["name"]: WarmingPotential(
            name=row["name"],
            report=row["report"],
            years=int(row["years"]),
            origin=row["origin"],
            kg_co2e_per_kg=float(row["kg_co2e_per_kg"]),
            source=row["source"],
        )
        for row in table_rows("emissions_gwp.csv")
    }


def warming_potential(kg_co2e_per_kg: float) -> WarmingPotential:
    """Return the published potential of that value, or one that says it is the rules' own [kg CO2e/kg]."""
    for row in warming_potentials().values():
        if abs(row.kg_co2e_per_kg - kg_co2e_per_kg) < _SAME:
            return row
    return WarmingPotential("rules", "planning rules", 100, "all", kg_co2e_per_kg, "own")


@lru_cache(maxsize=8)
def regulation_constant(key: str) -> float:
    """Return a constant of the regulation's vent formulas, in the unit that its table states."""
    return next(float(row["value"]) for row in table_rows("emissions_regulation.csv") if row["key"] == key)
