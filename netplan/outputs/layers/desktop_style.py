"""The style of a layer as the XML that desktop programs read from the table ``layer_styles``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.sax.saxutils import quoteattr

from netplan.outputs.layers.layer_styles import INK, LayerLabel, LayerStyle, LayerSymbol

__all__ = ["desktop_xml"]

# Placements of labels in numbers of the notation: beside a point, along a line, level across a line.
_AROUND_POINT: Final = ("6", "0")
_ALONG_LINE: Final = ("2", "2")
_ON_LINE: Final = ("4", "0")


def desktop_xml(style: LayerStyle, option: int | None) -> str:
    """Return the style of a layer: one rule a class, and its labels.

    Parameters
    ----------
    style : LayerStyle
    option : int or None
        Rank of the option whose rows alone are shown; None: all rows.
    """
    symbols = "".join(_symbol(k, symbol) for k, symbol in enumerate(style.symbols))
    rules = "".join(
        f'<rule key="{k}" symbol="{k}" label={quoteattr(symbol.value or style.layer)}'
        f"{_filter(style.column, symbol.value, option)}/>"
        for k, symbol in enumerate(style.symbols)
    )
    labels = "" if style.label is None else _labels(style.label, style.symbols[0].shape, option)
    scale = style.largest_scale
    from_scale = f' hasScaleBasedVisibilityFlag="1" minScale="{scale}" maxScale="0"' if scale else ""
    return (
        f'<!DOCTYPE qgis><qgis version="3.28" styleCategories="Symbology|Labeling|Rendering"'
        f' labelsEnabled="{int(bool(labels))}"{from_scale}>'
        f'<renderer-v2 type="RuleRenderer" symbollevels="0"><rules key="root">{rules}</rules>'
        f"<symbols>{symbols}</symbols></renderer-v2>{labels}</qgis>"
    )


def _filter(column: str, value: str, option: int | None) -> str:
    parts = [] if option is None else [f'"option" = {option}']
    if column:
        text = value.replace("'", "''")
        parts.append(f"\"{column}\" = '{text}'")
    return f" filter={quoteattr(' AND '.join(parts))}" if parts else ""


def _labels(label: LayerLabel, shape: str, option: int | None) -> str:
    red, green, blue = _channels(INK)
    on_line = _ON_LINE if label.always else _ALONG_LINE
    kind, flags = on_line if shape == "line" else _AROUND_POINT
    scale = f' scalemindenom="0" scalemaxdenom="{label.largest_scale}"' if label.largest_scale else ""
    return (
        f'<labeling type="rule-based"><rules key="labels"><rule key="label"{scale}{_filter("", "", option)}>'
        f'<settings calloutType="simple"><text-style fieldName={quoteattr(label.column)} isExpression="0"'
        f' fontSize="{label.size_pt}" fontSizeUnit="Point" fontWeight="75"'
        f' textColor="{red},{green},{blue},255" textOpacity="1">'
        '<text-buffer bufferDraw="1" bufferSize="0.8" bufferSizeUnits="MM" bufferColor="255,255,255,255"'
        ' bufferOpacity="1"/></text-style>'
        f'<placement placement="{kind}" placementFlags="{flags}" dist="0.8" distUnits="MM" priority="8"/>'
        f'<rendering drawLabels="1" obstacle="1" displayAll="{int(label.always)}"/>'
        "</settings></rule></rules></labeling>"
    )


def _channels(colour: str) -> tuple[int, int, int]:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return red, green, blue


def _symbol(k: int, symbol: LayerSymbol) -> str:
    red, green, blue = _channels(symbol.colour)
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
