"""Layer styles in the XML that the common desktop GIS reads from a GeoPackage by itself."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

from netplan.outputs.layers.look import Look

__all__ = ["desktop_xml"]


def desktop_xml(column: str, looks: Sequence[Look]) -> str:
    """Return the style of a layer: one symbol a look, by the value of a column where there is one."""
    symbols = "".join(_symbol(k, look) for k, look in enumerate(looks))
    if not column:
        renderer = (
            f'<renderer-v2 type="singleSymbol" symbollevels="0"><symbols>{symbols}</symbols></renderer-v2>'
        )
    else:
        rows = "".join(
            f'<category value={quoteattr(look.value)} label={quoteattr(look.value)} symbol="{k}" '
            'render="true"/>'
            for k, look in enumerate(looks)
        )
        renderer = (
            f'<renderer-v2 type="categorizedSymbol" attr={quoteattr(column)} symbollevels="0">'
            f"<categories>{rows}</categories><symbols>{symbols}</symbols></renderer-v2>"
        )
    return f'<!DOCTYPE qgis><qgis version="3.28" styleCategories="Symbology">{renderer}</qgis>'


def _symbol(k: int, look: Look) -> str:
    red, green, blue = (int(look.colour[i : i + 2], 16) for i in (1, 3, 5))
    colour = f"{red},{green},{blue},255"
    if look.shape == "line":
        kind, values = (
            "line",
            [("line_color", colour), ("line_width", f"{look.size_mm}"), ("line_width_unit", "MM")],
        )
        values += [
            ("capstyle", "flat"),
            ("line_style", "solid"),
            ("use_custom_dash", str(int(bool(look.dash_mm)))),
        ]
        values += [("customdash", ";".join(map(str, look.dash_mm))), ("customdash_unit", "MM")]
    elif look.shape == "fill":
        kind, values = "fill", [("color", colour), ("style", "solid"), ("outline_color", "150,145,135,255")]
        values += [("outline_width", f"{look.size_mm}"), ("outline_style", "solid")]
    else:
        kind, values = (
            "marker",
            [("name", look.shape), ("color", colour), ("size", f"{look.size_mm}"), ("size_unit", "MM")],
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
