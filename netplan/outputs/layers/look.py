"""How one class of features of a layer looks, in any notation."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Look"]


@dataclass(frozen=True, slots=True)
class Look:
    """How one class of features looks.

    Parameters
    ----------
    value : str
        Value of the style's column; empty for all features.
    shape : str
        ``line``, ``fill``, or the shape of a point: circle, square, diamond, triangle, cross.
    colour : str
        ``#rrggbb``.
    size_mm : float
        Width of a line, size of a point [mm].
    dash_mm : tuple of float
        Dash pattern of a line [mm]; empty: solid.
    """

    value: str
    shape: str
    colour: str
    size_mm: float
    dash_mm: tuple[float, ...] = ()
