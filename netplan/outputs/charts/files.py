"""Charts as files: SVG and PNG, the same bytes for the same figures."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from netplan.outputs.charts.chart import Chart
from netplan.outputs.typeset import typeset

__all__ = ["chart_png", "chart_svg", "write_chart"]

DPI: Final = 150.0
_TEMPLATE: Final = "chart.typ"


def chart_svg(chart: Chart) -> bytes:
    """Return a chart as SVG, letters drawn as shapes so that it looks the same everywhere."""
    return typeset(_TEMPLATE, chart.drawn(), as_format="svg")


def chart_png(chart: Chart) -> bytes:
    """Return a chart as PNG at 150 dots an inch."""
    return typeset(_TEMPLATE, chart.drawn(), as_format="png", dots_per_inch=DPI)


def write_chart(chart: Chart, folder: Path, name: str) -> tuple[Path, Path]:
    """Write a chart as ``name.svg`` and ``name.png`` into a folder and return both paths.

    Raises
    ------
    OSError
        When a file cannot be written.
    """
    svg, png = folder / f"{name}.svg", folder / f"{name}.png"
    svg.write_bytes(chart_svg(chart))
    png.write_bytes(chart_png(chart))
    return svg, png
