"""Pressure lost in a feed against its flow, for every size, with the working point."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.core.constants import MM_PER_M
from netplan.feeds.curves import DropCurve
from netplan.outputs.charts.axes import axis_label, shown_flow, shown_pressure
from netplan.outputs.charts.chart import Chart, ChartLine, ChartPoint
from netplan.outputs.number_format import METRIC, Figures

__all__ = ["drop_chart"]

HEADROOM = 2.2
"""How far above the working point the chart reaches, in drops and flows."""


def drop_chart(
    curves: Sequence[DropCurve],
    working_flow_m3_per_s_std: float,
    working_drop_pa: float,
    figures: Figures = METRIC,
    title: str = "Pressure lost in the bypass",
) -> Chart:
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
    top_flow, top_drop = HEADROOM * max(flow, 1e-9), HEADROOM * max(drop, 1e-9)
    lines = tuple(
        ChartLine(
            shown_flow(figures, curve.flow_m3_per_s_std),
            shown_pressure(figures, curve.drop_pa),
            _size_words(curve, figures),
            look,
            has_end=True,
        )
        for look, curve in enumerate(curves)
    )
    return Chart(
        title,
        f"{point}; each line ends at the velocity limit",
        axis_label(figures, "flow", "flow at 15 °C, 101.325 kPa"),
        axis_label(figures, "pressure", "pressure lost"),
        (0.0, top_flow),
        (0.0, top_drop),
        lines,
        points=(ChartPoint(flow, drop, "working point"),),
        legend_title="bore",
    )


def _size_words(curve: DropCurve, figures: Figures) -> str:
    size = f"{figures.number('size', curve.size.bore_m * MM_PER_M):g} {figures.kind('size').sign}"
    return size if curve.size.parallel == 1 else f"{curve.size.parallel} × {size}"
