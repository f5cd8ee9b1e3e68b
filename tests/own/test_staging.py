"""Staging: order along a renewal, borders, and the split of a small street against every split there is."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pandas as pd
import pyogrio
import pytest

from netplan.core.errors import BadWorkError, NoPlanError
from netplan.network.model import Network
from netplan.outputs.stage_folder import write_stages_folder
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from netplan.staging import StageCandidate, renewal_of_mains, renewal_of_street, stage_renewal
from netplan.staging import renewal_stages as staging_run
from tests.support.streets import long_row


def _request(network: Network, **staging: float) -> PlanRequest:
    rules = read_rules(None, {"staging": {"step_m": 50, "longest_m": 60, "shortest_m": 10, **staging}})
    return PlanRequest(network, (), rules, air_temp_c=4.0, options=2)


def test_mains_are_put_in_order_and_turned() -> None:
    network = long_row()
    renewal = renewal_of_street(network, "LONG ROW")
    assert [(network.pipes.id[leg.pipe], leg.start_m, leg.forward) for leg in renewal.legs] == [
        ("A", 0.0, True),
        ("B", 60.0, False),
        ("C", 110.0, True),
    ]
    parts, _ = renewal.section(network, 50.0, 80.0)
    assert [(p.main_id, p.from_m, p.to_m) for p in parts] == [("A", 50.0, 60.0), ("B", 30.0, 50.0)]
    assert renewal_of_mains(network, ["C", "A", "B"]) == renewal
    with pytest.raises(BadWorkError, match=r"did you mean .*Long Row"):
        renewal_of_street(network, "Longrow")


def test_borders_stand_at_ends_of_mains_and_near_enough() -> None:
    network = long_row()
    borders = staging_run.borders_of(network, renewal_of_street(network, "Long Row"), 20.0)
    assert {0.0, 60.0, 110.0, 160.0} <= set(borders)
    assert all(0 < b - a <= 20.0 for a, b in itertools.pairwise(borders))


@pytest.mark.parametrize("valves", [(), (75.0,), (30.0, 90.0)])
@pytest.mark.parametrize("share_m", [0.0, 4.0])
def test_the_stages_are_the_best_of_every_split(valves: tuple[float, ...], share_m: float) -> None:
    network = long_row(valves)
    request = _request(network, share_m=share_m)
    renewal = renewal_of_street(network, "Long Row")
    borders = staging_run.borders_of(network, renewal, request.rules.staging.step_m)
    sections = staging_run._Sections(request, renewal, borders)
    count = len(borders)
    ways = {pair: sections.ways(*pair) for pair in itertools.combinations(range(count), 2)}

    def saved(left: StageCandidate, right: StageCandidate) -> int:
        """Every pairing of stops that one place serves, tried in turn."""
        pairs = [
            (i, j, min(a.price_minor, b.price_minor))
            for i, a in enumerate(left.what.cut.stops)
            for j, b in enumerate(right.what.cut.stops)
            if (a.valve >= 0 and a.valve == b.valve)
            or (a.valve < 0 and b.valve < 0 and (a.pipe, a.method) == (b.pipe, b.method)
                and abs(a.chainage_m - b.chainage_m) <= share_m)
        ]  # fmt: skip
        best = 0
        for size in range(len(pairs) + 1):
            for some in itertools.combinations(pairs, size):
                if len({p[0] for p in some}) == len({p[1] for p in some}) == size:
                    best = max(best, sum(p[2] for p in some))
        return best

    best: Any = None
    for size in range(count - 1):
        for inner in itertools.combinations(range(1, count - 1), size):
            chain = list(itertools.pairwise((0, *inner, count - 1)))
            if all(ways[pair] for pair in chain):
                for chosen in itertools.product(*(ways[pair] for pair in chain)):
                    burden = sum(w.burden_minor for w in chosen)
                    burden -= sum(saved(a, b) for a, b in itertools.pairwise(chosen))
                    one = (max(w.off for w in chosen), burden)
                    best = one if best is None else min(best, one)
    found = stage_renewal(request, renewal)
    assert (found.most_off, found.burden_minor) == best
    assert found.burden_minor == sum(s.burden_minor - s.shared_minor for s in found.stages)
    assert found.stages[0].from_m == 0.0
    assert found.stages[-1].to_m == pytest.approx(renewal.length_m, abs=1e-3)
    assert all(a.to_m == b.from_m for a, b in itertools.pairwise(found.stages))
    assert all(10.0 - 0.01 <= s.to_m - s.from_m <= 60.0 + 0.01 for s in found.stages)


def test_a_valve_between_two_stages_is_paid_for_once() -> None:
    network = long_row((75.0,))
    found = stage_renewal(_request(network), renewal_of_street(network, "Long Row"))
    shared = [stage.cut.stops[row] for stage in found.stages for row in stage.shared]
    assert sum(stage.shared_minor for stage in found.stages) == sum(stop.price_minor for stop in shared) > 0


def test_lengths_that_cannot_be_are_no_plan() -> None:
    network = long_row()
    request = _request(network, longest_m=11, shortest_m=11)
    with pytest.raises(NoPlanError):
        stage_renewal(request, renewal_of_street(network, "Long Row"))


def test_the_folder_holds_a_table_and_a_map_of_each_stage(tmp_path: Path) -> None:
    network = long_row()
    found = stage_renewal(_request(network), renewal_of_street(network, "Long Row"))
    out = write_stages_folder(found, tmp_path / "stages")
    table = pd.read_csv(out / "stages.csv")
    assert table["burden"].sum() * 100 == pytest.approx(found.burden_minor)
    assert table["customers_off"].max() == found.most_off
    assert {name for name, _ in pyogrio.list_layers(out / "stages.gpkg")} >= {"work", "zones", "stops"}
    pages = sorted(path.name for path in out.glob("*.html"))
    assert pages == [f"stage-{k}.html" for k in range(1, len(found.stages) + 1)]
