"""A solved state is the same in memory and on disk: ``read_state(write_state(s)) == s``, every digit.

Checked on plans that the program made: with bypasses, hoses and opened valves, with and without options, in
memory and through plan.gpkg. Columns are compared here field by field, without the equality of the states.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from netplan.core.errors import BadInputError, NoPlanError
from netplan.explain import explain
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, read_plan_layers, write_layers
from netplan.planfile import PieceState, SolvedState, read_state, write_state
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.option_records import state_extent as extent
from netplan.planning.request import PlanRequest
from netplan.planning.resize_problem import resize_problem
from netplan.rules import read_rules
from tests.support.feed_towns import town_request
from tests.support.hamlet import HOSTILE, hamlet
from tests.support.networks import build, customer, main, sensing_point, service, station, valve
from tests.support.plans import hamlet_result
from tests.support.sample_plan import sample_plan

LAYERS = ("pipes", "nodes", "stations", "bypasses", "customers")
TOWNS = (0, 1, 2, 5, 8, 9)
"""Random towns with bypasses, hoses, or neither."""


def _priority_street() -> Network:
    """Return a street whose far end, a hospital, can have gas by a closed valve to the next area.

    The first station holds the pressure 50 m from its outlet; a customer hangs on two services.
    """
    return build(
        strict=False,
        mains=[
            main("M1", (0, 0), (300, 0), od_mm=125.0, street="Long Row", record_date="2004-11-02"),
            main("M2", (300, 0), (420, 0), od_mm=125.0),
        ],
        services=[
            service("S1", (60, 0), (60, 8)),
            service("S2", (240, 0), (240, 8)),
            service("S3", (80, 0), (70.4, 8)),
            service("S4", (70, 0), (69.6, 8)),
        ],
        customers=[
            customer("C1", (60, 8), service_id="S1", annual_kwh=6e5, category="business"),
            customer("C2", (240, 8), service_id="S2", priority="hospital", meters=3),
            customer("C3", (70, 8), service_id="S3;S4"),
        ],
        regulators=[
            station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=60.0, capacity_m3h=180.0),
            station("R2", (420, 0), outlet_mbar=30.0, max_outlet_mbar=58.0),
        ],
        sensing_points=[sensing_point("R1", (50, 0))],
        valves=[valve("V1", (300, 0), "closed"), valve("V2", (20, 0))],
    )


def _valve_request() -> PlanRequest:
    dear = {"price": {"bypass": 90000.0, "bypass_per_m": 9000.0}}
    part = (WorkPart("M1", 110.0, 150.0),)
    return PlanRequest(_priority_street(), part, read_rules(None, dear), weather=False)


@cache
def _results() -> tuple[PlanResult, ...]:
    """Return plans of the random towns, of the hamlet without feeds, and of one that opens a valve."""
    requests = [replace(town_request(seed), weather=False, options=2) for seed in TOWNS]
    close = (WorkPart("M-TAIL", 37.0, 43.0),)
    requests.append(PlanRequest(hamlet(), close, read_rules(None), options=2, weather=False))
    requests.append(_valve_request())
    found = []
    for request in requests:
        try:
            found.append(make_plan(request))
        except NoPlanError:
            continue
    return (*found, _cut_result())


@cache
def _cut_result() -> PlanResult:
    """Return a plan of a network that counts as large: its state holds the surroundings of the work alone."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(extent, "WHOLE_NETWORK_PIECES", 10)
        patch.setattr(extent, "SURROUNDINGS_M", 40.0)
        part = (WorkPart("M-TAIL", 37.0, 43.0),)
        return make_plan(PlanRequest(hamlet(), part, read_rules(None), options=1, weather=False))


