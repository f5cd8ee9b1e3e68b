"""How each layer of plan.gpkg looks: its classes, its labels, and from what scale on they are shown.

Colours are of the palette of Okabe and Ito, told apart by colour-blind eyes too; colour is never alone:
shape, letter or line pattern say the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["CUSTOMER_COLOURS", "INK", "STATE_COLOURS", "STYLES", "LayerLabel", "LayerStyle", "LayerSymbol"]


INK: Final = "#1b1b1b"
STATE_COLOURS: Final = {
    "live": "#0072b2",
    "isolated": "#d55e00",
    "stranded": "#cc79a7",
    "fed": "#009e73",
    "closed": "#1b1b1b",
}
CUSTOMER_COLOURS: Final = {"off": "#d55e00", "kept": "#009e73"}

HOUSE_NUMBERS_SCALE: Final = 2500
"""House numbers and places of nodes are shown from this scale on, 1 to so many (own)."""
STREET_NAMES_SCALE: Final = 10_000
"""Names of streets likewise (own)."""


@dataclass(frozen=True, slots=True)
class LayerSymbol:
    """How one class of features is drawn, in any notation.

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


@dataclass(frozen=True, slots=True)
class LayerLabel:
    """What is written beside the features of a layer.

    Parameters
    ----------
    column : str
        Column that holds the text.
    size_pt : float
        Size of the letters [pt].
    largest_scale : int
        Shown at 1 to so many and closer; 0: at every scale.
    always : bool
        Written even where it lies over another one: a stop without its name is no help.
    """

    column: str
    size_pt: float = 9.0
    largest_scale: int = 0
    always: bool = False


@dataclass(frozen=True, slots=True)
class LayerStyle:
    """The style of a layer.

    Parameters
    ----------
    layer : str
    column : str
        Column whose values are its classes; empty for one symbol of all.
    symbols : tuple of LayerSymbol
    label : LayerLabel, optional
    largest_scale : int
        The layer is shown at 1 to so many and closer; 0: at every scale.
    """

    layer: str
    column: str
    symbols: tuple[LayerSymbol, ...]
    label: LayerLabel | None = None
    largest_scale: int = 0


def _line(value: str, colour: str, size: float, *dash: float) -> LayerSymbol:
    return LayerSymbol(value, "line", colour, size, dash)


STYLES: Final = (
    LayerStyle("water", "", (LayerSymbol("", "fill", "#cfe3ee", 0.2),)),
    LayerStyle(
        "streets",
        "",
        (_line("", "#d3ccba", 1.8),),
        LayerLabel("name", 7.0, STREET_NAMES_SCALE),
    ),
    LayerStyle("buildings", "", (LayerSymbol("", "fill", "#e3dccd", 0.2),)),
    LayerStyle("rail", "", (_line("", "#6d6a64", 0.9, 3.0, 1.0),)),
    LayerStyle(
        "pipes",
        "state",
        (
            _line("live", STATE_COLOURS["live"], 0.5),
            _line("isolated", STATE_COLOURS["isolated"], 1.4),
            _line("stranded", STATE_COLOURS["stranded"], 1.2, 0.6, 1.4),
            _line("fed", STATE_COLOURS["fed"], 0.9, 3.0, 1.0, 0.6, 1.0),
            _line("closed", STATE_COLOURS["closed"], 1.2),
            _line("other system", "#6d6a64", 0.5, 2.0, 1.0),
        ),
    ),
    LayerStyle("nodes", "", (LayerSymbol("", "circle", "#6d6a64", 0.8),), largest_scale=HOUSE_NUMBERS_SCALE),
    LayerStyle(
        "excavations", "", (LayerSymbol("", "fill", "#f2d7a6", 0.5),), LayerLabel("excavation_id", 8.0)
    ),
    LayerStyle("zones", "", (_line("", STATE_COLOURS["isolated"], 0.4, 1.0, 1.0),)),
    LayerStyle("work", "", (_line("", INK, 2.4, 2.0, 1.2),), LayerLabel("main_id")),
    LayerStyle("refused", "", (_line("", INK, 3.0, 0.3, 0.7),)),
    LayerStyle("bypasses", "", (_line("", "#56b4e9", 1.4),), LayerLabel("bypass_id", 11.0, always=True)),
    LayerStyle(
        "customers",
        "effect",
        (
            LayerSymbol("off", "square", CUSTOMER_COLOURS["off"], 2.6),
            LayerSymbol("kept", "circle", CUSTOMER_COLOURS["kept"], 2.6),
        ),
        LayerLabel("number", 7.0, HOUSE_NUMBERS_SCALE),
    ),
    LayerStyle("in_doubt", "", (LayerSymbol("", "diamond", "#e69f00", 3.0),), LayerLabel("id", 8.0)),
    LayerStyle(
        "stops",
        "kind",
        (
            LayerSymbol("bag", "circle", INK, 4.5),
            LayerSymbol("squeeze", "square", INK, 4.5),
            LayerSymbol("valve", "diamond", INK, 5.0),
        ),
        LayerLabel("stop_id", 11.0, always=True),
    ),
    LayerStyle("tappings", "", (LayerSymbol("", "circle", "#ffffff", 1.6),)),
    LayerStyle("gauges", "", (LayerSymbol("", "circle", "#f0e442", 3.2),), LayerLabel("gauge_id", 8.0)),
    LayerStyle(
        "purge_points", "", (LayerSymbol("", "triangle", "#56b4e9", 3.6),), LayerLabel("point_id", 8.0)
    ),
    LayerStyle("fallback", "", (LayerSymbol("", "circle", "#bbbbbb", 4.0),)),
    LayerStyle(
        "as_built_fittings",
        "kind",
        (
            LayerSymbol("squeeze_mark", "square", INK, 2.2),
            LayerSymbol("tapping_tee", "circle", "#bbbbbb", 2.2),
        ),
    ),
    LayerStyle("stations", "", (LayerSymbol("", "square", "#0072b2", 4.0),), LayerLabel("station_id")),
)
