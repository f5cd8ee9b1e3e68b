"""Laws of the emergency at every main: as the answer for one hit says; a saving is two answers' difference."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from netplan.core.constants import SECONDS_PER_MINUTE
from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.every_main import EveryMain, emergency_at_every_main
from netplan.emergency.hit_places import hits_on_main
from netplan.emergency.maintenance_list import MaintenanceList, maintenance_lists
from netplan.emergency.next_rings import EmergencyRequest
from netplan.emergency.ring_outcome import ring_outcome
from netplan.emergency.ring_search import RingQuestion
from netplan.emergency.valve_gains import ValveGain, ValveGains
from netplan.emergency.valve_places import new_valve_places, valves_to_prove
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.rules import Rules, default_rules, read_rules
from netplan.screening.new_valve import with_valve
from tests.support.valve_grids import valve_grid

SEEDS = range(9)


def _rules(seed: int) -> Rules:
    # Near stops, so that some are barred by the hit and some are not; digging quick enough to matter.
    asked = {"keep_away_m": float((8.0, 20.0, 45.0)[seed % 3]), "minutes_squeeze": (75.0, 12.0)[seed % 2]}
    return read_rules(None, {"emergency": asked})


@cache
def _view(seed: int, crews: int = 1) -> EveryMain:
    return emergency_at_every_main(valve_grid(seed), _rules(seed), crews)


@pytest.mark.parametrize(("crews", "seeds"), [(1, range(6)), (3, range(6, 8))])
def test_every_main_is_what_the_answer_for_its_middle_says(crews: int, seeds: range) -> None:
    met: Counter[str] = Counter()
    for seed in seeds:
        _compare(seed, crews, met)
    assert min(met["a station"], met["no station"]) > 5, met


def _compare(seed: int, crews: int, met: Counter[str]) -> None:
    view = _view(seed, crews)
    network, table = view.tables.network, view.table.to_pylist()
    tables = EmergencyTables(network, view.tables.rules)
    assert len(table) == network.pipes.n_mains > 3
    for main, row in enumerate(table):
        name = network.pipes.id[main]
        hits = hits_on_main(network, name, float(network.pipes.length_m[main]) / 2.0)
        answer = first_answer(tables, hits, EmergencyRequest(name, crews, 10.0))
        for kind, stops in (("valves", "valves_needed"), ("fastest", "fastest_stops")):
            ring = next(one for one in answer.rings if one.kind == kind and one.aim == "least minutes")
            assert row[f"{kind}_minutes"] == pytest.approx(ring.minutes, abs=0.005), name
            assert row[f"{kind}_meters"] == ring.meters, (name, kind)
            assert row[f"{kind}_stations"] == len(ring.stations_to_shut)
            assert row[f"{kind}_shut_stations"] == ", ".join(ring.stations_to_shut)
            assert row[stops] == len(ring.stops)
        assert row["valve_ring"] == ("no" if row["valves_stations"] else "yes")
        met["a station" if row["valves_stations"] else "no station"] += 1


def _proved(network: Network, valve: int) -> Network:
    state, operable = network.valves.state.copy(), network.valves.operable.copy()
    state[valve], operable[valve] = ValveState.OPEN, Operable.YES
    return replace(network, valves=replace(network.valves, state=state, operable=operable))


def _difference(seed: int, network: Network) -> tuple[list[Any], list[Any]]:
    before, after = _view(seed), emergency_at_every_main(network, _rules(seed), 1)
    return list(before.valve_rings), list(after.valve_rings)


def _check(gain: ValveGain, before: list[Any], after: list[Any], length_m: np.ndarray) -> None:
    fewer = [
        (old.seconds - new.seconds, old.meters - new.meters, len(old.stations) - len(new.stations))
        for old, new in zip(before, after, strict=True)
    ]
    seconds, meters, stations = (sum(column) for column in zip(*fewer, strict=True))
    assert (gain.seconds, gain.meters, gain.stations) == (seconds, meters, stations), gain.place
    saved = [old.value - new.value for old, new in zip(before, after, strict=True)]
    assert min(saved) >= 0
    assert gain.mains == sum(value > 0 for value in saved)
    assert gain.weight == pytest.approx(float(np.dot(saved, length_m)))
    assert gain.seconds_m == pytest.approx(float(np.dot([s for s, _, _ in fewer], length_m)))
    assert gain.meters_m == pytest.approx(float(np.dot([m for _, m, _ in fewer], length_m)))


def test_what_a_proved_valve_saves_is_the_difference_of_two_whole_answers() -> None:
    met: Counter[bool] = Counter()
    for seed in SEEDS:
        _check_proved(seed, met)
    assert min(met[True], met[False]) > 5, met


def _check_proved(seed: int, met: Counter[bool]) -> None:
    view = _view(seed)
    network = view.tables.network
    gains = ValveGains(view.tables, view.hits)
    length_m = network.pipes.length_m[: network.pipes.n_mains]
    for place in valves_to_prove(network):
        gain = gains.gain(place)
        _check(gain, *_difference(seed, _proved(network, place.valve)), length_m)
        assert gain.weight <= gains.bound(place)
        met[gain.mains > 0] += 1


def test_what_a_new_valve_saves_is_the_difference_of_two_whole_answers() -> None:
    assert sum(_check_new(seed) for seed in SEEDS) > 20


def _check_new(seed: int) -> int:
    view, saving = _view(seed), 0
    network = view.tables.network
    gains = ValveGains(view.tables, view.hits)
    length_m = network.pipes.length_m[: network.pipes.n_mains]
    for place in new_valve_places(network, gains.splits.bridges)[seed % 2 :: 2]:
        changed = with_valve(network, int(network.pieces.pipe[place.piece]), place.chainage_m)
        gain = gains.gain(place)
        _check(gain, *_difference(seed, changed), length_m)
        assert gain.weight <= gains.bound(place)
        saving += gain.mains > 0
    return saving


@pytest.mark.parametrize("seed", [2, 6])
def test_a_valve_anywhere_else_saves_nothing(seed: int) -> None:
    view = _view(seed)
    network, splits = view.tables.network, ValveGains(view.tables, view.hits).splits
    pieces, bridges = network.pieces, set(splits.bridges.tolist())
    plain = (pieces.pipe < network.pipes.n_mains) & pieces.is_open & (pieces.valve < 0)
    elsewhere = [row for row in np.flatnonzero(plain).tolist() if row not in bridges][:3]
    assert len(elsewhere) == 3
    for piece in elsewhere:
        at_m = (float(pieces.from_m[piece]) + float(pieces.to_m[piece])) / 2.0 + 0.3
        before, after = _difference(seed, with_valve(network, int(pieces.pipe[piece]), at_m))
        assert [ring.value for ring in before] == [ring.value for ring in after]


@pytest.mark.parametrize("seed", [1, 4])
def test_lists_are_complete_ranked_and_proven(seed: int) -> None:
    view = _view(seed)
    network = view.tables.network
    lists = maintenance_lists(view)
    assert len(lists) == 2
    for one in lists:
        assert isinstance(one, MaintenanceList)
        assert {gain.place.valve for gain in one.prove} == {place.valve for place in valves_to_prove(network)}
        assert one.proven
        for gains in (one.prove, one.new):
            weights = [gain.weight for gain in gains]
            assert weights == sorted(weights, reverse=True)


def test_minutes_and_meters_together_are_those_of_that_ring() -> None:
    """The other choice of rings is the one that the answer calls ``fewer meters off``."""
    met: Counter[str] = Counter()
    for seed in SEEDS:
        _other_rings(seed, met)
    assert min(met["another ring"], met["parted"]) > 3, met


def _other_rings(seed: int, met: Counter[str]) -> None:
    view = _view(seed)
    network, rules = view.tables.network, view.tables.rules
    per_minute = 0.5  # dear meters, so that rings differ
    gains = ValveGains(view.tables, view.hits, max(round((1 << 20) * SECONDS_PER_MINUTE / per_minute), 1))
    tables = EmergencyTables(network, rules)
    for main, hit in enumerate(view.hits):
        question = RingQuestion(
            tables, tables.by_valves, (hit,), rules.emergency.keep_away_m, valves_only=True
        )
        cut, ring = question.least_sum(meters_per_minute=per_minute), gains.rings[main]
        outcome = ring_outcome(tables, cut)
        assert ring.seconds == cut.seconds
        assert ring.meters == network.customers.meters[outcome.off].sum()
        assert ring.stations == len(outcome.stations) + len(outcome.injections)
        met["another ring"] += ring.seconds != view.valve_rings[main].seconds
        met["parted"] += bool(outcome.parted.any())


def test_a_town_without_valves_is_answered() -> None:
    network = valve_grid(2)
    none = np.full(len(network.valves), -1, dtype=network.valves.piece.dtype)
    network = replace(network, valves=replace(network.valves, piece=none))
    view = emergency_at_every_main(network, default_rules())
    assert set(view.table["valve_ring"].to_pylist()) == {"no"}
    assert {one.prove for one in maintenance_lists(view)} == {()}
