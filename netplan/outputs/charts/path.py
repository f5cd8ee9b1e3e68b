"""Pressure before and after along the way from the station to the worst customer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from netplan.core.arrays import Floats
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
    x = shown(figures, "length", distance_m)
    for values, label, (colour, dash) in zip(
        (before_pa_gauge, after_pa_gauge), ("before the stops", "after the stops"), LINES[:2], strict=True
    ):
        y = shown_pressure(figures, values)
        known = np.isfinite(y)
        axes.plot(x[known], y[known], color=colour, linestyle=dash, linewidth=1.8, label=label)
    left = axes.get_yaxis_transform()
    for value, words, colour in (
        (required_pa_gauge, "minimum and margin", NEED),
        (minimum_pa_gauge, "minimum", MINIMUM),
    ):
        level = float(shown_pressure(figures, value)[0])
        axes.axhline(level, color=colour, linewidth=1.0)
        axes.text(0.995, level, words, ha="right", va="bottom", fontsize=7, color=colour, transform=left)
    below = axes.get_xaxis_transform()
    for mark in marks:
        place = float(shown(figures, "length", mark.distance_m)[0])
        axes.axvline(place, color="#999999", linewidth=0.8, linestyle=":")
        axes.text(
            place,
            0.98,
            plain(mark.name),
            rotation=90,
            ha="right",
            va="top",
            fontsize=7,
            color=NEED,
            transform=below,
        )
    axes.set_xlabel(axis_label(figures, "length", "length of pipe from the station"), fontsize=9)
    axes.set_ylabel(axis_label(figures, "pressure", "gauge pressure"), fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    axes.margins(x=0.01, y=0.12)
    return figure
