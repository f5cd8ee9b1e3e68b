"""Least pressure of the kept meter inlets against air temperature, for every option."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.feeds.curves import WeatherCurve
from netplan.outputs.charts.axes import axis_label, shown, shown_pressure
from netplan.outputs.charts.chart import MINIMUM, NEED, Chart, ChartLine, Crossing, Level, spread
from netplan.outputs.number_format import METRIC, Figures

__all__ = ["weather_chart"]


def weather_chart(
    curves: Sequence[WeatherCurve],
    minimum_pa_gauge: float,
    required_pa_gauge: float,
    air_temp_c: float,
    figures: Figures = METRIC,
    title: str = "Until how cold it holds",
) -> Chart:
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
    lines, highest = [], -np.inf
    for look, curve in enumerate(curves):
        x, y = shown(figures, "temperature", curve.air_temp_c), shown_pressure(figures, curve.least_pa_gauge)
        has_gas = bool(np.isfinite(y).any())
        lines.append(ChartLine(x, y, curve.label + ("" if has_gas else " (no supply)"), look))
        highest = max(highest, float(np.nanmax(y)) if has_gas else -np.inf)
    required = float(shown_pressure(figures, required_pa_gauge)[0])
    minimum = float(shown_pressure(figures, minimum_pa_gauge)[0])
    top = max(highest, required) if np.isfinite(highest) else required
    planned = float(shown(figures, "temperature", air_temp_c)[0])
    return Chart(
        title,
        f"an option holds where its line is above {need}; demand with all margins",
        axis_label(figures, "temperature", "air temperature"),
        axis_label(figures, "pressure", "least gauge pressure at a kept inlet"),
        spread([planned, *(x for line in lines for x in line.x.tolist())], 0.05),
        (
            max(0.0, minimum - 1.5 * max(top - minimum, 0.2 * minimum)),
            top + 0.1 * (top - 0.5 * minimum),
        ),
        tuple(lines),
        (Level(required, "minimum and margin", NEED), Level(minimum, "minimum", MINIMUM, below=True)),
        (Crossing(planned, "planned for", level=True),),
    )
