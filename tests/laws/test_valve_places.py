"""Where one more valve helps most: the list against every place there is, by adding the valve and screening again.

The valve is added to the layers, which are joined anew. The suite takes a few places of some random towns;
``NETPLAN_VALVE_TOWNS=20 pytest tests/laws/test_valve_places.py`` takes every segment of that many, near both
ends, in the middle and at a random place.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from netplan.core.errors import NoPlanError
from netplan.graph.compiled_cut import _interpreted
from netplan.isolation.segment_geometry import segment_geometry
from netplan.isolation.segment_graph import segment_graph
from netplan.network.build import build_network
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.outputs.screen_report import report_text
from netplan.outputs.screen_table import ranked_mains
from netplan.rules import read_rules
from netplan.rules.rule_set import Rules
from netplan.screening import Screen, ScreenSettings, screen
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.new_valve import halfway, places_on, with_valve
from netplan.screening.valve_bounds import FoundMains, ValveBounds
from netplan.screening.valve_candidates import ValvePlaces, best_valves
from tests.support.networks import EAST_M, NORTH_M, layers, valve
from tests.whole_plan.towns import random_town

MORE = int(os.environ.get("NETPLAN_VALVE_TOWNS", "0"))
TOWNS = range(MORE) if MORE else (3, 5, 8, 10, 12)
PLACES = 10_000 if MORE else 6
"""Places tried of a town."""
QUICK = ScreenSettings(pressure=False)
Rows = dict[str, Any]


def _with_valve(rows: Rows, network: Network, pipe: int, chainage_m: float) -> Network:
    """Return the network read with a valve more; where a pipe beside takes it, with the valve put in."""
    more = valve("ZZ", _at(network, pipe, chainage_m))
    read = build_network(layers(**{**rows, "valves": [*rows.get("valves", ()), more]}), strict=False)
    if read.valves.pipe[read.valves.id.find("ZZ")] == pipe:
        return read
    return with_valve(network, pipe, chainage_m)


def _saved(before: Screen, after: Screen) -> float:
    """Return the difference of the sums of both screens, over the mains that stops are found for in both."""
    return float(np.nansum(before.column("burden_least") - after.column("burden_least")))


def _saved_a_year(before: Screen, after: Screen) -> float:
    """Return the same for as many works a year as the rules have on each main."""
    works = (
        before.rules.measures.works_per_km_year * before.network.pipes.length_m[: len(before.table)] / 1000
    )
    return float(np.nansum((before.column("burden_least") - after.column("burden_least")) * works))


def _places(network: Network, rules: Rules, seed: int) -> Iterator[tuple[int, int, float]]:
    """Yield chain, main and chainage: near both ends of every segment, in its middle, and anywhere."""
    index, rng = segment_graph(network), np.random.default_rng(seed)
    for segment in rng.permutation(len(index.segment_a)).tolist():
        chain = index.segment_chain.item(segment)
        for pipe, at_m, _ in places_on(index, segment, rules):
            yield chain, pipe, at_m
        leg = segment_geometry(index, segment).legs[0]
        length_m = leg.end_m - leg.start_m
        if length_m > 0.1:
            for share in (0.5, float(rng.uniform(0.02, 0.98))):
                yield chain, leg.pipe, leg.chainage(leg.start_m + share * length_m)


def _chains_named(network: Network, found: ValvePlaces) -> set[int]:
    index, named = segment_graph(network), set()
    for place in found.places:
        pipe = network.pipes.id.find(place.main_id)
        rows = np.array(network.pieces.rows_of(pipe))
        inside = (network.pieces.from_m[rows] < place.chainage_m) & (
            place.chainage_m < network.pieces.to_m[rows]
        )
        named.add(index.segment_chain.item(index.segment_of.item(rows[inside][0])))
    return named


def _at(network: Network, pipe: int, chainage_m: float) -> tuple[float, float]:
    x, y = points_at(network, np.array([pipe]), np.array([chainage_m]))[0]
    return float(x) - EAST_M, float(y) - NORTH_M


def _check(rows: Rows, rules: Rules, folder: Path, seed: int, wanted: int) -> tuple[ValvePlaces, float]:
    """Hold the list against places of all kinds; return it and the greatest saving found elsewhere."""
    network = build_network(layers(**rows), strict=False)
    before = screen(network, rules, QUICK, folder=folder / "before")
    found = best_valves(before, wanted)
    # A minor unit a main is what rounding the gas of a divided length may change, and weights are whole centimetres.
    works_a_year = (
        rules.measures.works_per_km_year * network.pipes.length_m[: network.pipes.n_mains].sum() / 1000
    )
    rounding = 0.01 * works_a_year + 0.02
    for place in found.places:
        put = _with_valve(rows, network, network.pipes.id.find(place.main_id), place.chainage_m)
        after = screen(put, rules, QUICK, folder=folder / "after")
        assert place.saved == pytest.approx(_saved(before, after), abs=0.02 * network.pipes.n_mains)
        assert place.saved_a_year == pytest.approx(_saved_a_year(before, after), abs=2 * rounding)
    savings = [place.saved_a_year for place in found.places]
    assert savings == sorted(savings, reverse=True)
    last = savings[-1] if found.places else 0.0
    named, most = _chains_named(network, found), 0.0
    some = [place for place in _places(network, rules, seed) if place[0] not in named]
    for _, pipe, at_m in some[:PLACES]:
        after = screen(_with_valve(rows, network, pipe, at_m), rules, QUICK, folder=folder / "after")
        saved = _saved_a_year(before, after)
        most = max(most, saved)
        assert saved <= max(found.others_at_most, last) + rounding, (pipe, at_m)
        assert not found.proven or saved < last + 1.0 + rounding, (pipe, at_m)
    return found, most


@pytest.mark.parametrize("seed", TOWNS)
def test_no_place_beats_the_last_one_named_by_more_than_is_said(seed: int, tmp_path: Path) -> None:
    town = random_town(seed)
    rules = read_rules(None, overrides=town.rules)
    rows = {name: some for name, some in town.rows.items() if some}
    found, _ = _check(rows, rules, tmp_path, seed, wanted=10 if MORE else 3)
    assert found.places
    assert found.tried


@pytest.mark.parametrize("seed", range(MORE) if MORE else (3, 8))
def test_no_main_saves_more_than_its_bound_and_no_other_changes(seed: int, tmp_path: Path) -> None:
    town = random_town(seed)
    rules = read_rules(None, overrides=town.rules)
    found = screen(build_network(town.layers(), strict=False), rules, QUICK, folder=tmp_path / "blocks")
    numbers, helped, hindered = np.unique(found.districts.of_main).tolist(), 0, 0
    some = FoundMains(found)
    for bounds in (ValveBounds(found, some, number) for number in numbers):
        mains = [
            main for main in range(bounds.district.network.pipes.n_mains) if _bound(bounds.evaluator, main)
        ]
        coarse = bounds.coarse()
        for segment in (
            np.random.default_rng(seed).permutation(len(bounds.price_minor))[: 2 * PLACES].tolist()
        ):
            most, concerned = bounds.most_minor(segment), set(bounds.concerned(segment))
            assert bounds.weighted(most) <= coarse[segment]
            middle = halfway(segment_geometry(bounds.index, segment))
            for place in (*places_on(bounds.index, segment, rules), middle):
                if middle.from_end_m < 0.1:
                    continue  # a valve
                network = with_valve(bounds.district.network, place.pipe, place.chainage_m)
                changed = MainEvaluator(replace(bounds.district, network=network))
                for main in mains:
                    after = _bound(changed, main)
                    saved = 0 if after is None else bounds.known(main).bound_minor - after
                    # A minor unit is what rounding the gas of a divided length may change.
                    assert saved <= most.get(main, 0) + 1, (segment, place, main)
                    assert main in concerned or abs(saved) <= 1, (segment, place, main)
                    helped, hindered = helped + (saved > 1), hindered + (saved < -1)
    assert helped
    assert hindered or MORE


def _bound(evaluator: MainEvaluator, main: int) -> int | None:
    try:
        return evaluator.search(main).outline().bound_minor
    except NoPlanError:
        return None


def test_places_are_the_same_compiled_and_interpreted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    town = random_town(8)
    network, rules = build_network(town.layers(), strict=False), read_rules(None, overrides=town.rules)
    one = best_valves(screen(network, rules, QUICK, folder=tmp_path / "one"))
    monkeypatch.setattr("netplan.graph.compiled_cut._compiled", lambda: _interpreted)
    assert best_valves(screen(network, rules, QUICK, folder=tmp_path / "other")) == one
    assert len(one.places) > 3


def test_a_list_cut_short_says_what_another_place_may_save(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    town = random_town(2)
    network, rules = build_network(town.layers(), strict=False), read_rules(None, overrides=town.rules)
    before = screen(network, rules, QUICK, folder=tmp_path / "blocks")
    whole = best_valves(before, 3)
    assert len(whole.places) == 3
    assert whole.gap == pytest.approx(whole.others_at_most - whole.places[-1].saved_a_year, abs=0.01)
    for most in (2, 1, 0):
        monkeypatch.setattr("netplan.screening.valve_candidates.MOST_TRIED", most)
        short = best_valves(before, 3)
        left_out = [place.saved_a_year for place in whole.places if place not in short.places]
        assert short.tried == most
        assert short.others_at_most >= max(left_out)
    assert (short.places, short.proven) == ((), False)
    mains = ranked_mains(before, "customers")
    shown = (whole, short, replace(whole, others_at_most=whole.places[-1].saved_a_year + 0.5))
    texts = [report_text(before, mains, "customers", one, None) for one in shown]
    assert (
        f"up to {math.ceil(whole.others_at_most):,} EUR a year, {math.ceil(whole.gap):,} EUR more than"
        in texts[0]
    )
    assert "A shortlist: " in texts[0]
    assert "Nowhere found: 0 lengths of main were tried" in texts[1]
    assert (
        "on no other run can a valve anywhere save a whole EUR a year more than the last one named"
        in texts[2]
    )
    assert "shortlist" not in texts[2]
