"""Layers of a plan: complete, in their places, enough to rebuild the state, the same bytes each time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from netplan.errors import BadInputError
from netplan.network.build import build_network
from netplan.outputs.layers import extent as extent_module
from netplan.outputs.layers import plan_layers, read_plan_layers, write_layers
from netplan.outputs.layers.cuts import PipeLines
from netplan.plan.run import PlanRequest, make_plan
from netplan.rules import read_rules
from tests.fuzz.districts import district
from tests.hamlet import SCALE, hamlet
from tests.plans import hamlet_result, without_base


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
    picture = result.pictures[0]
    nodes = layers["nodes"][layers["nodes"]["option"] == 1]
    assert nodes["demand_m3h"].sum() == pytest.approx(picture.node_demand_m3h.sum())
    bypass = layers["bypasses"].iloc[0]
    assert {bypass["from_node"], bypass["to_node"]} <= set(nodes["node"])
    assert bypass["bore_mm"] == 51.0
    assert bypass["loss_coefficient"] == 6.0
    pipes = layers["pipes"][layers["pipes"]["option"] == 1]
    assert pipes["flow_m3h"].sum() == pytest.approx(picture.flow_m3h[picture.pipe >= 0].sum())
    assert set(pipes["state"]) == {"live", "isolated", "fed"}


def test_customers_carry_their_effect_and_never_the_note(layers: dict[str, gpd.GeoDataFrame]) -> None:
    result = hamlet_result()
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
    for row, at, place in zip(pipe, chainage, places, strict=True):
        start, end = network.pipes.coord_start[row], network.pipes.coord_start[row + 1]
        expected = shapely.LineString(network.pipes.coords_m[start:end]).interpolate(at * network.scale)
        assert expected.distance(shapely.Point(place)) < 1e-6


def test_large_network_is_cut_to_the_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    result = hamlet_result()
    monkeypatch.setattr(extent_module, "WHOLE_NETWORK_PIECES", 10)
    monkeypatch.setattr(extent_module, "SURROUNDINGS_M", 120.0)
    cut = plan_layers(result)
    whole = len(result.pictures[0].pipe)
    drawn = cut["pipes"][cut["pipes"]["option"] == 1]
    assert 0 < len(drawn) < whole / 2
    assert {"isolated", "fed"} <= set(drawn["state"])
    nodes = cut["nodes"][cut["nodes"]["option"] == 1]
    assert set(drawn["from_node"]) | set(drawn["to_node"]) <= set(nodes["node"])
    note = cut["conditions"].set_index("name").loc["left_out", "value"]
    assert "left out" in note


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
    result = hamlet_result()
    network = result.network
    other = np.zeros(len(network.pipes), np.int16)
    other[7] = 1
    pipes = replace(network.pipes, system=other)
    two = replace(network, pipes=pipes, systems=("LP", "MP"))
    layer = plan_layers(replace(result, network=two))["pipes"]
    assert set(layer.loc[layer["pipe_id"] == "M-V4", "state"]) == {"other system"}
    assert set(layer.loc[layer["pipe_id"] == "M-V4", "system"]) == {"MP"}
    assert "other system" not in set(layer.loc[layer["pipe_id"] != "M-V4", "state"])


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
