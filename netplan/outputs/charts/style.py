"""How the pictures look: sizes, colours that colour-blind people tell apart, axes in the reader's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.units import convert
from netplan.outputs.number_format import Figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "LINES",
    "MINIMUM",
    "NEED",
    "WORKING",
    "axis_label",
    "new_chart",
    "plain",
    "shown",
    "shown_flow",
    "shown_pressure",
]


WIDTH_IN: Final = 7.2
HEIGHT_IN: Final = 4.3
LINES: Final = (
    ("#0072B2", "-"),
    ("#D55E00", "--"),
    ("#009E73", "-."),
    ("#CC79A7", ":"),
    ("#E69F00", (0, (5, 1, 1, 1, 1, 1))),
    ("#56B4E9", (0, (3, 1))),
    ("#000000", (0, (1, 1))),
)
"""Colour and dash of each line: the palette of Okabe and Ito (2008), told apart without colour too."""
NEED: Final = "#444444"
MINIMUM: Final = "#B00020"
WORKING: Final = "#000000"
FOOT: Final = "Planning figures: the operator's rules, local codes and competent people govern."


def new_chart(title: str, note: str = "") -> tuple[Figure, Any]:
    """Return an empty chart with a title, a note under it, and the caution at the foot."""
    from matplotlib.figure import Figure  # takes half a second, and most plans draw no chart

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), layout="constrained")
    axes = figure.add_subplot()
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    if note:
        axes.set_title(note, loc="left", fontsize=8, color=NEED)
    figure.supxlabel(FOOT, x=0.01, ha="left", fontsize=7, color=NEED)
    axes.grid(visible=True, color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def plain(text: str) -> str:
    """Return text from the data as it stands: a dollar sign would start a formula."""
    return text.replace("$", r"\$")


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
