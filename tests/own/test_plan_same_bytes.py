"""The same data is the same plan.json, whatever its source and the order of its rows; the sample town here.

The open town is asked the same in tests/outside.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest

from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network, write_layers
from netplan.rules import read_rules


def _plan(network: Network) -> str:
    request = PlanRequest(network, (WorkPart(*DEMO_WORK),), read_rules(None), options=2, weather=False)
    return plan_to_json(make_plan(request).plan, provenance=False)


@pytest.fixture(scope="module")
def first() -> str:
    return _plan(read_network(sample_network()))


def test_a_second_run_gives_the_same_bytes_and_leaves_the_input_alone(first: str) -> None:
    before = hashlib.sha256(sample_network().read_bytes()).hexdigest()
    assert _plan(read_network(sample_network())) == first
    assert hashlib.sha256(sample_network().read_bytes()).hexdigest() == before


@pytest.mark.parametrize("file_format", ["parquet", "geojson"])
def test_another_order_of_rows_and_another_format_give_the_same_bytes(
    first: str, tmp_path: Path, file_format: str
) -> None:
    path = sample_network()
    layers = {}
    for name, _ in pyogrio.list_layers(path):
        frame = gpd.read_file(path, layer=name)
        columns = [column for column in reversed(frame.columns) if column != "geometry"]
        layers[str(name)] = frame.sample(frac=1.0, random_state=11)[[*columns, "geometry"]]
    write_layers(layers, tmp_path / "town", file_format)
    assert _plan(read_network(tmp_path / "town")) == first
