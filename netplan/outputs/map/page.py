"""The page: folium's map with Leaflet inside the file, and nothing else asked of anybody."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, cast

import folium
import geopandas as gpd
from branca.element import Element, Figure
from xstatic.pkg import leaflet

from netplan.outputs.figures import METRIC, Figures
from netplan.outputs.map.data import map_data
from netplan.plan.model import Plan
from netplan.planfile import SolvedState

__all__ = ["OfflineMap", "Verbatim", "leaflet_texts", "page_json", "page_policy", "plan_map"]

# Drawing a large network again for every frame of a zoom would only halt the reader.
_ANIMATED_PIECES = 30_000
_SCRIPTS = ("symbols.js", "layers.js", "panel.js", "start.js")


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


def plan_map(
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    states: Sequence[SolvedState],
    *,
    units: Figures = METRIC,
    tiles: str | None = None,
) -> str:
    """Return the map of a plan as one HTML file that opens without any network.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        As `plan_layers` returns and `read_plan_layers` reads them: a plan folder is enough.
    states : sequence of SolvedState
        One for each option, in the order of the options.
    units : Figures
        How figures are written.
    tiles : str, optional
        Address pattern of an online background (``{z}/{x}/{y}``), which the reader may switch on. Without
        it the page forbids itself every request.
    """
    data = map_data(plan, layers, states, units)
    if tiles is not None:
        data["tiles"] = tiles
    page = OfflineMap(
        location=_middle(layers),
        max_zoom=22,
        zoomSnap=0.25,
        attribution_control=False,
        zoomAnimation=sum(len(state.pipes) for state in states) < _ANIMATED_PIECES,
    )
    figure = cast(Figure, page.get_root())
    figure.title = html.escape(f"Stop plan {data['heading']}")
    figure.header.add_child(Verbatim(page_policy(tiles), "policy"), index=0)
    figure.header.add_child(Verbatim(f"<style>{_leaflet_css()}</style>", "leaflet_css"))
    figure.header.add_child(Verbatim(f"<style>{_own('page.css')}</style>", "page_css"))
    figure.header.add_child(Verbatim(f"<script>{_leaflet_js()}</script>", "leaflet_js"))
    figure.html.add_child(Verbatim(_own("page.html"), "page"))
    figure.html.add_child(
        Verbatim(f'<script type="application/json" id="plan-data">{page_json(data)}</script>', "data")
    )
    figure.script.add_child(Verbatim("\n".join(_own(name) for name in _SCRIPTS), "own_scripts"))
    return str(figure.render())


def _middle(layers: Mapping[str, gpd.GeoDataFrame]) -> list[float]:
    x_low, y_low, x_high, y_high = layers["work"].to_crs("EPSG:4326").total_bounds
    return [float(y_low + y_high) / 2, float(x_low + x_high) / 2]


def page_json(data: dict[str, Any]) -> str:
    """Return data as JSON that may stand inside a script element, whatever its texts hold."""
    # Inside a script element only "<" can end it; & and > go too, so that no reader of HTML can be fooled.
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def page_policy(tiles: str | None) -> str:
    """Return the element by which a page forbids itself every request, but for tiles where they are given."""
    images = "data:"
    if tiles is not None:
        origin = re.match(r"https?://[A-Za-z0-9.{}:-]+", tiles)
        images += " " + re.sub(r"\{[^}]*\}", "*", origin.group(0)) if origin else ""
    rules = f"default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src {images}"
    return f'<meta http-equiv="Content-Security-Policy" content="{rules}">'


def _own(name: str) -> str:
    return resources.files("netplan.outputs.map").joinpath("static", name).read_text(encoding="utf-8")


def leaflet_texts() -> tuple[str, str]:
    """Return Leaflet's style and script as they go into a page."""
    return _leaflet_css(), _leaflet_js()


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
