"""The style of a layer as SLD 1.0, the open standard (OGC 02-070, Styled Layer Descriptor)."""

from __future__ import annotations

from typing import Final
from xml.sax.saxutils import escape

from netplan.outputs.layers.layer_styles import INK, LayerLabel, LayerStyle, LayerSymbol

__all__ = ["sld_of"]

# SLD counts sizes in pixels of 0.28 mm, by its definition.
_PIXEL_MM: Final = 0.28
_POINT_MM: Final = 25.4 / 72.0
_HEAD: Final = (
    '<?xml version="1.0" encoding="UTF-8"?><StyledLayerDescriptor version="1.0.0" '
    'xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">'
)
_WELL_KNOWN: Final = {"circle": "circle", "square": "square", "triangle": "triangle", "diamond": "star"}


def sld_of(style: LayerStyle, option: int | None) -> str:
    """Return the style of a layer: one rule a class, and one for its labels.

    Parameters
    ----------
    style : LayerStyle
    option : int or None
        Rank of the option whose rows alone are shown; None: all rows.
    """
    rules = "".join(
        f"<Rule>{_name(symbol.value)}{_filter(style.column, symbol.value, option)}"
        f"{_from_scale(style.largest_scale)}{_symbolizer(symbol)}</Rule>"
        for symbol in style.symbols
    )
    label = style.label
    if label is not None:
        rules += (
            f"<Rule><Name>{escape(label.column)}</Name>{_filter('', '', option)}"
            f"{_from_scale(label.largest_scale)}{_text(label)}</Rule>"
        )
    return (
        f"{_HEAD}<NamedLayer><Name>{escape(style.layer)}</Name><UserStyle><FeatureTypeStyle>{rules}"
        "</FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>"
    )


def _name(value: str) -> str:
    return f"<Name>{escape(value)}</Name>" if value else ""


def _filter(column: str, value: str, option: int | None) -> str:
    equal = [] if option is None else [_equal("option", str(option))]
    equal += [_equal(column, value)] if column else []
    if not equal:
        return ""
    held = f"<ogc:And>{''.join(equal)}</ogc:And>" if len(equal) > 1 else equal[0]
    return f"<ogc:Filter>{held}</ogc:Filter>"


def _equal(column: str, value: str) -> str:
    return (
        f"<ogc:PropertyIsEqualTo><ogc:PropertyName>{escape(column)}</ogc:PropertyName>"
        f"<ogc:Literal>{escape(value)}</ogc:Literal></ogc:PropertyIsEqualTo>"
    )


def _from_scale(scale: int) -> str:
    return f"<MaxScaleDenominator>{scale}</MaxScaleDenominator>" if scale else ""


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


def _text(label: LayerLabel) -> str:
    size = f"{label.size_pt * _POINT_MM / _PIXEL_MM:.1f}"
    halo = f"<Halo><Radius>2</Radius><Fill>{_css('fill', '#ffffff')}</Fill></Halo>"
    return (
        f"<TextSymbolizer><Label><ogc:PropertyName>{escape(label.column)}</ogc:PropertyName></Label>"
        f"<Font>{_css('font-size', size)}</Font>{halo}<Fill>{_css('fill', INK)}</Fill></TextSymbolizer>"
    )
