"""Charts as files: SVG and PNG, the same bytes for the same figures."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["chart_png", "chart_svg", "write_chart"]

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
