"""Pictures of feeds: what is drawn, in which unit, same bytes, text as text (own)."""

from __future__ import annotations

import struct
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as ET

import matplotlib as mpl
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
    PathMark,
    chart_png,
    chart_svg,
    drop_chart,
    path_chart,
    weather_chart,
    write_chart,
)
from netplan.outputs.documents.drop_drawing import drop_drawing, ticks
from netplan.outputs.number_format import METRIC, US
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
        assert len(known) >= 3
        assert (np.diff(known) > 0).all()
    judged = Counter[bool]()
    for curve, (_, sizes) in zip(curves, size_ladder(BYPASS, rules), strict=True):
        for temperature, least in zip(temperatures, curve.least_pa_gauge, strict=True):
            verdict = case.judge(sizes, rules, demand_m3_per_s_std=demand_at(temperature))
            if "m/s" not in verdict.reason:
                assert verdict.holds is bool(least >= 1900.0 - 1e-6)
                judged[verdict.holds] += 1
    assert min(judged[True], judged[False]) >= 5


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


def _figures(units: object = None) -> list[mpl.figure.Figure]:
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


def _xy(figure: mpl.figure.Figure, line: int) -> tuple[np.ndarray, np.ndarray]:
    drawn = figure.axes[0].lines[line]
    return np.asarray(drawn.get_xdata(), dtype=float), np.asarray(drawn.get_ydata(), dtype=float)


def test_charts_draw_the_figures_in_the_readers_unit() -> None:
    metric, us = _figures(), _figures(US)
    sized = _sized()
    flow, drop = _xy(metric[0], -1)
    assert flow[0] == pytest.approx(sized.flow_m3_per_s_std * 3600.0)
    assert drop[0] == pytest.approx(sized.drop_pa / 100.0)
    # 1 inch of water is 2.490889 mbar, 1 ft is 0.3048 m.
    assert _xy(us[0], -1)[1][0] == pytest.approx(sized.drop_pa / 249.0889)
    assert _xy(us[2], 0)[0][1] == pytest.approx(200.0 / 0.3048)
    assert us[1].axes[0].get_xlabel() == "air temperature [°F]"
    assert _xy(metric[2], 1)[1].tolist() == pytest.approx([25.0, 23.45, 20.6])
    # Before, the bypass end did not exist: the line leaves it out.
    assert len(_xy(metric[2], 0)[0]) == 2


def test_charts_are_the_same_bytes_and_leave_settings_alone() -> None:
    settings = dict(mpl.rcParams)
    first = [(chart_svg(figure), chart_png(figure)) for figure in _figures()]
    second = [(chart_svg(figure), chart_png(figure)) for figure in _figures()]
    assert first == second
    assert dict(mpl.rcParams) == settings
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


def test_the_drawing_of_the_pack_puts_curves_and_working_point_where_the_axes_say() -> None:
    sized = _sized()
    curves = [
        drop_curve(s, sized.pressure_from_pa_gauge, CONDITIONS, RULES, points=2001)
        for s in sizes_in_order(BYPASS, RULES)
    ]
    for figures, mbar in ((METRIC, 1.0), (US, 2.490889)):
        drawing = drop_drawing(curves, sized.flow_m3_per_s_std, sized.drop_pa, figures, 'B1 <&> "')
        assert drawing == drop_drawing(curves, sized.flow_m3_per_s_std, sized.drop_pa, figures, 'B1 <&> "')
        root = ET.fromstring(drawing)  # noqa: S314 - our own
        space = "{http://www.w3.org/2000/svg}"
        words = {text.text: text for text in root.iter(f"{space}text")}
        assert 'B1 <&> "' in words
        dot = root.find(f"{space}circle")
        assert dot is not None
        # Read back by the labels of the drop axis.
        left = [t for t in root.iter(f"{space}text") if t.get("text-anchor") == "end"]
        axis = [(float(t.text or ""), float(t.get("y", ""))) for t in left]
        (low, y_low), *_, (high, y_high) = axis
        read = low + (float(dot.get("cy", "")) + 1.0 - y_low) / (y_high - y_low) * (high - low)
        assert read == pytest.approx(sized.drop_pa / 100.0 / mbar, rel=5e-3)
        lines = [p.get("d", "")[1:].split("L") for p in root.iter(f"{space}path") if "L" in p.get("d", "")]
        assert len(lines) == len(curves)
        own = next(k for k, curve in enumerate(curves) if curve.size == sized.size)
        at = np.array([[float(value) for value in pair.split()] for pair in lines[own]])
        assert np.interp(float(dot.get("cx", "")), at[:, 0], at[:, 1]) == pytest.approx(
            float(dot.get("cy", "")), abs=0.05
        )


@pytest.mark.parametrize("most", [0.0013, 0.9, 1.64, 2.0, 79.0, 1e4])
def test_ticks_are_round_and_reach_across(most: float) -> None:
    places = ticks(most)
    steps = np.diff(places)
    assert places[0] == 0.0
    assert places[-1] <= most * (1.0 + 1e-9)
    assert most - places[-1] < steps[0]
    assert 3 <= len(steps) <= 8
    assert steps == pytest.approx(steps[0])
