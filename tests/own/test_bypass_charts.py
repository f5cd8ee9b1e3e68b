"""Pictures of feeds: what is drawn, in which unit, same bytes, text as text (own)."""

from __future__ import annotations

import struct
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from netplan.feeds import (
    Feed,
    FeedCase,
    FeedKind,
    Inlets,
    SizedFeed,
    drop_curve,
    feed_links,
    pressure_by_weather,
    size_ladder,
    sizes_in_order,
    worst_path,
)
from netplan.hydraulics import FlowConditions, FlowSolver
from netplan.outputs.charts import (
    Chart,
    PathMark,
    chart_png,
    chart_svg,
    drop_chart,
    path_chart,
    weather_chart,
    write_chart,
)
from netplan.outputs.charts.chart import ChartLine, ticks
from netplan.outputs.number_format import US
from netplan.reference.gas import named_gas
from tests.support.feed_cases import RING_DEMAND, ring, ring_rules, smallest_feed

RULES = ring_rules([38.0, 51.4, 63.0])
CONDITIONS = FlowConditions(named_gas("natural gas"))
BYPASS = Feed(FeedKind.BYPASS, "2>5", 1, 4, 12.0)


def _case() -> FeedCase:
    inlets = Inlets(np.arange(1, 6), np.full(5, 1900.0))
    return FeedCase(FlowSolver(ring("e"), CONDITIONS), RING_DEMAND, inlets)


def _sized() -> SizedFeed:
    sized = smallest_feed(_case(), BYPASS, RULES)
    assert isinstance(sized, SizedFeed)
    return sized


def test_the_working_point_lies_on_the_curve_of_its_size() -> None:
    sized = _sized()
    curve = drop_curve(sized.size, sized.pressure_from_pa_gauge, CONDITIONS, RULES, points=2001)
    drop = np.interp(sized.flow_m3_per_s_std, curve.flow_m3_per_s_std, curve.drop_pa)
    assert drop == pytest.approx(sized.drop_pa, rel=1e-4)
    assert (np.diff(curve.drop_pa) > 0).all()
    # The curve ends at the velocity limit: 20 m/s where the working point has what its figure says.
    at_limit = sized.flow_m3_per_s_std * RULES.bypass.velocity_max_m_s / sized.velocity_m_per_s
    assert curve.flow_m3_per_s_std[-1] == pytest.approx(at_limit, rel=1e-6)


def test_pressure_by_weather_falls_with_cold_and_crosses_where_it_fails() -> None:
    case, rules = _case(), RULES

    def demand_at(air_temp_c: float) -> np.ndarray:
        return RING_DEMAND * max(0.05, (20.0 - air_temp_c) / 28.0)

    temperatures = np.arange(-16.0, 17.0, 4.0).tolist()
    curves = pressure_by_weather(case, demand_at, size_ladder(BYPASS, rules), temperatures, rules)
    assert [curve.label for curve in curves] == ["none", "38 mm", "51.4 mm", "63 mm"]
    for curve in curves:
        known = curve.least_pa_gauge[np.isfinite(curve.least_pa_gauge)]
        assert (np.diff(known) > 0).all()
    for curve, (_, sizes) in zip(curves, size_ladder(BYPASS, rules), strict=True):
        for temperature, least in zip(temperatures, curve.least_pa_gauge, strict=True):
            verdict = case.judge(sizes, rules, demand_m3_per_s_std=demand_at(temperature))
            if "m/s" not in verdict.reason:
                assert verdict.holds is bool(least >= 1900.0 - 1e-6)


def test_worst_path_runs_from_the_station_with_the_flow() -> None:
    sized = _sized()
    network = ring("e")
    full = network.with_links(network.links.joined_with(feed_links([sized.size], RULES)))
    path = worst_path(full, sized.state, 4)
    # Station, node 2, and over the bypass to node 5: 200 m of main and 12 m of hose.
    assert path.node.tolist() == [0, 1, 4]
    assert path.link.tolist() == [0, 7]
    assert path.distance_m.tolist() == pytest.approx([0.0, 200.0, 212.0])
    pressure = sized.state.pressure_pa_gauge[path.node]
    assert (np.diff(pressure) < 0).all()