def _different(one: Any, other: Any, where: str = "state") -> list[str]:
    """Return the fields that differ: numbers by all their bits but those of a NaN, arrays by kind too."""
    if is_dataclass(one):
        names = [field.name for field in fields(one)]
        pairs = [(getattr(one, name), getattr(other, name), f"{where}.{name}") for name in names]
        return [found for pair in pairs for found in _different(*pair)]
    if isinstance(one, TextColumn):
        return [] if list(one) == list(other) else [where]
    if isinstance(one, np.ndarray):
        if one.dtype != other.dtype or one.shape != other.shape:
            return [where]
        values = zip(one.ravel().tolist(), other.ravel().tolist(), strict=True)
        return [] if all(a == b or (a != a and b != b) for a, b in values) else [where]
    return [] if one == other else [where]


def test_a_state_written_and_read_is_the_same() -> None:
    kinds: Counter[str] = Counter()
    for result in _results():
        for option, state in zip(result.plan.options, result.states, strict=True):
            again = read_state(write_state(state, result.network.crs), option.rank)
            assert _different(state, again) == []
            assert state == again
            kinds.update(bypass.kind for bypass in option.bypasses)
            kinds["opened valve"] += len(option.opened_valves)
            kinds["without feeds"] += not (option.bypasses or option.opened_valves)
            kinds["second option"] += option.rank == 2
            kinds["on two services"] += int((np.diff(state.customers.drawn_start) == 2).sum())
            kinds["part of a network"] += state.left_out != ""
    assert kinds["on two services"] > 0
    least = {"bypass": 5, "hose": 2, "opened valve": 1, "without feeds": 1, "second option": 3}
    assert {name: kinds[name] for name, count in least.items() if kinds[name] < count} == {}
    assert kinds["part of a network"] == 1


def _through_a_file(result: PlanResult) -> dict[str, gpd.GeoDataFrame]:
    with TemporaryDirectory() as folder:
        write_layers(plan_layers(result), Path(folder) / "plan.gpkg")
        return read_plan_layers(Path(folder))


def test_a_state_read_from_plan_gpkg_is_the_one_in_memory() -> None:
    results = [*_results(), hamlet_result(), hamlet_result(hostile=True)]
    for result in results:
        layers = _through_a_file(result)
        for option, state in zip(result.plan.options, result.states, strict=True):
            again = read_state(layers, option.rank)
            assert _different(state, again) == []
            assert state == again
    last = read_state(layers, 1)
    texts = {*last.customers.address, *last.pipes.street, *last.customers.customer_id}
    assert len(texts & set(HOSTILE)) > 3


def test_what_is_read_from_a_plan_folder_is_written_as_it_stood() -> None:
    layers, plan = read_plan_layers(sample_plan()), read_plan(sample_plan())
    assert len(plan.options) == 5
    for option in plan.options:
        written = write_state(read_state(layers, option.rank), plan.network.crs)
        assert set(written) == {*LAYERS, "conditions"}
        for name in LAYERS:
            stood = layers[name][layers[name].option == option.rank].reset_index(drop=True)
            assert list(written[name].columns) == list(stood.columns)
            assert len(stood) > 0
            assert written[name].crs == stood.crs
            for column in stood.columns:
                assert _plain(written[name][column]) == _plain(stood[column]), (name, column)


def _plain(column: Any) -> list[Any]:
    """Return the values of a column of a layer: shapes by their bytes, what is missing as None."""
    values = column.to_wkb().tolist() if isinstance(column, gpd.GeoSeries) else column.tolist()
    return [None if value is None or value != value or value == "" else value for value in values]


def test_a_state_solved_again_has_the_pressures_on_record() -> None:
    compared = 0
    for result in _results():
        if result.states[0].left_out:
            continue
        layers = _through_a_file(result)
        for option in result.plan.options:
            state = read_state(layers, option.rank)
            problem = resize_problem(result.plan, state)
            solved = problem.case(problem.rules).solve(problem.planned, problem.rules)
            recorded = state.nodes.pressure_mbar[np.isin(state.nodes.node, problem.network.node)]
            assert (np.isnan(recorded) == np.isnan(solved.pressure_pa_gauge)).all()
            np.testing.assert_allclose(solved.pressure_pa_gauge / 100.0, recorded, atol=1e-3)
            given = state.stations.flow_m3h[problem.network.station]
            np.testing.assert_allclose(solved.station_flow_m3_per_s_std * 3600.0, given, atol=1e-2)
            compared += int(np.isfinite(recorded).sum())
    assert compared > 500


