"""What the work lets go: volumes, methane, carbon dioxide equivalent."""

from __future__ import annotations

from dataclasses import dataclass

from netplan.core.errors import BadInputError
from netplan.gas.content import LineContent
from netplan.reference.gas import METRIC_STANDARD, Gas, ReferenceConditions
from netplan.reference.gas_components import components
from netplan.reference.warming_potentials import WarmingPotential, warming_potential, warming_potentials

__all__ = ["COMPARED_POTENTIALS", "VentFigures", "methane_kg", "vent_figures"]

COMPARED_POTENTIALS = ("AR5", "AR5 fossil", "AR6", "AR6 fossil", "AR6 20 years")
"""Potentials printed beside the one of the rules."""


@dataclass(frozen=True, slots=True)
class VentFigures:
    """Gas lost to make a zone gas-free and to bring it back.

    Parameters
    ----------
    line_content_m3 : float
        Gas in the zone and between the barriers; all of it is lost [m³ at the reference conditions].
    pressure_part_m3 : float
        Part of the line content that leaves by its own pressure [m³ at the reference conditions].
    purge_m3 : float
        Gas let go while gas is brought back: all that is fed in beyond the one volume that stays
        [m³ at the reference conditions].
    total_m3 : float
        Line content + purge.
    drawn_m3 : float
        Gas the live network gives to bring the zone back to its pressure: what is let go while purging,
        and the fill that stays [m³ at the reference conditions]. No part of the loss.
    methane_kg : float
        Methane in the total [kg].
    co2e_kg : float
        The same as carbon dioxide, by `potential` [kg CO2e].
    potential : WarmingPotential
        The potential used.
    co2e_by_potential : tuple of (str, float)
        The same by the published potentials, each named [kg CO2e].
    geometry_m3 : float
        Actual volume of the bores [m³].
    reference : ReferenceConditions
    """

    line_content_m3: float
    pressure_part_m3: float
    purge_m3: float
    total_m3: float
    drawn_m3: float
    methane_kg: float
    co2e_kg: float
    potential: WarmingPotential
    co2e_by_potential: tuple[tuple[str, float], ...]
    geometry_m3: float
    reference: ReferenceConditions


def methane_kg(volume_m3: float, gas: Gas, reference: ReferenceConditions = METRIC_STANDARD) -> float:
    """Return the methane in a volume of gas [kg].

    Parameters
    ----------
    volume_m3 : float
        Volume at the reference conditions [m³].
    gas : Gas
    reference : ReferenceConditions
    """
    mol_per_m3 = gas.density_kg_per_m3_at(reference) / gas.molar_mass_kg_per_mol
    methane = components()["methane"].molar_mass_kg_per_mol
    return volume_m3 * mol_per_m3 * gas.fraction_of("methane") * methane


def vent_figures(content: LineContent, gas: Gas, *, volumes_in: float, kg_co2e_per_kg: float) -> VentFigures:
    """Return what is lost and what is drawn for one option.

    Parameters
    ----------
    content : LineContent
        Gas in the zones and in the gaps of double stops, at the reference wanted.
    gas : Gas
        For its methane and density.
    volumes_in : float
        Gas fed in to purge back into service, in multiples of the line volume at atmospheric pressure,
        ≥ 1 [-]. Purging out is done by air or inert gas, which is no gas lost.
    kg_co2e_per_kg : float
        Global warming potential of methane [kg CO2e/kg].

    Raises
    ------
    BadInputError
        When fewer than one volume is to bring gas back.
    """
    if not volumes_in >= 1.0:
        raise BadInputError(
            f"purge.volumes_in is {volumes_in:g}; at least 1 volume is needed to fill the zone with gas"
        )
    purge = (volumes_in - 1.0) * content.unpressurised_m3
    total = content.content_m3 + purge
    methane = methane_kg(total, gas, content.reference)
    published = warming_potentials()
    return VentFigures(
        line_content_m3=content.content_m3,
        pressure_part_m3=content.pressure_part_m3,
        purge_m3=purge,
        total_m3=total,
        drawn_m3=purge + content.content_m3,
        methane_kg=methane,
        co2e_kg=methane * kg_co2e_per_kg,
        potential=warming_potential(kg_co2e_per_kg),
        co2e_by_potential=tuple(
            (published[name].line(), methane * published[name].kg_co2e_per_kg) for name in COMPARED_POTENTIALS
        ),
        geometry_m3=content.geometry_m3,
        reference=content.reference,
    )
