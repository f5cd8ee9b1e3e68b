"""The regulation's formulas for blowdown vents, W-14A and W-14B, beside the tool's own figure.

A method to compare with, not a duty: which duties apply is for the operator to say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats
from netplan.core.constants import ATMOSPHERE_PA_ABS, STANDARD_TEMPERATURE_K
from netplan.core.units import convert, factor
from netplan.gas.vented_gas import VentFigures
from netplan.reference.warming_potentials import regulation_constant

__all__ = ["Comparison", "compared_with_regulation", "w14a_scf", "w14b_scf"]


def w14a_scf(
    volume_cf: npt.ArrayLike,
    temperature_f: float,
    pressure_psia: npt.ArrayLike,
    compressibility: float = 1.0,
    *,
    purged_with_other_gas: bool,
    events: float = 1.0,
) -> float:
    """Return E = N Σ {V (459.67 + Ts) Pa / [(459.67 + Ta) Ps Za] − V C} [ft³ at 60 °F, 14.7 psia].

    Parameters
    ----------
    volume_cf : array_like
        Unique physical volumes [ft³ actual].
    temperature_f : float
        Ta [°F].
    pressure_psia : array_like
        Pa [psi absolute].
    compressibility : float
        Za at actual conditions [-].
    purged_with_other_gas : bool
        C is 0 when the volume is purged with a gas that is no greenhouse gas, else 1.
    events : float
        N, blowdowns of the same volume [-].

    Notes
    -----
    Source: w14 (from memory). V C is not brought to standard temperature: that is how the formula stands.
    """
    volume = np.asarray(volume_cf, dtype=float)
    full = volume * _to_standard(temperature_f, np.asarray(pressure_psia, dtype=float), compressibility)
    kept = 0.0 if purged_with_other_gas else 1.0
    return events * float(np.sum(full - volume * kept))


def w14b_scf(
    volume_cf: npt.ArrayLike,
    temperature_f: float,
    begin_psia: npt.ArrayLike,
    end_psia: npt.ArrayLike,
    compressibility: float = 1.0,
) -> float:
    """Return E = Σ V (459.67 + Ts) (Pb − Pe) / [(459.67 + Ta) Ps Za] [ft³ at 60 °F, 14.7 psia].

    Parameters
    ----------
    volume_cf : array_like
        Unique physical volumes [ft³ actual].
    temperature_f : float
        Ta [°F].
    begin_psia, end_psia : array_like
        Pressures before and after [psi absolute].
    compressibility : float
        Za [-].
    """
    fall = np.asarray(begin_psia, dtype=float) - np.asarray(end_psia, dtype=float)
    return float(
        np.sum(np.asarray(volume_cf, dtype=float) * _to_standard(temperature_f, fall, compressibility))
    )


def _to_standard(temperature_f: float, pressure_psia: Floats, compressibility: float) -> Floats:
    zero = regulation_constant("absolute_zero_f")
    warm = (zero + regulation_constant("standard_temperature_f")) / (zero + temperature_f)
    ratio: Floats = pressure_psia * warm / (regulation_constant("standard_pressure_psia") * compressibility)
    return ratio


@dataclass(frozen=True, slots=True)
class Comparison:
    """A formula of the regulation beside the tool's own figure for the same thing.

    Parameters
    ----------
    formula : str
    volume_m3, own_m3 : float
        Both at 15 °C, 101.325 kPa [m³].
    reason : str
        Why they differ.
    """

    formula: str
    volume_m3: float
    own_m3: float
    reason: str


def compared_with_regulation(
    figures: VentFigures,
    volume_m3: npt.ArrayLike,
    pressure_pa_gauge: npt.ArrayLike,
    ground_temperature_k: float,
    *,
    air_pressure_pa_abs: float = ATMOSPHERE_PA_ABS,
) -> tuple[Comparison, ...]:
    """Return the regulation's formulas beside the tool's own figures.

    Parameters
    ----------
    figures : VentFigures
        The tool's own, at 15 °C and 101.325 kPa.
    volume_m3, pressure_pa_gauge : array_like, shape (n,)
        Actual volume [m³] and pressure [Pa gauge] of everything that `figures` counts, gaps included.
    ground_temperature_k : float
        Temperature of the gas [K].
    air_pressure_pa_abs : float
        Pressure of the air outside [Pa absolute].
    """
    volume_cf = np.asarray(volume_m3, dtype=float) * factor("m**3", "ft**3")
    gauge = np.asarray(pressure_pa_gauge, dtype=float)
    begin, end = ((p + air_pressure_pa_abs) * factor("Pa", "psi") for p in (gauge, np.zeros_like(gauge)))
    ground_f = convert(ground_temperature_k, "K", "degF")
    purged = _metric(w14a_scf(volume_cf, ground_f, begin, purged_with_other_gas=True))
    unpurged = _metric(w14a_scf(volume_cf, ground_f, begin, purged_with_other_gas=False))
    blown = _metric(w14b_scf(volume_cf, ground_f, begin, end))
    small = f"it leaves out unique volumes below {regulation_constant('least_volume_cf'):g} ft³ in a report"
    z = "it takes Z as 1, the tool counts the gas' own."
    return (
        Comparison(
            "W-14A, purged with another gas (C = 0)",
            purged,
            figures.line_content_m3,
            f"Both count all gas in the pipes; {small}; {z}",
        ),
        Comparison(
            "W-14A, purged with another gas (C = 0), beside the whole loss",
            purged,
            figures.total_m3,
            "The formula ends with the pipes empty; the tool adds the gas lost while gas is brought back.",
        ),
        Comparison(
            "W-14A, not purged (C = 1)",
            unpurged,
            figures.pressure_part_m3,
            "The formula takes off one volume as it lies in the ground, not brought to standard temperature: "
            "in ground colder than 60 °F it gives more than what leaves by its own pressure.",
        ),
        Comparison(
            "W-14B, down to atmospheric pressure",
            blown,
            figures.pressure_part_m3,
            f"Both count what leaves by its own pressure; {z} What is then pushed out by the purge is in "
            "neither.",
        ),
    )


def _metric(volume_scf: float) -> float:
    """Bring ft³ at 60 °F, 14.7 psia to m³ at 15 °C, 101.325 kPa."""
    base_k = convert(regulation_constant("standard_temperature_f"), "degF", "K")
    pressure = regulation_constant("standard_pressure_psia") * factor("psi", "Pa") / ATMOSPHERE_PA_ABS
    return volume_scf * factor("ft**3", "m**3") * pressure * STANDARD_TEMPERATURE_K / base_k
