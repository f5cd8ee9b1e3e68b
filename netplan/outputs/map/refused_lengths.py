"""Lengths of main where some method of stopping cannot be used, with every reason once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from netplan.outputs.map.lat_lon import lines_of
from netplan.outputs.map.popups import Rows, cell_text
from netplan.outputs.map.small_marks import records_of, rows_of
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Option

__all__ = ["refused_lengths", "refused_metres"]

Layers = Mapping[str, gpd.GeoDataFrame]
Marks = list[dict[str, Any]]


def refused_lengths(option: Option, layers: Layers, units: Figures) -> Marks:
    """Return the lengths where some method cannot be used, one line with all reasons for each length.

    That most lengths have no valve is seen without saying so.
    """
    rows = _told(option, layers)
    at_span: dict[tuple[str, float, float], dict[str, Any]] = {}
    for row, line in zip(records_of(rows), lines_of(rows), strict=True):
        main, span = cell_text(row["main_id"]), (row["from_m"], row["to_m"])
        say: Rows = [("main", f"{main} {units.length(span[0])} – {units.length(span[1])}")]
        thing = at_span.setdefault((main, *span), {"line": line, "methods": [], "rows": say})
        method, why = (
            cell_text(row["method"]),
            (f"no {cell_text(row['method'])}", units.sentence(cell_text(row["reason"]))),
        )
        if method not in thing["methods"]:
            thing["methods"].append(method)
        if why not in thing["rows"]:  # one for each side, or for each stop beyond
            thing["rows"].append(why)
    return [
        {"line": thing["line"], "title": f"No {' or '.join(thing['methods'])} here", "rows": thing["rows"]}
        for thing in at_span.values()
    ]


def refused_metres(option: Option, layers: Layers, units: Figures) -> str:
    """Return how much main that is, what several methods or stops refuse counted once."""
    by_main: dict[str, list[tuple[float, float]]] = {}
    for row in records_of(_told(option, layers)):
        by_main.setdefault(cell_text(row["main_id"]), []).append((row["from_m"], row["to_m"]))
    total_m = 0.0
    for spans in by_main.values():
        reached = float("-inf")
        for low, high in sorted(spans):
            total_m += max(high - max(low, reached), 0.0)
            reached = max(reached, high)
    return units.length(total_m) if total_m > 0 else ""


def _told(option: Option, layers: Layers) -> gpd.GeoDataFrame:
    """Return the rows of the layer that are shown; none of a plan of 0.1.0, where it is empty."""
    if "option" not in layers["refused"]:
        return layers["refused"].iloc[:0].assign(code="")
    rows = rows_of(layers, "refused", option.rank)
    return rows[rows["code"] != "not-a-valve"].reset_index(drop=True)
