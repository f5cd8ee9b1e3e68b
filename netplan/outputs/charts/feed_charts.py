"""Charts for the bypass engineer: drop against flow, weather, pressure on the way to the worst customer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M
from netplan.feeds.feed_curves import DropCurve, WeatherCurve
from netplan.outputs.charts.chart_format import (
    LINE_STYLES,
    MINIMUM_COLOUR,
    REQUIRED_COLOUR,
    WORKING_POINT_COLOUR,
    axis_label,
    escaped_label,
    in_shown_unit,
    new_chart,
    shown_flow,
    shown_pressure,
)
from netplan.outputs.number_format import METRIC, Figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "HEADROOM",
    "PathMark",
    "drop_chart",
    "path_chart",
    "size_words",
    "weather_chart",
    "working_point_words",
]


HEADROOM = 2.2
"""How far above the working point the chart reaches, in drops and flows."""


def drop_chart(
    curves: Sequence[DropCurve],
    working_flow_m3_per_s_std: float,
    working_drop_pa: float,
    figures: Figures = METRIC,
    title: str = "Pressure lost in the bypass",
) -> Figure:
    """Draw drop against flow per size; each line ends at the velocity limit.

    Parameters
    ----------
    curves : sequence of DropCurve
        One for each size.
    working_flow_m3_per_s_std, working_drop_pa : float
        Flow [m³/s at 15 °C, 101.325 kPa] and drop [Pa] of the size chosen, as solved.
    figures : Figures
        Units of the reader.
    title : str
    """
    flow = float(shown_flow(figures, working_flow_m3_per_s_std)[0])
    drop = float(shown_pressure(figures, working_drop_pa)[0])
    figure, axes = new_chart(title, working_point_words(figures, working_flow_m3_per_s_std, working_drop_pa))
    top_drop, top_flow = HEADROOM * max(drop, 1e-9), HEADROOM * max(flow, 1e-9)
    for curve, (colour, dash) in zip(curves, _cycle(len(curves)), strict=True):
        x, y = shown_flow(figures, curve.flow_m3_per_s_std), shown_pressure(figures, curve.drop_pa)
        label = size_words(curve, figures)
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.6, label=label)
        known = np.isfinite(y)
        if known.any() and x[known][-1] <= top_flow and y[known][-1] <= top_drop:
            axes.plot(x[known][-1:], y[known][-1:], marker="|", markersize=9, color=colour)
    axes.plot(
        [flow], [drop], marker="o", markersize=7, color=WORKING_POINT_COLOUR, linestyle="none", zorder=5
    )
    axes.annotate(
        "working point",
        (flow, drop),
        xytext=(8, -12),
        textcoords="offset points",
        fontsize=8,
        color=WORKING_POINT_COLOUR,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
    )
    axes.set_xlim(0.0, top_flow)
    axes.set_ylim(0.0, top_drop)
    axes.set_xlabel(axis_label(figures, "flow", f"flow at {figures.reference}"), fontsize=9)
    axes.set_ylabel(axis_label(figures, "pressure", "pressure lost"), fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5), title="bore")
    return figure


def _cycle(count: int) -> list[tuple[str, object]]:
    return [LINE_STYLES[i % len(LINE_STYLES)] for i in range(count)]


def working_point_words(figures: Figures, flow_m3_per_s_std: float, drop_pa: float) -> str:
    """Return the working point [m³/s at 15 °C, 101.325 kPa; Pa] in words, and where the lines end."""
    point = f"working point {figures.load(flow_m3_per_s_std * 3600.0)}, {figures.pressure(drop_pa / 100.0)}"
    return f"{point}; each line ends at the velocity limit"


def size_words(curve: DropCurve, figures: Figures) -> str:
    """Return the size of a curve in words: hoses side by side, and their bore."""
    bore_mm = curve.size.bore_m * MM_PER_M
    size = (
        figures.bore(bore_mm)
        if figures.is_us
        else f"{figures.number('size', bore_mm):g} {figures.kind('size').sign}"
    )
    return size if curve.size.parallel == 1 else f"{curve.size.parallel} × {size}"


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
        colour, dash = LINE_STYLES[i % len(LINE_STYLES)]
        x, y = (
            in_shown_unit(figures, "temperature", curve.air_temp_c),
            shown_pressure(figures, curve.least_pa_gauge),
        )
        gone = "" if np.isfinite(y).any() else " (no supply)"
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.6, label=escaped_label(curve.label) + gone)
        highest = max(highest, float(np.nanmax(y)) if np.isfinite(y).any() else -np.inf)
    required = float(shown_pressure(figures, required_pa_gauge)[0])
    minimum = float(shown_pressure(figures, minimum_pa_gauge)[0])
    axes.axhline(required, color=REQUIRED_COLOUR, linewidth=1.0)
    axes.axhline(minimum, color=MINIMUM_COLOUR, linewidth=1.0)
    planned = float(in_shown_unit(figures, "temperature", air_temp_c)[0])
    axes.axvline(planned, color=REQUIRED_COLOUR, linewidth=1.0, linestyle=":")
    left = axes.get_yaxis_transform()
    axes.text(
        0.995,
        required,
        "minimum and margin",
        ha="right",
        va="bottom",
        fontsize=7,
        color=REQUIRED_COLOUR,
        transform=left,
    )
    axes.text(
        0.995, minimum, "minimum", ha="right", va="top", fontsize=7, color=MINIMUM_COLOUR, transform=left
    )
    axes.text(
        planned,
        0.01,
        " planned for",
        fontsize=7,
        color=REQUIRED_COLOUR,
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


@dataclass(frozen=True, slots=True)
class PathMark:
    """A place on the way worth naming: distance from the source [m] and its name."""

    distance_m: float
    name: str


def path_chart(
    distance_m: Floats,
    before_pa_gauge: Floats,
    after_pa_gauge: Floats,
    minimum_pa_gauge: float,
    required_pa_gauge: float,
    marks: Sequence[PathMark] = (),
    figures: Figures = METRIC,
    title: str = "Pressure on the way to the worst customer",
) -> Figure:
    """Draw the pressure before and after the stops along one way.

    Parameters
    ----------
    distance_m : float array, shape (k,)
        Length of pipe from the source to each node of the way, hoses included [m].
    before_pa_gauge, after_pa_gauge : float array, shape (k,)
        Pressure at those nodes [Pa gauge]; NaN where a node did not exist or has no gas.
    minimum_pa_gauge, required_pa_gauge : float
        The rules' minimum, and with the margin [Pa gauge].
    marks : sequence of PathMark
        Places to name: station, stops, both ends of a bypass, the customer.
    figures : Figures
        Units of the reader.
    title : str
    """
    figure, axes = new_chart(
        title, "the way the gas takes after the stops, at the worst hour with all margins"
    )
    x = in_shown_unit(figures, "length", distance_m)
    for values, label, (colour, dash) in zip(
        (before_pa_gauge, after_pa_gauge),
        ("before the stops", "after the stops"),
        LINE_STYLES[:2],
        strict=True,
    ):
        y = shown_pressure(figures, values)
        known = np.isfinite(y)
        axes.plot(x[known], y[known], color=colour, linestyle=dash, linewidth=1.8, label=label)
    left = axes.get_yaxis_transform()
    for value, words, colour in (
        (required_pa_gauge, "minimum and margin", REQUIRED_COLOUR),
        (minimum_pa_gauge, "minimum", MINIMUM_COLOUR),
    ):
        level = float(shown_pressure(figures, value)[0])
        axes.axhline(level, color=colour, linewidth=1.0)
        axes.text(0.995, level, words, ha="right", va="bottom", fontsize=7, color=colour, transform=left)
    below = axes.get_xaxis_transform()
    for mark in marks:
        place = float(in_shown_unit(figures, "length", mark.distance_m)[0])
        axes.axvline(place, color="#999999", linewidth=0.8, linestyle=":")
        axes.text(
            place,
            0.98,
            escaped_label(mark.name),
            rotation=90,
            ha="right",
            va="top",
            fontsize=7,
            color=REQUIRED_COLOUR,
            transform=below,
        )
    axes.set_xlabel(axis_label(figures, "length", "length of pipe from the station"), fontsize=9)
    axes.set_ylabel(axis_label(figures, "pressure", "gauge pressure"), fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    axes.margins(x=0.01, y=0.12)
    return figure