def _figures(units: object = None) -> list[Chart]:
    sized = _sized()
    case = _case()
    curves = [
        drop_curve(s, sized.pressure_from_pa_gauge, CONDITIONS, RULES) for s in sizes_in_order(BYPASS, RULES)
    ]
    weather = pressure_by_weather(
        case, lambda t: RING_DEMAND * (20.0 - t) / 28.0, size_ladder(BYPASS, RULES), [-8.0, 0.0, 8.0], RULES
    )
    distance = np.array([0.0, 200.0, 212.0])
    before, after = np.array([2500.0, 2340.0, np.nan]), np.array([2500.0, 2345.0, 2060.0])
    marks = [PathMark(0.0, "R1 $ & <b>"), PathMark(212.0, "$\\frac{")]
    extra = {} if units is None else {"figures": units}
    return [
        drop_chart(curves, sized.flow_m3_per_s_std, sized.drop_pa, **extra),  # type: ignore[arg-type]
        weather_chart(weather, 1700.0, 1900.0, -8.0, **extra),  # type: ignore[arg-type]
        path_chart(distance, before, after, 1700.0, 1900.0, marks, **extra),  # type: ignore[arg-type]
    ]


def test_charts_draw_the_figures_in_the_readers_unit() -> None:
    metric, us = _figures(), _figures(US)
    sized = _sized()
    assert metric[0].points[0].x == pytest.approx(sized.flow_m3_per_s_std * 3600.0)
    assert metric[0].points[0].y == pytest.approx(sized.drop_pa / 100.0)
    # 1 inch of water is 2.490889 mbar, 1 ft is 0.3048 m.
    assert us[0].points[0].y == pytest.approx(sized.drop_pa / 249.0889)
    assert us[2].lines[0].x[1] == pytest.approx(200.0 / 0.3048)
    assert us[1].x_label == "air temperature [°F]"
    assert metric[2].lines[1].y.tolist() == pytest.approx([25.0, 23.45, 20.6])
    # Before, the bypass end did not exist: the line leaves it out.
    assert len(metric[2].lines[0].x) == 2


def test_what_is_drawn_lies_where_the_axes_say() -> None:
    for chart in _figures():
        drawn = chart.drawn()
        for axis, (low, high) in (("x-ticks", chart.x_range), ("y-ticks", chart.y_range)):
            places = [share for share, _ in drawn[axis]]
            values = [float(words.replace("−", "-")) for _, words in drawn[axis]]
            assert len(values) >= 4
            assert places == pytest.approx([(value - low) / (high - low) for value in values], abs=1e-6)
        for line, one in zip(chart.lines, drawn["lines"], strict=True):
            (x_low, x_high), (y_low, y_high) = chart.x_range, chart.y_range
            known = np.isfinite(line.y)
            expected = np.column_stack(
                [(line.x - x_low) / (x_high - x_low), (line.y - y_low) / (y_high - y_low)]
            )
            assert np.concatenate(one["runs"]).tolist() == pytest.approx(expected[known], abs=1e-6)


def test_a_line_breaks_where_a_figure_is_missing() -> None:
    x, y = np.arange(6.0), np.array([np.nan, 1.0, 2.0, np.nan, 3.0, np.nan])
    chart = Chart("", "", "x", "y", (0.0, 5.0), (0.0, 3.0), (ChartLine(x, y, "line", 0, has_end=True),))
    (line,) = chart.drawn()["lines"]
    assert [[round(place * 5) for place, _ in run] for run in line["runs"]] == [[1, 2], [4]]
    assert line["end"] == (0.8, 1.0)
    assert chart_svg(chart)


@pytest.mark.parametrize("low", [0.0, -17.3, 1e-6, 990.0])
@pytest.mark.parametrize("width", [0.07, 1.0, 4.2, 9.99, 250.0, 1e5])
def test_ticks_are_round_and_even(low: float, width: float) -> None:
    found = ticks(low, low + width)
    values = np.array([value for value, _ in found])
    assert 4 <= len(values) <= 11
    assert values[0] >= low - 1e-6 * width
    assert values[-1] <= low + width * (1.0 + 1e-6)
    assert np.diff(values) == pytest.approx(np.full(len(values) - 1, values[1] - values[0]), rel=1e-4)
    assert [float(words.replace("−", "-")) for _, words in found] == pytest.approx(values, abs=1e-9 * width)


def test_charts_are_the_same_bytes() -> None:
    first = [(chart_svg(figure), chart_png(figure)) for figure in _figures()]
    second = [(chart_svg(figure), chart_png(figure)) for figure in _figures()]
    assert first == second
    for svg, png in first:
        assert ET.fromstring(svg).tag.endswith("svg")  # noqa: S314 - our own bytes
        assert png[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", png[16:24])
        assert (width, height) == (1080, 645)


def test_charts_are_written_as_both_files(tmp_path: Path) -> None:
    svg, png = write_chart(_figures()[2], tmp_path, "path")
    assert (svg.name, png.name) == ("path.svg", "path.png")
    assert svg.stat().st_size > 1000
    assert png.stat().st_size > 1000
