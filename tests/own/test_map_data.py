"""What the map of a plan says, held against the plan itself (own)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest

from netplan.outputs.layers import read_plan_layers
from netplan.outputs.map.plan_map_data import map_data
from netplan.outputs.map.search_index import search_index
from netplan.outputs.number_format import METRIC, US, Figures
from netplan.planfile import SolvedState, read_state
from netplan.planfile.model import Option, Plan, WeatherLine
from netplan.planfile.option_differences import options_in_words
from netplan.planfile.plan_json import read_plan
from tests.support.sample_plan import sample_plan

METRIC_FIGURE = re.compile(r"\d (?:mbar|m³/h|m³|m/s|mm|m|°C|kg)(?![\w³²/°])(?! \()")


@cache
def _read() -> tuple[Plan, Any, tuple[SolvedState, ...]]:
    plan, layers = read_plan(sample_plan()), read_plan_layers(sample_plan())
    return plan, layers, tuple(read_state(layers, option.rank) for option in plan.options)


@cache
def _data(units: Figures = METRIC) -> dict[str, Any]:
    plan, layers, states = _read()
    return map_data(plan, layers, states, units)


def _pairs() -> Iterator[tuple[Option, dict[str, Any]]]:
    pairs = list(zip(_read()[0].options, _data()["options"], strict=True))
    assert len(pairs) == 5
    yield from pairs


def _facts(plan: Plan, units: Figures = METRIC) -> dict[str, str]:
    _, layers, states = _read()
    return dict(map_data(plan, layers, states, units)["options"][0]["facts"])


def test_every_mark_bears_the_id_of_the_plan() -> None:
    for option, drawn in _pairs():
        assert [one["id"] for one in drawn["stops"]] == [stop.id for stop in option.stops]
        assert [one["id"] for one in drawn["bypasses"]] == [feed.id for feed in option.bypasses]
        assert {one["id"] for one in drawn["gauges"]} == {gauge.id for gauge in option.gauges}
        assert {one["id"] for one in drawn["purge_points"]} == {point.id for point in option.purge.points}


def test_one_letter_means_one_thing() -> None:
    kinds = ("stops", "bypasses", "gauges", "purge_points", "fallback", "excavations")
    for _, drawn in _pairs():
        letters = [{one["id"][0] for one in drawn[kind]} for kind in kinds]
        assert letters == [{"S"}, {"B"}, {"G"}, {"P"}, {"F"}, {"H"}]


def test_mains_are_counted_by_their_length() -> None:
    for option, drawn in _pairs():
        zone = [pipe for one in option.zones for pipe in one.pipes if pipe.layer == "mains"]
        length_m = sum(pipe.to_m - pipe.from_m for pipe in zone)
        said = re.fullmatch(r"([\d.]+) m", drawn["lengths"]["isolated"])
        assert said is not None
        assert float(said[1]) == pytest.approx(length_m, abs=0.05 + 0.001 * len(zone))
        assert drawn["lengths"]["stranded"] == ""
    assert _data()["work_length"] == "4.0 m"


def test_refused_lengths_are_counted_once() -> None:
    for option, drawn in _pairs():
        spans = {
            (no.main_id, no.from_m, no.to_m)
            for stop in option.stops
            for no in stop.not_nearer
            if no.code not in ("dearer", "not-a-valve") and no.to_m > no.from_m
        }
        metres = {
            (main, k) for main, low, high in spans for k in np.arange(low, high, 0.01).round(2).tolist()
        }
        said = float(drawn["refused_length"].removesuffix(" m"))
        assert said == pytest.approx(len(metres) * 0.01, abs=0.03 * len(spans) + 0.05)


def test_limits_stand_beside_the_head_figures() -> None:
    plan = _read()[0]
    needs = plan.rules["pressure"]["minimum_mbar"] + plan.rules["pressure"]["margin_mbar"]
    facts = _facts(plan)
    assert (
        facts["least pressure"]
        == f"{METRIC.held(plan.options[0].pressures.after.least_mbar)}, needs {needs:.1f}"
    )
    assert facts["holds to air of"] == "not calculated; valid only at −8.0 °C"
    for coldest, said in ((-8.7, "−8.7 °C, planned −8.0"), (None, "no temperature, planned −8.0 °C")):
        line = WeatherLine(feed="", choice="as planned", coldest_air_temp_c=coldest)
        options = tuple(option.model_copy(update={"weather": (line,)}) for option in plan.options)
        assert _facts(plan.model_copy(update={"options": options}))["holds to air of"] == said
    fastest = plan.rules["bypass"]["velocity_max_m_s"]
    assert f"m/s of at most {fastest:.1f}" in _data()["options"][0]["bypasses"][0]["line_text"]


def test_options_say_what_differs() -> None:
    said = [drawn["differs"] for _, drawn in _pairs()]
    assert said[:2] == ["cheapest", "S2 squeezed, not bagged"]
    assert len(set(said[:3])) == 3
    assert said == list(options_in_words(_read()[0].options, METRIC))
    us = options_in_words(_read()[0].options, US)
    assert " ft" in us[4]
    assert " mm" not in us[4]


def test_kept_customers_on_standby_are_marked_and_counted() -> None:
    for option, drawn in _pairs():
        kept = {one.id for one in option.customers if one.effect == "kept"}
        marked = {one["id"] for one in drawn["customers"] if one["effect"] == "kept" and one["standby"]}
        assert marked == kept & set(option.standby)
        assert dict(drawn["facts"])["kept, on standby"] == str(len(marked))
    assert dict(_data()["options"][0]["facts"])["kept, on standby"] == "20"


def test_the_search_knows_every_main_valve_and_meter_point_where_it_is() -> None:
    plan, layers, states = _read()
    index = search_index(states[0].pipes, states[0].customers, layers["work"].crs)
    pipes, customers = states[0].pipes, states[0].customers
    mains = set(pipes.pipe_id.numpy()[pipes.is_main & (pipes.length_m > 0)])
    assert len(mains) == plan.network.counts["mains"]
    assert index["Main"]["ids"] == sorted(mains)
    assert set(index["Valve"]["ids"]) == set(pipes.valve_id) - {""}
    assert index["Meter point"]["ids"] == list(customers.customer_id)
    points = index["Meter point"]
    assert [points["words"][k] for k in points["of"]] == list(customers.address)
    drawn = {one["id"]: one["at"] for one in _data()["options"][0]["customers"]}
    found = dict(zip(points["ids"], np.cumsum(np.reshape(points["at"], (-1, 2)), axis=0) / 1e6, strict=True))
    assert len(drawn) >= 28
    for name, place in drawn.items():
        assert found[name] == pytest.approx(place, abs=1e-6)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from _texts(inner)


def test_us_units_leave_no_metric_figure_alone() -> None:
    texts = set(_texts({name: value for name, value in _data(US).items() if name not in ("base", "light")}))
    assert len(texts) > 500
    assert any("in. w.c." in text for text in texts)
    assert any(METRIC_FIGURE.search(text) for text in _texts(_data()["options"])), "finds what it looks for"
    assert {text for text in texts if METRIC_FIGURE.search(text)} == set()
