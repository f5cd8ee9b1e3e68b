"""Pressure lost in a feed against its flow, for every size, with the working point."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from netplan.core.constants import MM_PER_M
from netplan.feeds.feed_curves import DropCurve
from netplan.outputs.charts.style import LINES, WORKING, axis_label, new_chart, shown_flow, shown_pressure
from netplan.outputs.number_format import METRIC, Figures

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["drop_chart"]

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
    point = f"working point {figures.load(working_flow_m3_per_s_std * 3600.0)}, "
    point += figures.pressure(working_drop_pa / 100.0)
    figure, axes = new_chart(title, f"{point}; each line ends at the velocity limit")
    top_drop, top_flow = HEADROOM * max(drop, 1e-9), HEADROOM * max(flow, 1e-9)
    for curve, (colour, dash) in zip(curves, _cycle(len(curves)), strict=True):
        x, y = shown_flow(figures, curve.flow_m3_per_s_std), shown_pressure(figures, curve.drop_pa)
        label = _size_words(curve, figures)
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.6, label=label)
        known = np.isfinite(y)
        if known.any() and x[known][-1] <= top_flow and y[known][-1] <= top_drop:
            axes.plot(x[known][-1:], y[known][-1:], marker="|", markersize=9, color=colour)
    axes.plot([flow], [drop], marker="o", markersize=7, color=WORKING, linestyle="none", zorder=5)
    axes.annotate(
        "working point",
        (flow, drop),
        xytext=(8, -12),
        textcoords="offset points",
        fontsize=8,
        color=WORKING,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8},
    )
    axes.set_xlim(0.0, top_flow)
    axes.set_ylim(0.0, top_drop)
    axes.set_xlabel(axis_label(figures, "flow", "flow at 15 °C, 101.325 kPa"), fontsize=9)
    axes.set_ylabel(axis_label(figures, "pressure", "pressure lost"), fontsize=9)
    axes.legend(fontsize=8, frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5), title="bore")
    return figure


def _cycle(count: int) -> list[tuple[str, object]]:
    return [LINES[i % len(LINES)] for i in range(count)]


def _size_words(curve: DropCurve, figures: Figures) -> str:
    size = f"{figures.number('size', curve.size.bore_m * MM_PER_M):g} {figures.kind('size').sign}"
    return size if curve.size.parallel == 1 else f"{curve.size.parallel} × {size}"
