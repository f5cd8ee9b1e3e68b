"""The three pictures of bypasses sized anew: drop, weather, and the way to the worst customer."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import numpy as np

from netplan.core.constants import PA_PER_MBAR
from netplan.core.errors import BadInputError
from netplan.feeds import (
    FeedSize,
    drop_curve,
    feed_links,
    pressure_by_weather,
    sizes_in_order,
    worst_path,
)
from netplan.outputs.charts.chart_format import write_chart
from netplan.outputs.charts.feed_charts import PathMark, drop_chart, path_chart, weather_chart
from netplan.outputs.figures_for_rules import figures_for_rules
from netplan.outputs.number_format import METRIC, Figures
from netplan.planning.resize import Resized, required_mbar, size_words

__all__ = ["write_resized_charts"]

WEATHER_C: Final = tuple(float(t) for t in np.arange(-15.0, 16.0, 2.5))
"""Air temperatures of the weather chart, besides that sized for [°C]."""


def write_resized_charts(found: Resized, folder: Path, *, units: Figures = METRIC) -> tuple[Path, ...]:
    """Write the pictures as SVG and PNG into a folder, made if need be, and return their paths.

    ``B1-drop`` and ``B1-weather`` for each bypass, and ``worst-path``. Where no size holds they show the
    widest of the list.

    Raises
    ------
    BadInputError
        When the folder cannot be written to.
    """
    units = figures_for_rules(units, found.rules.values())
    paths: list[Path] = []
    try:
        folder.mkdir(exist_ok=True)
        for place in range(len(found.feeds)):
            paths += _drop(found, place, folder, units)
            paths += _weather(found, place, folder, units)
        paths += _path(found, folder, units)
    except OSError as error:
        raise BadInputError(
            f"{folder}: cannot be written ({error.strerror or error}); check the path"
        ) from None
    return tuple(paths)


def _shown(found: Resized, place: int) -> FeedSize:
    """Return the size of a bypass that is drawn as chosen: where none is needed, the smallest."""
    return found.in_use[place] or next(sizes_in_order(found.feeds[place], found.rules))


def _drop(found: Resized, place: int, folder: Path, units: Figures) -> tuple[Path, ...]:
    size = _shown(found, place)
    row = next(row for row in found.rows[place] if row.size == size)
    figures = row.figures
    if figures is None or not math.isfinite(figures.drop_pa):
        return ()
    curves = [
        drop_curve(
            other, figures.pressure_from_pa_gauge, found.case.solver.conditions, found.rules, points=121
        )
        for other in sizes_in_order(found.feeds[place], found.rules, size.parallel)
    ]
    title = f"B{place + 1}: pressure lost in the bypass, {units.hose_sizes(size_words(size))} in use"
    chart = drop_chart(curves, figures.flow_m3_per_s_std, figures.drop_pa, units, title)
    return write_chart(chart, folder, f"B{place + 1}-drop")


def _weather(found: Resized, place: int, folder: Path, units: Figures) -> tuple[Path, ...]:
    others = [size for k, size in enumerate(found.in_use) if size is not None and k != place]
    shown = _shown(found, place)
    options = [("none", tuple(others))] + [
        (units.hose_sizes(size_words(size)), (*others, size))
        for size in sizes_in_order(found.feeds[place], found.rules, shown.parallel)
    ]
    air = sorted({*WEATHER_C, found.air_temp_c})
    curves = pressure_by_weather(found.case, found.problem.loads, options, air, found.rules)
    required = required_mbar(found.rules) * PA_PER_MBAR
    minimum = found.rules.pressure.minimum_mbar * PA_PER_MBAR
    chart = weather_chart(
        curves, minimum, required, found.air_temp_c, units, f"B{place + 1}: until how cold it holds"
    )
    return write_chart(chart, folder, f"B{place + 1}-weather")


def _path(found: Resized, folder: Path, units: Figures) -> tuple[Path, ...]:
    sizes = [size for size in found.in_use if size is not None]
    verdict = found.case.judge(sizes, found.rules)
    if verdict.least_inlet < 0 or not math.isfinite(verdict.least_pa_gauge):
        return ()
    problem, network = found.problem, found.case.solver.network
    inlet = verdict.least_inlet
    node = int(problem.inlets[inlet])
    whole = network.with_links(network.links.joined_with(feed_links(sizes, found.rules)))
    way = worst_path(whole, verdict.state, node)
    at = {int(n): float(d) for n, d in zip(way.node, way.distance_m, strict=True)}
    names = [(int(n), name) for n, name in zip(network.station_node, problem.station_id, strict=True)]
    names += [(feed.to_node, feed.label) for feed in found.feeds]
    names.append((node, problem.inlet_customer[inlet]))
    marks = [PathMark(at[n], name) for n, name in names if n in at]
    title = "Pressure on the way to the worst customer"
    if found.air_temp_c != problem.air_temp_c:
        title += f" (before: as planned for {units.temperature(problem.air_temp_c)})"
    chart = path_chart(
        way.distance_m,
        problem.network.before_pa_gauge[way.node],
        verdict.state.pressure_pa_gauge[way.node],
        found.rules.pressure.minimum_mbar * PA_PER_MBAR,
        required_mbar(found.rules) * PA_PER_MBAR,
        marks,
        units,
        title,
    )
    return write_chart(chart, folder, "worst-path")
