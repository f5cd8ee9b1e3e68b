"""One offline map page for plans, screens and stages: Leaflet inside the file, no request to anybody."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final, cast

import folium
from branca.element import Element, Figure
from xstatic.pkg import leaflet

__all__ = ["MapPage", "static_text"]


PAPER: Final = {"metric": ("A3 landscape", "278mm"), "us": ("17in 11in", "260mm")}
"""The sheet that a map is printed on, by system of units, and how high its map is, as CSS writes them."""


class Verbatim(Element):
    """Text that goes into the page as it is: our own files, never text from the data."""

    def __init__(self, text: str, name: str) -> None:
        super().__init__()
        self._name = name
        self._id = name
        self.text = text

    def render(self, **_: Any) -> str:
        """Return the text."""
        return self.text


class OfflineMap(folium.Map):
    """A folium map that asks no server for scripts, styles or tiles."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - folium's own name and kind
    default_css: list[tuple[str, str]] = []  # noqa: RUF012

    def __init__(self, **options: Any) -> None:
        super().__init__(tiles=None, zoom_control=False, zoom_start=17, **options)
        # folium draws random names; the same plan must give the same bytes.
        self._id = "plan"


@dataclass(frozen=True, slots=True)
class MapPage:
    """A page with a map and a panel beside it.

    Parameters
    ----------
    title : str
        Title of the page.
    label, kicker : str
        What the panel is called, and the line above its heading; no text from the data.
    panel : str
        Name of the file with the panel's own elements.
    style : str
        Name of the file with styles beside those that all pages share.
    scripts : tuple of str
        Names of the files with its own scripts; the last one starts the page.
    place : tuple of float
        Latitude and longitude that the map opens at [°].
    data : dict
        What the scripts draw; `heading`, `window` and `caution` among it.
    tiles : str, optional
        Address pattern of an online background that the reader may switch on.
    options : mapping of str to value
        Options of the map.
    search : dict, optional
        What the search finds, by kind a part as `search_index.search_part` returns it. It is read when
        somebody searches, not when the page opens.
    """

    title: str
    label: str
    kicker: str
    panel: str
    style: str
    scripts: tuple[str, ...]
    place: tuple[float, float]
    data: dict[str, Any]
    tiles: str | None = None
    options: Mapping[str, Any] = field(default_factory=dict)
    search: dict[str, Any] | None = None

    def html(self) -> str:
        """Return the page as one file. Without tiles it forbids itself every request."""
        page = OfflineMap(
            location=list(self.place), max_zoom=22, zoomSnap=0.25, attribution_control=False, **self.options
        )
        figure = cast(Figure, page.get_root())
        figure.title = html.escape(self.title)
        figure.header.add_child(Verbatim(_policy(self.tiles), "policy"), index=0)
        figure.header.add_child(Verbatim(f"<style>{_leaflet_css()}</style>", "leaflet_css"))
        css = static_text("base.css") + static_text("search.css") + static_text(self.style)
        sheet, height = PAPER[str(self.data["units"])]
        css += static_text("printing.css").replace("PAPER_SIZE", sheet).replace("PAPER_HEIGHT", height)
        figure.header.add_child(Verbatim(f"<style>{css}</style>", "page_css"))
        figure.header.add_child(Verbatim(f"<script>{_leaflet_js()}</script>", "leaflet_js"))
        shell = static_text("shell.html").format(
            label=self.label, kicker=self.kicker, body=static_text(self.panel)
        )
        figure.html.add_child(Verbatim(shell, "page"))
        data = f'<script type="application/json" id="page-data">{_json(self.data)}</script>'
        figure.html.add_child(Verbatim(data, "data"))
        found = f'<script type="application/json" id="search-data">{_json(self.search or {})}</script>'
        figure.html.add_child(Verbatim(found, "search_data"))
        scripts = (static_text(name) for name in ("base.js", *self.scripts))
        figure.script.add_child(Verbatim("\n".join(scripts), "own_scripts"))
        return str(figure.render()).replace("<html>", '<html lang="en">', 1)


def _json(data: dict[str, Any]) -> str:
    """Return data as JSON that may stand inside a script element, whatever its texts hold."""
    # Inside a script element only "<" can end it; & and > go too, so that no reader of HTML can be fooled.
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _policy(tiles: str | None) -> str:
    """Return the element by which a page forbids itself every request, but for tiles where they are given."""
    images = "data:"
    if tiles is not None:
        origin = re.match(r"https?://[A-Za-z0-9.{}:-]+", tiles)
        images += " " + re.sub(r"\{[^}]*\}", "*", origin.group(0)) if origin else ""
    rules = f"default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src {images}"
    return f'<meta http-equiv="Content-Security-Policy" content="{rules}">'


def static_text(name: str) -> str:
    """Return a file of the page by name: styles, panels, and the scripts that draw symbols and layers."""
    return resources.files("netplan.outputs.map").joinpath("static", name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _leaflet_js() -> str:
    text = (Path(leaflet.BASE_DIR) / "leaflet.js").read_text(encoding="utf-8")
    text = re.sub(r"//# sourceMappingURL=.*", "", text)
    if "</script" in text.lower():
        raise RuntimeError("Leaflet's script cannot be put into a page as it is")
    return text


@lru_cache(maxsize=1)
def _leaflet_css() -> str:
    text = (Path(leaflet.BASE_DIR) / "leaflet.css").read_text(encoding="utf-8")
    # Its pictures belong to markers and a control that this page does not use.
    return re.sub(r"url\([^)]*\)", "none", text)
