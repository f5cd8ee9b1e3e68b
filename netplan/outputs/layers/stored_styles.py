"""Styles kept inside plan.gpkg, so that a desktop GIS shows it like the map: one option at a time.

The table ``layer_styles`` holds styles of a layer in two notations: SLD 1.0, the open standard, and the XML
that desktop programs read by themselves. The default style shows option 1; each further option has a style
of its own.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Final

import pandas as pd

from netplan.outputs.layers.desktop_style import desktop_xml
from netplan.outputs.layers.layer_styles import STYLES, LayerStyle
from netplan.outputs.layers.sld_style import sld_of

__all__ = ["write_styles"]

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
VALUES ('', '', ?, 'geom', ?, ?, ?, ?, ?, '', '', ?)"""
_CONTENTS: Final = """
INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)
VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?)"""


def write_styles(path: Path, layers: Mapping[str, pd.DataFrame], moment: str) -> None:
    """Write the styles of the layers that a GeoPackage holds into it.

    Parameters
    ----------
    path : Path
        The GeoPackage.
    layers : mapping of str to DataFrame
        Its layers. One with a column `option` has a style for each option, the first the default.
    moment : str
        What is written as the time of change.
    """
    options = sorted({int(rank) for rows in layers.values() if "option" in rows for rank in rows["option"]})
    with closing(sqlite3.connect(path)) as database:
        database.execute(_TABLE)
        for style in (style for style in STYLES if style.layer in layers):
            of_option = options if "option" in layers[style.layer] else [None]
            for k, rank in enumerate(of_option):
                database.execute(_ROW, _row(style, rank, moment, is_default=k == 0))
        database.execute(_CONTENTS, (moment,))
        database.commit()


def _row(style: LayerStyle, option: int | None, moment: str, *, is_default: bool) -> tuple[object, ...]:
    name = "plan" if option is None else f"option {option}"
    description = "as on the map" if option is None else f"option {option} alone, as on the map"
    notations = desktop_xml(style, option), sld_of(style, option)
    return style.layer, name, *notations, int(is_default), description, moment
