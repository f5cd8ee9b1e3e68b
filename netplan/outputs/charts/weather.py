"""Least pressure of the kept meter inlets against air temperature, for every option."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from netplan.feeds.feed_curves import WeatherCurve
from netplan.outputs.charts.style import (
    LINES,
    MINIMUM,
    NEED,
    axis_label,
    new_chart,
    plain,
    shown,
    shown_pressure,
)
from netplan.outputs.number_format import METRIC, Figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["weather_chart"]


def weather_chart(
    curves: Sequence[WeatherCurve],
    minimum_pa_gauge: float,
    required_pa_gauge: float,
    air_temp_c: float,
    figures: Figures = METRIC,
    title: str = "Until how cold it holds",
) -> Figure:
    """Draw the least pressure at a kept meter inlet against the air temperature, per option.

    Parameters
    ----------
    curves : sequence of WeatherCurve
        One for each option, such as no bypass and each size.
    minimum_pa_gauge, required_pa_gauge : float
        The rules' minimum, and with the margin [Pa gauge].
    air_temp_c : float
        Air temperature of the plan [°C].
    figures : Figures
        Units of the reader.
    title : str
    """
    need = figures.needed(required_pa_gauge / 100.0)
    figure, axes = new_chart(
        title, f"an option holds where its line is above {need}; demand with all margins"
    )
    highest = -np.inf
    for i, curve in enumerate(curves):
        colour, dash = LINES[i % len(LINES)]
        x, y = shown(figures, "temperature", curve.air_temp_c), shown_pressure(figures, curve.least_pa_gauge)
        gone = "" if np.isfinite(y).any() else " (no supply)"
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.6, label=plain(curve.label) + gone)
        highest = max(highest, float(np.nanmax(y)) if np.isfinite(y).any() else -np.inf)
    required = float(shown_pressure(figures, required_pa_gauge)[0])
    minimum = float(shown_pressure(figures, minimum_pa_gauge)[0])
    axes.axhline(required, color=NEED, linewidth=1.0)
    axes.axhline(minimum, color=MINIMUM, linewidth=1.0)
    planned = float(shown(figures, "temperature", air_temp_c)[0])
    axes.axvline(planned, color=NEED, linewidth=1.0, linestyle=":")
    left = axes.get_yaxis_transform()
    axes.text(
        0.995, required, "minimum and margin", ha="right", va="bottom", fontsize=7, color=NEED, transform=left
    )
    axes.text(0.995, minimum, "minimum", ha="right", va="top", fontsize=7, color=MINIMUM, transform=left)
    axes.text(
        planned,
        0.01,
        " planned for",
        fontsize=7,
        color=NEED,
        transform=axes.get_xaxis_transform(),
        va="bottom",
    )
    top = max(highest, required) if np.isfinite(highest) else required
    axes.set_ylim(
        max(0.0, minimum - 1.5 * max(top - minimum, 0.2 * minimum)), top + 0.1 * (top - 0.5 * minimum)
    )
    axes.set_xlabel(axis_label(figures, "temperature", "air temperature"), fontsize=9)
    axes.set_ylabel(axis_label(figures, "pressure", "least gauge pressure at a kept inlet"), fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return figure
