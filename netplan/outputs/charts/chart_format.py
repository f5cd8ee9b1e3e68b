"""How charts look, in the reader's units, and how they become SVG and PNG files."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.extras import require_extra
from netplan.core.units import convert
from netplan.outputs.number_format import FIGURES_CAUTION, Figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "LINE_STYLES",
    "MINIMUM_COLOUR",
    "REQUIRED_COLOUR",
    "WORKING_POINT_COLOUR",
    "axis_label",
    "chart_png",
    "chart_svg",
    "escaped_label",
    "in_shown_unit",
    "new_chart",
    "shown_flow",
    "shown_pressure",
    "write_chart",
]


WIDTH_IN: Final = 7.2
HEIGHT_IN: Final = 4.3
LINE_STYLES: Final = (
    ("#0072B2", "-"),
    ("#D55E00", "--"),
    ("#009E73", "-."),
    ("#CC79A7", ":"),
    ("#E69F00", (0, (5, 1, 1, 1, 1, 1))),
    ("#56B4E9", (0, (3, 1))),
    ("#000000", (0, (1, 1))),
)
"""Colour and dash of each line: the palette of Okabe and Ito (2008), told apart without colour too."""
REQUIRED_COLOUR: Final = "#444444"
MINIMUM_COLOUR: Final = "#B00020"
WORKING_POINT_COLOUR: Final = "#000000"


def new_chart(title: str, note: str = "") -> tuple[Figure, Any]:
    """Return an empty chart with a title, a note under it, and the caution at the foot."""
    require_extra("charts", "A chart")

    from matplotlib.figure import Figure  # takes half a second, and most plans draw no chart

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), layout="constrained")
    axes = figure.add_subplot()
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    if note:
        axes.set_title(note, loc="left", fontsize=8, color=REQUIRED_COLOUR)
    figure.supxlabel(FIGURES_CAUTION, x=0.01, ha="left", fontsize=7, color=REQUIRED_COLOUR)
    axes.grid(visible=True, color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def escaped_label(text: str) -> str:
    """Return text from the data as it stands: a dollar sign would start a formula."""
    return text.replace("$", r"\$")


def axis_label(figures: Figures, kind: str, words: str) -> str:
    """Return the label of an axis with the unit it is drawn in."""
    return f"{words} [{figures.kind(kind).sign}]"


def in_shown_unit(figures: Figures, kind: str, values: Floats | float) -> Floats:
    """Return figures in the unit of plan.json in the unit they are shown in, not rounded."""
    of = figures.kind(kind)
    array = np.atleast_1d(np.asarray(values, dtype=float))
    return np.array([convert(float(value), of.stored, of.shown) * of.share for value in array])


def shown_pressure(figures: Figures, pascals: Floats | float) -> Floats:
    """Return pressures [Pa] in the unit they are shown in."""
    return in_shown_unit(figures, "pressure", np.asarray(pascals, dtype=float) / PA_PER_MBAR)


def shown_flow(figures: Figures, m3_per_s_std: Floats | float) -> Floats:
    """Return flows [m³/s at 15 °C, 101.325 kPa] in the unit they are shown in."""
    return in_shown_unit(figures, "flow", np.asarray(m3_per_s_std, dtype=float) * SECONDS_PER_HOUR)


DPI: Final = 150
# Ids inside an SVG are drawn at random unless they are salted, and the date is put in unless it is not.
SALT: Final = "netplan"


def chart_svg(figure: Figure) -> bytes:
    """Return a chart as SVG, letters drawn as shapes so that it looks the same everywhere."""
    import matplotlib as mpl

    target = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": SALT, "svg.fonttype": "path"}):
        figure.savefig(target, format="svg", metadata={"Date": None, "Creator": "gas-netplan"})
    return target.getvalue()


def chart_png(figure: Figure) -> bytes:
    """Return a chart as PNG at 150 dots an inch."""
    target = io.BytesIO()
    figure.savefig(target, format="png", dpi=DPI, metadata={"Software": "gas-netplan"})
    return target.getvalue()


def write_chart(figure: Figure, folder: Path, name: str) -> tuple[Path, Path]:
    """Write a chart as ``name.svg`` and ``name.png`` into a folder and return both paths.

    Raises
    ------
    OSError
        When a file cannot be written.
    """
    svg, png = folder / f"{name}.svg", folder / f"{name}.png"
    svg.write_bytes(chart_svg(figure))
    png.write_bytes(chart_png(figure))
    return svg, png
