"""A plan by district is the plan on the whole source; pressure systems over borders are those of the whole.

More towns: NETPLAN_DISTRICT_TOWNS=100 python -m pytest tests/laws/test_district_plans.py
"""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.make_plan import PlanRequest
from netplan.readers import read_network, write_layers
from netplan.readers.districts.build_index import build_index
from netplan.readers.districts.district_index import read_index
from netplan.readers.districts.district_sources import open_districts
from netplan.readers.districts.near_network import NearDistricts, NearNames
from netplan.rules import read_rules
from tests.support.district_plans import compare_plans, plan_near, plan_or_reason, same_systems
from tests.support.district_towns import beside_each_other, cut_into_districts, with_services_near
from tests.support.varied_city import varied_layers
from tests.whole_plan.towns import Town, random_town

TOWNS = int(os.environ.get("NETPLAN_DISTRICT_TOWNS", "2"))
FIRST = int(os.environ.get("NETPLAN_DISTRICT_FIRST", "0"))
APART_M = 25.0
"""Between two towns: within reach of a hose."""


def compared(town: Town, folder: Path, seen: Counter[str]) -> None:
    """Plan a town beside another one by district and on the whole, and compare."""
    other = random_town(town.seed + 5_000)
    layers = beside_each_other(town.layers(), other.layers(), APART_M + 400.0 * (town.seed % 2))
    write_layers(layers, folder / "whole")
    cut_into_districts(layers, folder / "source", 4, 2)
    source = open_districts(str(folder / "source"))
    build_index(source, folder / "index")
    index = read_index(folder / "index")
    whole = read_network(folder / "whole")
    _, several = same_systems(index, whole)
    seen["systems over borders"] += several
    rules = read_rules(None, overrides=town.rules)

    def request_on(network: Network) -> PlanRequest:
        rows = [network.customers.id.find(name) for name in town.own_supply]
        return PlanRequest(
            network,
            tuple(WorkPart(*part) for part in town.work),
            rules,
            air_temp_c=town.air_temp_c,
            own_supply=tuple(sorted(rows)),
            weather=False,
        )

    names = NearNames(mains=tuple(main for main, *_ in town.work), customers=town.own_supply)
    near, network, more = plan_near(NearDistricts(source, index, names), request_on)
    there = plan_or_reason(request_on(whole))
    everything = len(network.pipes) == len(whole.pipes)
    seen["read in part"] += not everything
    seen["read more"] += more > 0
    if not everything and isinstance(there, str) and there.startswith("NotSolvedError"):
        # A system that was not read may be the one without a solution.
        seen["not solved"] += 1
        return
    if isinstance(near, str) or isinstance(there, str):
        seen["no plan"] += 1
        assert near == there
        return
    seen["plan"] += 1
    compare_plans(near, there, network, everything=everything)


def test_random_towns(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    for seed in range(FIRST, FIRST + TOWNS):
        print(f"town {seed}")  # noqa: T201
        compared(random_town(seed), tmp_path / str(seed), seen)
    print(dict(seen))  # noqa: T201
    assert seen["plan"] >= max(TOWNS // 3, 1)
    assert seen["read in part"] >= max(TOWNS // 3, 1)
    assert seen["systems over borders"] >= TOWNS


def test_systems_of_a_varied_city(tmp_path: Path) -> None:
    layers = with_services_near(varied_layers(4_000, seed=7))
    cut_into_districts(layers, tmp_path / "source", 3, 3)
    build_index(open_districts(str(tmp_path / "source")), tmp_path / "index")
    _, several = same_systems(read_index(tmp_path / "index"), build_network(layers))
    assert several >= 1
