"""Layer styles kept inside plan.gpkg, so that a desktop GIS shows it like the map.

The table ``layer_styles`` holds one style a layer in two notations: SLD 1.0, the open standard, and the XML
that the common desktop program reads by itself. Colours are of the palette of Okabe and Ito, told apart by
colour-blind eyes too; colour is never alone: shape, letter or line pattern say the same.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape, quoteattr

__all__ = [
    "CUSTOMER_COLOURS",
    "INK",
    "STATE_COLOURS",
    "STYLES",
    "LayerStyle",
    "LayerSymbol",
    "desktop_xml",
    "sld_of",
    "write_styles",
]


INK: Final = "#1b1b1b"
STATE_COLOURS: Final = {
    "live": "#0072b2",
    "isolated": "#d55e00",
    "stranded": "#cc79a7",
    "fed": "#009e73",
    "closed": "#1b1b1b",
}
CUSTOMER_COLOURS: Final = {"off": "#d55e00", "kept": "#009e73"}


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
class LayerStyle:
    """The style of a layer: its classes by the values of a column ('' for one symbol of all)."""

    layer: str
    column: str
    symbols: tuple[LayerSymbol, ...]


def _line(value: str, colour: str, size: float, *dash: float) -> LayerSymbol:
    return LayerSymbol(value, "line", colour, size, dash)


STYLES: Final = (
    LayerStyle("water", "", (LayerSymbol("", "fill", "#cfe3ee", 0.2),)),
    LayerStyle("streets", "", (_line("", "#d3ccba", 1.8),)),
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
    LayerStyle("excavations", "", (LayerSymbol("", "fill", "#f2d7a6", 0.5),)),
    LayerStyle("zones", "", (_line("", STATE_COLOURS["isolated"], 0.4, 1.0, 1.0),)),
    LayerStyle("work", "", (_line("", INK, 2.4, 2.0, 1.2),)),
    LayerStyle("refused", "", (_line("", INK, 3.0, 0.3, 0.7),)),
    LayerStyle("bypasses", "", (_line("", "#56b4e9", 1.4),)),
    LayerStyle(
        "customers",
        "effect",
        (
            LayerSymbol("off", "square", CUSTOMER_COLOURS["off"], 2.6),
            LayerSymbol("kept", "circle", CUSTOMER_COLOURS["kept"], 2.6),
        ),
    ),
    LayerStyle("in_doubt", "", (LayerSymbol("", "diamond", "#e69f00", 3.0),)),
    LayerStyle(
        "stops",
        "kind",
        (
            LayerSymbol("bag", "circle", INK, 4.5),
            LayerSymbol("squeeze", "square", INK, 4.5),
            LayerSymbol("valve", "diamond", INK, 5.0),
        ),
    ),
    LayerStyle("tappings", "", (LayerSymbol("", "circle", "#ffffff", 1.6),)),
    LayerStyle("gauges", "", (LayerSymbol("", "circle", "#f0e442", 3.2),)),
    LayerStyle("purge_points", "", (LayerSymbol("", "triangle", "#56b4e9", 3.6),)),
    LayerStyle("fallback", "", (LayerSymbol("", "circle", "#bbbbbb", 4.0),)),
    LayerStyle(
        "as_built_fittings",
        "kind",
        (
            LayerSymbol("squeeze_mark", "square", INK, 2.2),
            LayerSymbol("tapping_tee", "circle", "#bbbbbb", 2.2),
        ),
    ),
    LayerStyle("stations", "", (LayerSymbol("", "square", "#0072b2", 4.0),)),
)

_TABLE: Final = """
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256),
  styleName TEXT(30), styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30),
  ui TEXT(30), update_time DATETIME
)"""
_ROW: Final = """
INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName,
  styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)