def test_a_part_of_a_network_says_so_and_is_not_solved_again() -> None:
    result = _cut_result()
    state = result.states[0]
    whole = make_plan(
        PlanRequest(hamlet(), (WorkPart("M-TAIL", 37.0, 43.0),), read_rules(None), options=1, weather=False)
    ).states[0]
    assert 0 < len(state.pipes) < len(whole.pipes)
    assert "left out" in state.left_out
    assert whole.left_out == ""
    # What changes state is there, and every number as in the whole.
    changed = whole.pipes.state != PieceState.LIVE
    assert changed.sum() == (state.pipes.state != PieceState.LIVE).sum() > 0
    row = np.searchsorted(whole.nodes.node, state.nodes.node)
    np.testing.assert_array_equal(whole.nodes.node[row], state.nodes.node)
    np.testing.assert_array_equal(whole.nodes.pressure_mbar[row], state.nodes.pressure_mbar)
    held = read_state(_through_a_file(result), 1)
    with pytest.raises(BadInputError, match=r"left out; plan a smaller network"):
        resize_problem(result.plan, held)
    with pytest.raises(BadInputError, match=r"left out; plan a smaller network"):
        explain(result.plan, held, f"demand:{held.customers.customer_id[0]}")


@dataclass(frozen=True)
class _Change:
    """A column of a state made different in one place."""

    table: str
    column: str
    state: SolvedState


def _changes(state: SolvedState) -> list[_Change]:
    found = []
    for table in ("pipes", "nodes", "stations", "feeds", "customers"):
        of = getattr(state, table)
        for field in fields(of):
            values = getattr(of, field.name)
            changed: Any
            if isinstance(values, TextColumn):
                changed = TextColumn([f"{values[0]}x", *list(values)[1:]])
            else:
                changed = values.copy()
                first = changed.ravel()[:1]
                first[0] = (
                    not first[0] if first.dtype == bool else (1 if first[0] != first[0] else first[0] + 1)
                )
            other = replace(state, **{table: replace(of, **{field.name: changed})})
            found.append(_Change(table, field.name, other))
    return found


def test_states_that_differ_in_one_value_are_not_equal() -> None:
    state = next(s for result in _results() for s in result.states if len(s.feeds))
    changes = _changes(state)
    assert len(changes) >= 80
    assert state == replace(state)
    for change in changes:
        assert state != change.state, (change.table, change.column)
        assert len(_different(state, change.state)) == 1
    assert state != replace(state, option=7)
    assert state != replace(state, left_out="much")
    with pytest.raises(TypeError):
        hash(state)


def test_layers_that_lack_something_are_refused_in_one_line() -> None:
    layers = write_state(_results()[0].states[0], _results()[0].network.crs)
    for name, column in (("pipes", "roughness_mm"), ("nodes", "height_m"), ("customers", "part")):
        with pytest.raises(BadInputError, match=f"layer {name} lacks '{column}'"):
            read_state({**layers, name: layers[name].drop(columns=column)}, 1)
    with pytest.raises(BadInputError, match="layer stations lacks"):
        read_state({name: layer for name, layer in layers.items() if name != "stations"}, 1)
    with pytest.raises(BadInputError, match="layer conditions is not there"):
        read_state({name: layer for name, layer in layers.items() if name != "conditions"}, 1)
    twice = layers["nodes"].assign(node=3)
    with pytest.raises(BadInputError, match="a node twice"):
        read_state({**layers, "nodes": twice}, 1)
    with pytest.raises(BadInputError, match="state 'frozen' is not known"):
        read_state({**layers, "pipes": layers["pipes"].assign(state="frozen")}, 1)
    with pytest.raises(BadInputError, match="customers: meters is empty somewhere"):
        read_state({**layers, "customers": layers["customers"].assign(meters=None)}, 1)
