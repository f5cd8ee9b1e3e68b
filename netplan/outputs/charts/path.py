"""Pressure before and after along the way from the station to the worst customer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats
from netplan.outputs.charts.axes import axis_label, shown, shown_pressure
from netplan.outputs.charts.chart import MINIMUM, NEED, Chart, ChartLine, Crossing, Level, spread
from netplan.outputs.number_format import METRIC, Figures

__all__ = ["PathMark", "path_chart"]


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
) -> Chart:
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
    x = shown(figures, "length", distance_m)
    lines = []
    for look, (values, label) in enumerate(
        ((before_pa_gauge, "before the stops"), (after_pa_gauge, "after the stops"))
    ):
        y = shown_pressure(figures, values)
        known = np.isfinite(y)
        lines.append(ChartLine(x[known], y[known], label, look))
    required = float(shown_pressure(figures, required_pa_gauge)[0])
    minimum = float(shown_pressure(figures, minimum_pa_gauge)[0])
    crossings = tuple(
        Crossing(float(shown(figures, "length", mark.distance_m)[0]), mark.name) for mark in marks
    )
    return Chart(
        title,
        "the way the gas takes after the stops, at the worst hour with all margins",
        axis_label(figures, "length", "length of pipe from the station"),
        axis_label(figures, "pressure", "gauge pressure"),
        spread([*x.tolist(), *(one.x for one in crossings)], 0.01),
        spread([*(y for line in lines for y in line.y.tolist()), required, minimum], 0.12),
        tuple(lines),
        (Level(required, "minimum and margin", NEED), Level(minimum, "minimum", MINIMUM)),
        crossings,
    )
