"""Layer `refused` of a plan that the program made: where no stop may go near the work, and why (own)."""

from __future__ import annotations

import json
from collections.abc import Iterator

import geopandas as gpd
import pyogrio
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.map.plan_map_data import map_data
from netplan.outputs.number_format import METRIC
from netplan.planfile import read_state
from netplan.planfile.plan_json import read_plan
from tests.support.sample_plan import sample_plan

Row = tuple[int, str, str, float, float, str, str, str, str]


@pytest.fixture(scope="module")
def refused() -> gpd.GeoDataFrame:
    return gpd.read_file(sample_plan() / "plan.gpkg", layer="refused")


def _stated() -> Iterator[Row]:
    """Yield what plan.json says of every stop, as plain JSON."""
    plan = json.loads((sample_plan() / "plan.json").read_text(encoding="utf-8"))
    for option in plan["options"]:
        for stop in option["stops"]:
            for no in stop["not_nearer"]:
                span = (no["main_id"], no["from_m"], no["to_m"])
                yield (option["rank"], stop["id"], *span, no["method"], no["side"], no["code"], no["reason"])


def test_every_option_has_rows_on_real_mains_within_their_length(refused: gpd.GeoDataFrame) -> None:
    options = {row[0] for row in _stated()}
    assert set(refused.option) == options
    assert options
    mains = pyogrio.read_dataframe(sample_network(), layer="mains").set_index("id").to_crs(refused.crs)
    line = mains.geometry.loc[refused.main_id].reset_index(drop=True)
    assert (
        shapely.hausdorff_distance(
            shapely.intersection(shapely.buffer(line.array, 0.01), refused.geometry.array),
            refused.geometry.array,
        ).max()
        < 0.02
    )
    # Chainages are true lengths, drawn lengths are planar.
    assert (refused.from_m >= 0).all()
    assert (refused.to_m > refused.from_m).all()
    assert (refused.geometry.length / (refused.to_m - refused.from_m)).between(0.999, 1.001).all()
    assert (refused.to_m <= line.length * 1.001).all()


def test_rows_are_those_of_the_stops_without_places_that_are_merely_dearer(
    refused: gpd.GeoDataFrame,
) -> None:
    rows = refused.drop(columns="geometry").itertuples(index=False, name=None)
    stated = list(_stated())
    assert sorted(rows) == sorted(row for row in stated if row[7] != "dearer" and row[4] > row[3])
    assert any(row[7] == "dearer" for row in stated)
    assert {row[6] for row in stated} == {"from", "to"}


def test_nothing_is_said_to_be_refused_where_the_plan_stops(refused: gpd.GeoDataFrame) -> None:
    """A stop stands outside every length that refuses its method on its side of the work."""
    plan = read_plan(sample_plan())
    assert len(refused) > 0
    assert sum(len(option.stops) for option in plan.options) >= 5
    for option in plan.options:
        for stop in option.stops:
            own = refused[(refused.option == option.rank) & (refused.stop_id == stop.id)]
            own = own[(own.main_id == stop.main_id) & (own.method == stop.method)]
            own = own[own.side == stop.work_side]
            inside = (own.from_m + 0.002 < stop.chainage_m) & (stop.chainage_m < own.to_m - 0.002)
            assert not inside.any(), (stop.id, own[inside])


def test_the_map_shows_them_with_every_reason_once() -> None:
    plan, layers = read_plan(sample_plan()), read_plan_layers(sample_plan())
    states = [read_state(layers, option.rank) for option in plan.options]
    data = map_data(plan, layers, states, METRIC)
    assert len(data["options"]) == len(plan.options) == 5
    for option in data["options"]:
        said = {
            (row[5], row[8])
            for row in _stated()
            if row[0] == option["rank"] and row[7] not in ("dearer", "not-a-valve") and row[4] > row[3]
        }
        drawn = [tuple(row) for thing in option["refused"] for row in thing["rows"][1:]]
        assert {(word.removeprefix("no "), why) for word, why in drawn} == said
        lines = [json.dumps(thing["line"]) for thing in option["refused"]]
        assert lines
        assert len(lines) == len(set(lines))
