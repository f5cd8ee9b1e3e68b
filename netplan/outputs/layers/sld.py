"""Layer styles in SLD 1.0, the open standard for styles of map layers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.sax.saxutils import escape

from netplan.outputs.layers.look import Look

__all__ = ["sld_of"]

# SLD counts sizes in pixels of 0.28 mm, by its definition.
_PIXEL_MM: Final = 0.28
_HEAD: Final = (
    '<?xml version="1.0" encoding="UTF-8"?><StyledLayerDescriptor version="1.0.0" '
    'xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">'
)
_WELL_KNOWN: Final = {"circle": "circle", "square": "square", "triangle": "triangle", "diamond": "star"}


def sld_of(layer: str, column: str, looks: Sequence[Look]) -> str:
    """Return the style of a layer as SLD: one rule a look, by the value of a column where there is one."""
    rules = "".join(f"<Rule>{_filter(column, look)}{_symbolizer(look)}</Rule>" for look in looks)
    name = escape(layer)
    return (
        f"{_HEAD}<NamedLayer><Name>{name}</Name><UserStyle><FeatureTypeStyle>{rules}</FeatureTypeStyle>"
        "</UserStyle></NamedLayer></StyledLayerDescriptor>"
    )


def _filter(column: str, look: Look) -> str:
    if not column:
        return ""
    return (
        f"<Name>{escape(look.value)}</Name><ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{escape(column)}"
        f"</ogc:PropertyName><ogc:Literal>{escape(look.value)}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
    )


def _css(name: str, value: object) -> str:
    return f'<CssParameter name="{name}">{value}</CssParameter>'


def _symbolizer(look: Look) -> str:
    size = f"{look.size_mm / _PIXEL_MM:.1f}"
    if look.shape == "line":
        dash = " ".join(f"{d / _PIXEL_MM:.1f}" for d in look.dash_mm)
        pattern = _css("stroke-dasharray", dash) if dash else ""
        stroke = f"{_css('stroke', look.colour)}{_css('stroke-width', size)}{pattern}"
        return f"<LineSymbolizer><Stroke>{stroke}</Stroke></LineSymbolizer>"
    fill = f"<Fill>{_css('fill', look.colour)}</Fill><Stroke>{_css('stroke', '#000000')}</Stroke>"
    if look.shape == "fill":
        return f"<PolygonSymbolizer>{fill}</PolygonSymbolizer>"
    mark = f"<Mark><WellKnownName>{_WELL_KNOWN[look.shape]}</WellKnownName>{fill}</Mark>"
    return f"<PointSymbolizer><Graphic>{mark}<Size>{size}</Size></Graphic></PointSymbolizer>"
