"""Layer styles kept inside plan.gpkg, so that a desktop GIS shows it like the map.

The table ``layer_styles`` holds one style a layer in two notations: SLD, the open standard, and the XML that
the common desktop program reads by itself.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from netplan.outputs.layers.desktop_xml import desktop_xml
from netplan.outputs.layers.look import Look
from netplan.outputs.layers.sld import sld_of
from netplan.outputs.palette import CUSTOMER_COLOURS, INK, STATE_COLOURS

__all__ = ["STYLES", "Style", "write_styles"]


@dataclass(frozen=True, slots=True)
class Style:
    """The style of a layer: its classes by the values of a column ('' for one look for all)."""

    layer: str
    column: str
    looks: tuple[Look, ...]


def _line(value: str, colour: str, size: float, *dash: float) -> Look:
    return Look(value, "line", colour, size, dash)


STYLES: Final = (
    Style("water", "", (Look("", "fill", "#cfe3ee", 0.2),)),
    Style("streets", "", (_line("", "#d3ccba", 1.8),)),
    Style("buildings", "", (Look("", "fill", "#e3dccd", 0.2),)),
    Style("rail", "", (_line("", "#6d6a64", 0.9, 3.0, 1.0),)),
    Style(
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
    Style("zones", "", (_line("", STATE_COLOURS["isolated"], 0.4, 1.0, 1.0),)),
    Style("work", "", (_line("", INK, 2.4, 2.0, 1.2),)),
    Style("refused", "", (_line("", INK, 3.0, 0.3, 0.7),)),
    Style("bypasses", "", (_line("", "#56b4e9", 1.4),)),
    Style(
        "customers",
        "effect",
        (
            Look("off", "square", CUSTOMER_COLOURS["off"], 2.6),
            Look("kept", "circle", CUSTOMER_COLOURS["kept"], 2.6),
        ),
    ),
    Style("in_doubt", "", (Look("", "diamond", "#e69f00", 3.0),)),
    Style(
        "stops",
        "kind",
        (
            Look("bag", "circle", INK, 4.5),
            Look("squeeze", "square", INK, 4.5),
            Look("valve", "diamond", INK, 5.0),
        ),
    ),
    Style("tappings", "", (Look("", "circle", "#ffffff", 1.6),)),
    Style("gauges", "", (Look("", "circle", "#f0e442", 3.2),)),
    Style("purge_points", "", (Look("", "triangle", "#56b4e9", 3.6),)),
    Style("fallback", "", (Look("", "circle", "#bbbbbb", 4.0),)),
    Style("stations", "", (Look("", "square", "#0072b2", 4.0),)),
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
                looks = sld_of(style.layer, style.column, style.looks)
                database.execute(_ROW, (style.layer, desktop_xml(style.column, style.looks), looks, moment))
        database.execute(_CONTENTS, (moment,))
        database.commit()
