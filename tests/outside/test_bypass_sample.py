"""The sample town's bypass is the smallest that holds: pandapipes 0.16 on plan.gpkg alone says so too."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, write_layers
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import default_rules
from tests.compared import compared
from tests.support.gpkg_flow import read, rebuild
from tests.support.networks import customers_cut_off

SAMPLE = Path(__file__).parents[2] / "sample_network" / "town.gpkg"
AGREE_MBAR = 0.05
BORES_MM = (25.0, 38.0, 51.0, 63.0, 76.0, 102.0)


def _mains_that_strand_most(network: Network) -> list[WorkPart]:
    pieces, found = network.pieces, []
    for row in np.flatnonzero(network.pipes.length_m[: network.pipes.n_mains] >= 40.0):
        middle = float(network.pipes.length_m[row]) / 2.0
        carries = pieces.is_open.copy()
        carries[(pieces.pipe == row) & (pieces.from_m <= middle) & (pieces.to_m > middle)] = False
        main_id = network.pipes.id[row]
        found.append((-len(customers_cut_off(network, carries)), main_id, middle))
    return [WorkPart(main_id, middle - 3.0, middle + 3.0) for _, main_id, middle in sorted(found)[:6]]


def _plan_with_a_bypass(network: Network) -> PlanResult | None:
    for part in _mains_that_strand_most(network):
        result = make_plan(PlanRequest(network, (part,), default_rules(), options=1))
        if result.plan.options[0].bypasses:
            return result
    return None


@pytest.mark.slow
def test_the_samples_bypass_is_the_smallest(tmp_path: Path) -> None:
    result = _plan_with_a_bypass(read_network(SAMPLE))
    assert result is not None
    write_layers(plan_layers(result), tmp_path / "plan.gpkg")
    layers = read(tmp_path / "plan.gpkg", 1)
    theirs = rebuild(layers)
    nodes = layers["nodes"]
    ours = nodes.pressure_mbar.to_numpy(float)
    both = ~np.isnan(ours) & ~np.isnan(theirs.at(nodes.node))
    assert both.sum() > 1000
    compared(
        "sample town: every pressure after the stops, from plan.gpkg alone",
        ours[both],
        theirs.at(nodes.node[both]),
        abs=AGREE_MBAR,
        unit="mbar",
        source="pandapipes 0.16.0",
        how="library",
    )
    rules = default_rules()
    need = rules.pressure.minimum_mbar + rules.pressure.margin_mbar
    customers = layers["customers"]
    behind = customers[customers.kept_by == "B1"].node
    assert theirs.at(behind).min() >= need - AGREE_MBAR
    bypass = result.plan.options[0].bypasses[0]
    compared(
        "sample town: flow of the bypass, from plan.gpkg alone",
        theirs.bypass_flow_m3h["B1"],
        bypass.flow_m3h,
        rel=0.005,
        unit="m³/h",
        source="pandapipes 0.16.0",
        how="library",
    )
    place = BORES_MM.index(bypass.bore_mm)
    assert place > 0
    # Up to 50 mm only the rules' 6 counts, by hand.
    smaller = rebuild(layers, {"B1": (BORES_MM[place - 1], bypass.parallel, 6.0)})
    fast = smaller.bypass_velocity_m_s["B1"] > rules.bypass.velocity_max_m_s
    assert fast or smaller.at(behind).min() < need
