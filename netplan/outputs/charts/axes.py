"""Figures in the reader's units, and the labels of axes."""

from __future__ import annotations

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.units import convert
from netplan.outputs.number_format import Figures

__all__ = ["axis_label", "shown", "shown_flow", "shown_pressure"]


def axis_label(figures: Figures, kind: str, words: str) -> str:
    """Return the label of an axis with the unit it is drawn in."""
    return f"{words} [{figures.kind(kind).sign}]"


def shown(figures: Figures, kind: str, values: Floats | float) -> Floats:
    """Return figures in the unit of plan.json in the unit they are shown in, not rounded."""
    of = figures.kind(kind)
    array = np.atleast_1d(np.asarray(values, dtype=float))
    return np.array([convert(float(value), of.stored, of.shown) for value in array])


def shown_pressure(figures: Figures, pascals: Floats | float) -> Floats:
    """Return pressures [Pa] in the unit they are shown in."""
    return shown(figures, "pressure", np.asarray(pascals, dtype=float) / PA_PER_MBAR)


def shown_flow(figures: Figures, m3_per_s_std: Floats | float) -> Floats:
    """Return flows [m³/s at 15 °C, 101.325 kPa] in the unit they are shown in."""
    return shown(figures, "flow", np.asarray(m3_per_s_std, dtype=float) * SECONDS_PER_HOUR)
