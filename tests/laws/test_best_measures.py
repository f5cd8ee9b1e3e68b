"""Where money helps most: every measure named, and others, against putting them in and screening every main again.

A measure is written into the layers, which are joined anew, a link besides into the joined network. The suite takes
some random towns; ``NETPLAN_MEASURE_TOWNS=12 pytest tests/laws/test_best_measures.py`` takes that many, and every gap.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.outputs.measures_table import measures_section
from netplan.outputs.number_format import METRIC
from netplan.rules import read_rules
from netplan.rules.rule_set import Rules
from netplan.screening import Screen, ScreenSettings, screen
from netplan.screening.best_measures import LEAST_A_YEAR, BestMeasures, best_measures
from netplan.screening.link_candidates import near_gaps
from netplan.screening.measure_rows import Measure, MeasureKind
from netplan.screening.new_link import mains_at, straight_m, with_link
from tests.support.networks import EAST_M, NORTH_M, layers, line, valve
from tests.whole_plan.towns import random_town

MORE = int(os.environ.get("NETPLAN_MEASURE_TOWNS", "0"))
TOWNS = range(MORE) if MORE else (6, 13)
GAPS = 10_000 if MORE else 5
"""Gaps of a town that are tried besides."""
REACH_M, WANTED = 60.0, 10
QUICK = ScreenSettings(pressure=False)
Rows = dict[str, Any]


class _Town:
    """A random town, its screen, and what a change of its layers saves a year."""

    def __init__(self, seed: int, folder: Path) -> None:
        town = random_town(seed)
        self.rules: Rules = read_rules(None, overrides=town.rules)
        self.rows: Rows = {name: some for name, some in town.rows.items() if some}
        self.network = build_network(layers(**self.rows), strict=False)
        self._folder = folder
        self.before = self._screen(self.network)
        self.works = self.rules.measures.works_per_km_year * self._length_m() / 1000
        # A minor unit a main is what rounding the gas of a divided length may change; weights are whole centimetres.
        self.rounding = 0.02 * float(self.works.sum()) + 0.02

    def _length_m(self) -> Any:
        return self.network.pipes.length_m[: self.network.pipes.n_mains]

    def _screen(self, network: Network) -> Screen:
        return screen(network, self.rules, QUICK, folder=self._folder / "blocks")

    def savings(self, network: Network) -> Any:
        """Return what each main of the town saves a year with the network changed."""
        after = self._screen(network)
        ids = after.table["main_id"].to_pylist()
        burden = dict(zip(ids, after.column("burden_least").tolist(), strict=True))
        now = np.array([burden[name] for name in self.before.table["main_id"].to_pylist()])
        return np.nan_to_num((self.before.column("burden_least") - now) * self.works)

    def saved(self, network: Network) -> float:
        """Return what all save."""
        return float(self.savings(network).sum())

    def with_valve_usable(self, valve_id: str) -> Network:
        rows = [
            {**row, "operable": "yes", "state": "open" if row["state"] == "unknown" else row["state"]}
            if row["id"] == valve_id
            else row
            for row in self.rows["valves"]
        ]
        return build_network(layers(**{**self.rows, "valves": rows}), strict=False)

    def nodes_at(self, row: Measure) -> tuple[int, int]:
        """Return the nodes at the ends of a link."""
        assert row.to_x_m is not None
        assert row.to_y_m is not None
        nodes, network = self.network.nodes, self.network
        found = []
        for main, x, y in ((row.main_id, row.x_m, row.y_m), (row.to_main, row.to_x_m, row.to_y_m)):
            at = np.flatnonzero((nodes.x_m == x) & (nodes.y_m == y))
            own = [node for node in at.tolist() if network.pipes.id.find(main) in mains_at(network, node)]
            found.append(own[0])
        return found[0], found[1]

    def with_link_read(self, a: int, b: int) -> Network | None:
        """Return the town read with a main between two nodes and a valve in it; None where it joins other pipes."""
        pipes, nodes = self.network.pipes, self.network.nodes
        mains = sorted(mains_at(self.network, a) | mains_at(self.network, b))
        like = pipes.id[max(mains, key=lambda main: (pipes.bore_m[main], -main))]
        ends = [(float(nodes.x_m[node]) - EAST_M, float(nodes.y_m[node]) - NORTH_M) for node in (a, b)]
        (row,) = (dict(row) for row in self.rows["mains"] if row["id"] == like)
        row |= {"id": "ZZ", "geometry": line(*ends), "street": ""}
        middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
        more = {
            "mains": [*self.rows["mains"], row],
            "valves": [*self.rows.get("valves", ()), valve("ZZ", middle)],
        }
        network = build_network(layers(**{**self.rows, **more}), strict=False)
        link, pieces = network.pipes.id.find("ZZ"), network.pieces
        is_clean = len(network.nodes) == len(self.network.nodes) + 2
        is_clean &= network.valves.pipe[network.valves.id.find("ZZ")] == link
        return network if is_clean and len(pieces.rows_of(link)) == 3 else None


@pytest.fixture(params=TOWNS, name="town", scope="module")
def _town(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[_Town, BestMeasures]:
    town = _Town(request.param, tmp_path_factory.mktemp("town"))
    return town, best_measures(town.before, REACH_M, WANTED)[1]


def test_repairs_and_records_are_those_that_save_most(town: tuple[_Town, BestMeasures]) -> None:
    here, found = town
    named = {row.valve_id: row for row in found.ranked if row.valve_id}
    valves = here.network.valves
    unusable = [
        valves.id[row]
        for row in np.flatnonzero(
            (valves.operable != Operable.YES) | (valves.state == ValveState.UNKNOWN)
        ).tolist()
        if 0 <= valves.pipe[row] < here.network.pipes.n_mains
    ]
    assert unusable or MORE
    every: dict[MeasureKind, list[float]] = {MeasureKind.REPAIR: [], MeasureKind.VERIFY: []}
    for name in unusable:
        saved = here.saved(here.with_valve_usable(name))
        if name in named:
            assert named[name].saved_a_year == pytest.approx(saved, abs=here.rounding)
        seized = valves.operable[valves.id.find(name)] == Operable.NO
        every[MeasureKind.REPAIR if seized else MeasureKind.VERIFY].append(saved)
    for of_kind in found.kinds:
        if of_kind.kind in every:
            best = sorted((saved for saved in every[of_kind.kind] if saved >= LEAST_A_YEAR), reverse=True)[
                :WANTED
            ]
            listed = [row.saved_a_year for row in of_kind.rows if row.saved_a_year >= LEAST_A_YEAR]
            assert of_kind.proven
            assert listed == pytest.approx(best, abs=here.rounding)


def test_links_save_what_screening_again_saves_and_no_other_more(town: tuple[_Town, BestMeasures]) -> None:
    here, found = town
    (links,) = (of_kind for of_kind in found.kinds if of_kind.kind is MeasureKind.LINK)
    helped = []
    assert links.others_at_most >= 0.0
    for row in links.rows:
        a, b = here.nodes_at(row)
        savings = here.savings(with_link(here.network, a, b))
        assert row.saved_a_year == pytest.approx(savings.sum(), abs=here.rounding)
        helped.append(set(np.flatnonzero(savings > 0.0).tolist()))
        read = here.with_link_read(a, b)
        if read is not None:
            assert row.saved_a_year == pytest.approx(here.saved(read), abs=here.rounding)
        assert row.price == pytest.approx(3000.0 + 180.0 * straight_m(here.network, a, b))
    last = links.rows[-1].saved_a_year if len(links.rows) == WANTED else 0.0
    pairs, _ = near_gaps(here.network, here.before.loss.tree, REACH_M)
    of_node = here.before.districts.of_node
    pairs = pairs[of_node[pairs[:, 0]] == of_node[pairs[:, 1]]]
    for a, b in np.random.default_rng(1).permutation(pairs)[:GAPS].tolist():
        if mains_at(here.network, a) & mains_at(here.network, b):
            continue
        savings = here.savings(with_link(here.network, a, b))
        mine = set(np.flatnonzero(savings > 0.0).tolist())
        if not any(2 * len(mine & other) >= len(mine) for other in helped if mine):
            assert savings.sum() <= max(last, links.others_at_most, LEAST_A_YEAR) + here.rounding, (a, b)


def test_ten_are_named_of_all_kinds_and_the_gap_is_said(town: tuple[_Town, BestMeasures]) -> None:
    here, found = town
    savings = [row.saved_a_year for row in found.ranked]
    assert savings
    assert savings == sorted(savings, reverse=True)
    assert {row.kind for row in found.ranked} > {MeasureKind.VALVE} or MORE
    most = max(of_kind.others_at_most for of_kind in found.kinds)
    assert found.gap(3) == pytest.approx(max(0.0, most - savings[2]), abs=0.01)
    text = "\n".join(measures_section(found, here.rules, METRIC))
    assert text.startswith("## Where money helps most")
    assert all(row.main_id in text for row in found.ranked[:10])
