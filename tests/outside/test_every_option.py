"""Every option that is listed, verified after the fact: an independent walk, and pandapipes on plan.gpkg.

One random section of each town by default; ``NETPLAN_SECTIONS=100`` takes a hundred. References: networkx and
shapely on the raw layers; pandapipes 0.16 (general library, with the friction law of this project).
"""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest

from netplan.cli.sample import sample_network
from netplan.core.errors import NoPlanError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.outputs.layers import plan_layers, write_layers
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import Rules, read_rules
from tests.benchmarks.plan_tables import sections
from tests.support import schutterwald
from tests.support.independent import Walker
from tests.support.verified import check_flow, check_walk

SECTIONS = int(os.environ.get("NETPLAN_SECTIONS", "1"))
NEEDED = ("bypasses", "customers", "pipes", "nodes", "stations", "conditions")
Town = tuple[Network, Rules, float | None, Walker]


@lru_cache(maxsize=2)
def town(name: str) -> Town:
    if name == "sample":
        network = read_network(sample_network())
        layers = {
            str(layer): gpd.read_file(sample_network(), layer=layer)
            for layer, _ in pyogrio.list_layers(sample_network())
        }
        return network, read_rules(), None, Walker(layers, network.scale)
    network = build_network(schutterwald.layers(), strict=False)
    walker = Walker(schutterwald.layers(), network.scale)
    return network, schutterwald.pinned_rules(), schutterwald.MILD_C, walker


@pytest.mark.parametrize("name", ["sample", "schutterwald"])
def test_every_listed_option_holds_after_the_fact(name: str, tmp_path: Path) -> None:
    network, rules, air_temp_c, walker = town(name)
    need = rules.pressure.minimum_mbar + rules.pressure.margin_mbar
    checked = 0
    for part in sections(network, SECTIONS):
        try:
            result = make_plan(PlanRequest(network, (part,), rules, air_temp_c=air_temp_c))
        except NoPlanError:
            continue
        path = tmp_path / "plan.gpkg"
        write_layers({key: rows for key, rows in plan_layers(result).items() if key in NEEDED}, path)
        for option in result.plan.options:
            check_walk(walker, option, [(part.main_id, part.from_m, part.to_m)])
            check_flow(path, option.rank, need, rules.bypass.velocity_max_m_s)
            checked += 1
        path.unlink()
    assert checked >= 2 * SECTIONS
