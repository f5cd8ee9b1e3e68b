"""Layers of a plan: complete, in their places, enough to rebuild the state, the same bytes each time."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from netplan.core.errors import BadInputError
from netplan.network.build import build_network
from netplan.network.linear_reference import PipeLines
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, read_plan_layers, write_layers
from netplan.planfile import PieceState
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.planning.option_records import state_extent as extent_module
from netplan.rules import read_rules
from tests.fuzz.districts import district
from tests.support.hamlet import SCALE, hamlet
from tests.support.networks import build, customer, main, service, station
from tests.support.plans import hamlet_result, without_base


@pytest.fixture(scope="module")
def layers() -> dict[str, gpd.GeoDataFrame]:
    return plan_layers(hamlet_result())


def test_columns_of_the_contract(layers: dict[str, gpd.GeoDataFrame]) -> None:
    wanted = {
        "customers": "effect pressure_mbar demand_m3h node",
        "pipes": "layer pipe_id from_m to_m state bore_mm roughness_mm length_m from_node to_node flow_m3h "
        "pressure_from_mbar pressure_to_mbar",
        "nodes": "node height_m demand_m3h pressure_mbar",
        "stations": "node outlet_mbar capacity_m3h flow_m3h",
        "bypasses": "from_node to_node length_m bore_mm parallel loss_coefficient",
        "stops": "stop_id main_id chainage_m method",
        "tappings": "stop_id role chainage_m size_mm",
        "zones": "layer pipe_id from_m to_m",
    }
    for name, columns in wanted.items():
        assert set(columns.split()) | {"option"} <= set(layers[name].columns), name
    assert not isinstance(layers["conditions"], gpd.GeoDataFrame)


def test_pieces_lie_on_their_pipes_and_add_up(layers: dict[str, gpd.GeoDataFrame]) -> None:
    network = hamlet()
    pipes = layers["pipes"]
    for option in (1, 2):
        own = pipes[pipes["option"] == option]
        assert np.allclose(own.geometry.length / SCALE, own["length_m"], atol=1e-5)
        total = own.groupby(["layer", "pipe_id"])["length_m"].sum()
        assert np.isclose(total.sum(), network.pipes.length_m.sum())
        assert len(total) == len(network.pipes)


def test_ends_of_pieces_are_their_nodes(layers: dict[str, gpd.GeoDataFrame]) -> None:
    for option in (1, 2):
        nodes = layers["nodes"][layers["nodes"]["option"] == option].set_index("node").geometry
        pipes = layers["pipes"][layers["pipes"]["option"] == option]
        for end, which in (("from_node", 0), ("to_node", -1)):
            at = shapely.get_point(pipes.geometry.array, which)
            assert shapely.distance(at, nodes.loc[pipes[end]].array).max() < 0.002


def test_state_can_be_rebuilt_from_the_layers(layers: dict[str, gpd.GeoDataFrame]) -> None:
    result = hamlet_result()
    state = result.states[0]
    nodes = layers["nodes"][layers["nodes"]["option"] == 1]
    assert nodes["demand_m3h"].sum() == pytest.approx(state.customers.demand_m3h.sum())
    bypass = layers["bypasses"].iloc[0]
    assert {bypass["from_node"], bypass["to_node"]} <= set(nodes["node"])
    assert bypass["bore_mm"] == 51.0
    assert bypass["loss_coefficient"] == 6.0
    pipes = layers["pipes"][layers["pipes"]["option"] == 1]
    assert pipes["flow_m3h"].sum() == pytest.approx(state.pipes.flow_m3h.sum())
    assert set(pipes["state"]) == {"live", "isolated", "fed"}


def test_customers_carry_their_effect_and_never_the_note(layers: dict[str, gpd.GeoDataFrame]) -> None:
    result = hamlet_result()
    assert len(result.plan.options) == 2
    for option in result.plan.options:
        rows = layers["customers"][layers["customers"]["option"] == option.rank]
        affected = rows[rows["effect"].notna()]
        assert set(affected["customer_id"]) == {c.id for c in option.customers}
        assert len(rows) == len(result.network.customers)
    for layer in layers.values():
        assert not layer.astype(str).apply(lambda c: c.str.contains("secret note")).to_numpy().any()


def test_chainages_turn_into_places() -> None:
    network = hamlet()
    lines = PipeLines.of(network)
    rng = np.random.default_rng(7)
    pipe = rng.integers(0, len(network.pipes), 200)
    chainage = rng.uniform(0, 1, 200) * network.pipes.length_m[pipe]
    places = lines.xy_at(pipe, chainage)
    assert len(places) == 200
    for row, at, place in zip(pipe, chainage, places, strict=True):
        start, end = network.pipes.coord_start[row], network.pipes.coord_start[row + 1]
        expected = shapely.LineString(network.pipes.coords_m[start:end]).interpolate(at * network.scale)
        assert expected.distance(shapely.Point(place)) < 1e-6


def _planned(network: Network) -> PlanResult:
    """Plan 6 m of the close of the hamlet, or of a network like it."""
    part = WorkPart("M-TAIL", 37.0, 43.0)
    return make_plan(PlanRequest(network, (part,), read_rules(None), options=2, weather=False))


def test_large_network_is_cut_to_the_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _planned(hamlet()).states[0]
    assert whole.left_out == ""
    monkeypatch.setattr(extent_module, "WHOLE_NETWORK_PIECES", 10)
    monkeypatch.setattr(extent_module, "SURROUNDINGS_M", 40.0)
    result = _planned(hamlet())
    cut = plan_layers(result)
    drawn = cut["pipes"][cut["pipes"]["option"] == 1]
    assert 0 < len(drawn) < len(whole.pipes) / 2
    assert "isolated" in set(drawn["state"])
    changed = whole.pipes.state != PieceState.LIVE
    assert set(drawn["state"]) == {PieceState(code).word for code in whole.pipes.state[changed]} | {"live"}
    nodes = cut["nodes"][cut["nodes"]["option"] == 1]
    assert set(drawn["from_node"]) | set(drawn["to_node"]) <= set(nodes["node"])
    note = cut["conditions"].set_index("name").loc["left_out", "value"]
    assert "left out" in note
    named = {row.id for row in result.plan.options[0].customers}
    customers = cut["customers"][cut["customers"]["option"] == 1]
    assert named <= set(customers["customer_id"])
    assert len(customers) < len(whole.customers)
    assert all(state.left_out == note for state in result.states)


def test_without_a_base_map_there_is_none(layers: dict[str, gpd.GeoDataFrame]) -> None:
    bare = plan_layers(without_base(hamlet_result()))
    assert set(layers) - set(bare) == {"streets", "buildings", "water", "rail"}


def test_same_layers_same_bytes_and_read_back(layers: dict[str, gpd.GeoDataFrame], tmp_path: Path) -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_layers(layers, tmp_path / name / "plan.gpkg")
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
    assert (tmp_path / "a/plan.gpkg").read_bytes() == (tmp_path / "b/plan.gpkg").read_bytes()
    back = read_plan_layers(tmp_path / "a")
    assert set(back) == set(layers)
    for name, layer in layers.items():
        assert list(back[name].columns) == list(layer.columns), name
        assert len(back[name]) == len(layer)


def test_reading_what_is_no_plan_folder_says_so(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match=r"plan\.gpkg: is not there"):
        read_plan_layers(tmp_path)
    (tmp_path / "plan.gpkg").write_text("no database")
    with pytest.raises(BadInputError, match="cannot be read"):
        read_plan_layers(tmp_path)


def test_layers_of_an_older_plan_are_refused_in_one_line(
    layers: dict[str, gpd.GeoDataFrame], tmp_path: Path
) -> None:
    older = {**layers, "pipes": layers["pipes"].drop(columns="system")}
    write_layers(older, tmp_path / "plan.gpkg")
    with pytest.raises(BadInputError, match="layer pipes lacks 'system'"):
        read_plan_layers(tmp_path)


def test_mains_of_another_system_are_never_stranded() -> None:
    # A medium-pressure main without a station of its own lies beside the street of the work.
    network = build(
        strict=False,
        mains=[
            main("M1", (0, 0), (200, 0), od_mm=125.0, system="LP"),
            main("MP", (0, 3), (200, 3), od_mm=125.0, system="MP"),
        ],
        services=[service("S1", (30, 0), (30, 8)), service("S2", (150, 0), (150, 8))],
        customers=[customer("C1", (30, 8), service_id="S1"), customer("C2", (150, 8), service_id="S2")],
        regulators=[station("R1", (0, 0), outlet_mbar=30.0, max_outlet_mbar=60.0, system="LP")],
    )
    assert network.systems == ("LP", "MP")
    part = WorkPart("M1", 80.0, 86.0)
    request = PlanRequest(network, (part,), read_rules(None), options=1, weather=False, feeds_allowed=False)
    layer = plan_layers(make_plan(request))["pipes"]
    other = layer["system"] == "MP"
    assert set(layer.loc[other, "state"]) == {"other system"}
    assert set(layer.loc[other, "pipe_id"]) == {"MP"}
    assert set(layer.loc[~other, "state"]) == {"live", "isolated"}


def test_a_station_off_the_mains_shifts_no_flow_to_others() -> None:
    layers, work = district("close")
    layers = {name: frame.copy() for name, frame in layers.items()}
    stray = layers["regulators"].iloc[[0]].copy()
    stray["id"] = "A0"  # before all others
    stray["geometry"] = stray.translate(5000.0, 0.0)
    layers["regulators"] = pd.concat([stray, layers["regulators"]], ignore_index=True)
    network = build_network(layers, strict=False)
    assert (network.stations.node < 0).tolist()[0]
    request = PlanRequest(network, (work,), read_rules(None), air_temp_c=4.0, options=1, weather=False)
    result = make_plan(request)
    stations = plan_layers(result)["stations"].set_index("station_id")["flow_m3h"]
    solved = [state.station_flows_m3h for state in result.plan.options[0].states]
    assert all(stations.index.tolist() == sorted(flows) for flows in solved)
    assert any(flows == pytest.approx(stations.to_dict(), abs=2e-3) for flows in solved)
