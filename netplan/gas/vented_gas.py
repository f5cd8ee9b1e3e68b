"""Gas held in pipes (line content), and what the work lets go: volumes, methane, CO2 equivalent."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats
from netplan.core.constants import ATMOSPHERE_PA_ABS
from netplan.core.errors import BadInputError
from netplan.reference.gas import METRIC_STANDARD, Gas, ReferenceConditions
from netplan.reference.gas_components import components
from netplan.reference.warming_potentials import WarmingPotential, warming_potential, warming_potentials

__all__ = [
    "COMPARED_POTENTIALS",
    "LineContent",
    "VentFigures",
    "gap_content",
    "geometry_m3",
    "line_content",
    "methane_kg",
    "vent_figures",
]


@dataclass(frozen=True, slots=True)
class LineContent:
    """Gas in a set of pipes.

    Parameters
    ----------
    geometry_m3 : float
        Actual volume of the bores [m³].
    content_m3 : float
        All gas in them, at the reference conditions [m³].
    pressure_part_m3 : float
        Part of the content that leaves when they fall to atmospheric pressure [m³ at the reference
        conditions]; the rest has to be pushed out.
    reference : ReferenceConditions
        What the volumes are counted at.
    """

    geometry_m3: float
    content_m3: float
    pressure_part_m3: float
    reference: ReferenceConditions

    @property
    def unpressurised_m3(self) -> float:
        """Gas left at atmospheric pressure [m³ at the reference conditions]."""
        return self.content_m3 - self.pressure_part_m3

    def __add__(self, other: LineContent) -> LineContent:
        """Return both together; they must be counted at the same conditions."""
        if self.reference != other.reference:
            raise BadInputError(
                f"line content: {self.reference.name} and {other.reference.name} do not add; use one of them"
            )
        return LineContent(
            self.geometry_m3 + other.geometry_m3,
            self.content_m3 + other.content_m3,
            self.pressure_part_m3 + other.pressure_part_m3,
            self.reference,
        )


def geometry_m3(length_m: npt.ArrayLike, bore_m: npt.ArrayLike) -> Floats:
    """Return the actual volume of each length of pipe, π/4 d² L [m³]."""
    bore, length = np.asarray(bore_m, dtype=float), np.asarray(length_m, dtype=float)
    volume: Floats = math.pi / 4.0 * bore * bore * length
    return volume


def line_content(
    length_m: npt.ArrayLike,
    bore_m: npt.ArrayLike,
    pressure_pa_gauge: npt.ArrayLike,
    ground_temperature_k: float,
    gas: Gas | None = None,
    reference: ReferenceConditions = METRIC_STANDARD,
    *,
    air_pressure_pa_abs: float = ATMOSPHERE_PA_ABS,
) -> LineContent:
    """Return the gas in lengths of pipe.

    V_ref = V (p_gauge + p_air)/p_ref · T_ref/T · Z_ref/Z, summed over the lengths.

    Parameters
    ----------
    length_m, bore_m : array_like, shape (n,)
        Length ≥ 0 and bore > 0 of each interval in the zone [m].
    pressure_pa_gauge : array_like, shape (n,) or ()
        Solved pressure in each [Pa gauge], not below minus the air pressure.
    ground_temperature_k : float
        Temperature of the gas, which is that of the ground [K].
    gas : Gas, optional
        Whose compressibility is counted; without one Z is 1 at both conditions, which is right within
        0.03 % for natural gas below 100 mbar.
    reference : ReferenceConditions
        What to count at.
    air_pressure_pa_abs : float
        Pressure of the air outside [Pa absolute].

    Raises
    ------
    BadInputError
        For a length, bore or pressure that is missing or impossible.
    """
    length, bore, gauge = np.broadcast_arrays(
        np.asarray(length_m, dtype=float),
        np.asarray(bore_m, dtype=float),
        np.asarray(pressure_pa_gauge, dtype=float),
    )
    _check(length, bore, gauge + air_pressure_pa_abs)
    volume = geometry_m3(length, bore)
    full = _at_reference(gauge + air_pressure_pa_abs, ground_temperature_k, gas, reference)
    flat = _at_reference(np.asarray(air_pressure_pa_abs), ground_temperature_k, gas, reference)
    return LineContent(
        geometry_m3=float(volume.sum()),
        content_m3=float((volume * full).sum()),
        pressure_part_m3=float((volume * (full - flat)).sum()),
        reference=reference,
    )


def gap_content(
    gap_m: npt.ArrayLike,
    bore_m: npt.ArrayLike,
    pressure_pa_gauge: npt.ArrayLike,
    ground_temperature_k: float,
    gas: Gas | None = None,
    reference: ReferenceConditions = METRIC_STANDARD,
) -> LineContent:
    """Return the gas between the two barriers of double stops.

    Parameters
    ----------
    gap_m : array_like, shape (n,)
        Distance between the barriers of each double stop [m].
    bore_m, pressure_pa_gauge, ground_temperature_k, gas, reference
        As for `line_content`; the pressure is that at the stop just before it is set.
    """
    return line_content(gap_m, bore_m, pressure_pa_gauge, ground_temperature_k, gas, reference)


def _at_reference(
    pressure_pa_abs: Floats, temperature_k: float, gas: Gas | None, reference: ReferenceConditions
) -> Floats:
    factor = pressure_pa_abs / reference.pressure_pa_abs * (reference.temperature_k / temperature_k)
    if gas is None:
        return factor
    # One virial term: 1 - Z is proportional to the pressure, so that one look-up serves every pipe.
    shrink = (1.0 - gas.compressibility(temperature_k, ATMOSPHERE_PA_ABS)) / ATMOSPHERE_PA_ABS
    z_reference = gas.compressibility(reference.temperature_k, reference.pressure_pa_abs)
    return factor * z_reference / (1.0 - shrink * pressure_pa_abs)


def _check(length: Floats, bore: Floats, pressure_pa_abs: Floats) -> None:
    for values, good, what in (
        (length, length >= 0, "length not ≥ 0 m"),
        (bore, bore > 0, "bore not > 0 m"),
        (pressure_pa_abs, pressure_pa_abs >= 0, "pressure missing or below a vacuum"),
    ):
        bad = ~(good & np.isfinite(values))
        if bad.any():
            row = int(np.argmax(bad))
            raise BadInputError(f"line content: interval {row}: {what}; correct the record")


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