VALUES ('', '', ?, 'geom', 'plan', ?, ?, 1, 'as on the map', '', '', ?)"""
_CONTENTS: Final = """
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)
VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?)"""


def write_styles(path: Path, layers: Iterable[str], moment: str) -> None:
    """Write the styles of the layers that a GeoPackage holds into it.

    Parameters
    ----------
    path : Path
        The GeoPackage.
    layers : iterable of str
        Its layers.
    moment : str
        What is written as the time of change.
    """
    present = set(layers)
    with closing(sqlite3.connect(path)) as database:
        database.execute(_TABLE)
        for style in STYLES:
            if style.layer in present:
                sld = sld_of(style.layer, style.column, style.symbols)
                database.execute(_ROW, (style.layer, desktop_xml(style.column, style.symbols), sld, moment))
        database.execute(_CONTENTS, (moment,))
        database.commit()


# SLD counts sizes in pixels of 0.28 mm, by its definition.
_PIXEL_MM: Final = 0.28
_HEAD: Final = (
    '<?xml version="1.0" encoding="UTF-8"?><StyledLayerDescriptor version="1.0.0" '
    'xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">'
)
_WELL_KNOWN: Final = {"circle": "circle", "square": "square", "triangle": "triangle", "diamond": "star"}


def sld_of(layer: str, column: str, symbols: Sequence[LayerSymbol]) -> str:
    """Return the style of a layer as SLD: one rule a class, by the value of a column where there is one."""
    rules = "".join(f"<Rule>{_filter(column, symbol)}{_symbolizer(symbol)}</Rule>" for symbol in symbols)
    name = escape(layer)
    return (
        f"{_HEAD}<NamedLayer><Name>{name}</Name><UserStyle><FeatureTypeStyle>{rules}</FeatureTypeStyle>"
        "</UserStyle></NamedLayer></StyledLayerDescriptor>"
    )


def _filter(column: str, symbol: LayerSymbol) -> str:
    if not column:
        return ""
    return (
        f"<Name>{escape(symbol.value)}</Name><ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{escape(column)}"
        f"</ogc:PropertyName><ogc:Literal>{escape(symbol.value)}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
    )


def _css(name: str, value: object) -> str:
    return f'<CssParameter name="{name}">{value}</CssParameter>'


def _symbolizer(symbol: LayerSymbol) -> str:
    size = f"{symbol.size_mm / _PIXEL_MM:.1f}"
    if symbol.shape == "line":
        dash = " ".join(f"{d / _PIXEL_MM:.1f}" for d in symbol.dash_mm)
        pattern = _css("stroke-dasharray", dash) if dash else ""
        stroke = f"{_css('stroke', symbol.colour)}{_css('stroke-width', size)}{pattern}"
        return f"<LineSymbolizer><Stroke>{stroke}</Stroke></LineSymbolizer>"
    fill = f"<Fill>{_css('fill', symbol.colour)}</Fill><Stroke>{_css('stroke', '#000000')}</Stroke>"
    if symbol.shape == "fill":
        return f"<PolygonSymbolizer>{fill}</PolygonSymbolizer>"
    mark = f"<Mark><WellKnownName>{_WELL_KNOWN[symbol.shape]}</WellKnownName>{fill}</Mark>"
    return f"<PointSymbolizer><Graphic>{mark}<Size>{size}</Size></Graphic></PointSymbolizer>"


def desktop_xml(column: str, symbols: Sequence[LayerSymbol]) -> str:
    """Return the style of a layer: one symbol a class, by the value of a column where there is one."""
    symbol_xml = "".join(_symbol(k, symbol) for k, symbol in enumerate(symbols))
    if not column:
        renderer = (
            f'<renderer-v2 type="singleSymbol" symbollevels="0"><symbols>{symbol_xml}</symbols></renderer-v2>'
        )
    else:
        rows = "".join(
            f'<category value={quoteattr(symbol.value)} label={quoteattr(symbol.value)} symbol="{k}" '
            'render="true"/>'
            for k, symbol in enumerate(symbols)
        )
        renderer = (
            f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(column)} symbollevels="0">'
            f"<categories>{rows}</categories><symbols>{symbol_xml}</symbols></renderer-v2>"
        )
    return f'<!DOCTYPE qgis><qgis version="3.28" styleCategories="Symbology">{renderer}</qgis>'


def _symbol(k: int, symbol: LayerSymbol) -> str:
    red, green, blue = (int(symbol.colour[i : i + 2], 16) for i in (1, 3, 5))
    colour = f"{red},{green},{blue},255"
    if symbol.shape == "line":
        kind, values = (
            "line",
            [("line_color", colour), ("line_width", f"{symbol.size_mm}"), ("line_width_unit", "MM")],
        )
        values += [
            ("capstyle", "flat"),
            ("line_style", "solid"),
            ("use_custom_dash", str(int(bool(symbol.dash_mm)))),
        ]
        values += [("customdash", ";".join(map(str, symbol.dash_mm))), ("customdash_unit", "MM")]
    elif symbol.shape == "fill":
        kind, values = "fill", [("color", colour), ("style", "solid"), ("outline_color", "150,145,135,255")]
        values += [("outline_width", f"{symbol.size_mm}"), ("outline_style", "solid")]
    else:
        kind, values = (
            "marker",
            [("name", symbol.shape), ("color", colour), ("size", f"{symbol.size_mm}"), ("size_unit", "MM")],
        )
        values += [("outline_color", "0,0,0,255"), ("outline_width", "0.3"), ("outline_style", "solid")]
    name = {"line": "SimpleLine", "fill": "SimpleFill", "marker": "SimpleMarker"}[kind]
    return (
        f'<symbol type="{kind}" name="{k}" alpha="1" clip_to_extent="1">'
        f'<layer class="{name}" enabled="1" pass="0" locked="0">{_options(values)}</layer></symbol>'
    )


def _options(values: Sequence[tuple[str, str]]) -> str:
    rows = "".join(f'<Option type="QString" name="{n}" value={quoteattr(v)}/>' for n, v in values)
    return f'<Option type="Map">{rows}</Option>'
