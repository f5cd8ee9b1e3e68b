"""Rings of an emergency: cut off from every station, least time, who loses gas, and always an answer.

Everything is checked from raw layers and emergency.json alone (`tests.whole_emergency`). A seeded share runs by
default; all of it with ``python -m tests.whole_emergency 0:300``, ``small 0:300``, ``schutterwald 0:10`` and
``damaged 2000``.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.support.networks import customer, layers, main, service, station, valve
from tests.whole_emergency.answer_case import AnswerCase, rules_with
from tests.whole_emergency.asking import ask
from tests.whole_emergency.damaged import run_damaged
from tests.whole_emergency.exhaustive import least_makespan
from tests.whole_emergency.exhaustive_runs import run_small_town
from tests.whole_emergency.hit_draws import lon_lat_words
from tests.whole_emergency.real_town import run_real_town
from tests.whole_emergency.ring_checks import check_answer
from tests.whole_emergency.runs import more_valves, run_town
from tests.whole_plan.making import write_layers
from tests.whole_plan.towns import random_town
from tests.whole_plan.walk import Raw

Answer = dict[str, Any]


@pytest.mark.parametrize("seed", [41])
def test_rings_hold_by_an_independent_walk(seed: int, tmp_path: Path) -> None:
    run = run_town(seed, tmp_path, most=3)
    assert [f"{where}: {breach}" for where, breach in run.found] == []
    assert run.holds["ring"] >= 3


def test_rings_of_a_real_town_hold(tmp_path: Path) -> None:
    run = run_real_town(1, tmp_path, most=2)
    assert [f"{where}: {breach}" for where, breach in run.found] == []
    assert run.holds["ring"] >= 2


@pytest.mark.parametrize("seed", [9])
def test_no_ring_of_a_small_town_is_better(seed: int, tmp_path: Path) -> None:
    run = run_small_town(seed, tmp_path, most=2)
    assert [f"{where}: {breach}" for where, breach in run.found] == []
    assert run.holds["valves, 1 crews"] > 0


@pytest.mark.parametrize("seed", range(4))
def test_an_answer_comes_whatever_the_records(seed: int, tmp_path: Path) -> None:
    run = run_damaged(10_000 + seed, tmp_path)
    assert not run.fault, f"{run.damage}, {run.asked}"


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> tuple[Raw, Path]:
    """Return three mains that meet, a station at the far end of each, valves on two of them, and their file.

    Valve V4 lies 15 m from the hit, within the keep-away distance.
    """
    rows: dict[str, Any] = {
        "mains": [
            main("M1", (0, 0), (200, 0), year=2001),
            main("M2", (200, 0), (400, 0), year=2001),
            main("M3", (200, 0), (200, 150), year=2001),
        ],
        "regulators": [station("R1", (0, 0)), station("R2", (400, 0)), station("R3", (200, 150))],
        "valves": [valve(f"V{k}", (x, 0)) for k, x in enumerate((40, 60, 330, 350, 175))],
        "services": [service(f"S{x}", (x, 0), (x, 8)) for x in (20, 120, 260)],
        "customers": [customer(f"C{x}", (x, 8), service_id=f"S{x}") for x in (20, 120, 260)],
    }
    folder = tmp_path_factory.mktemp("town")
    write_layers(layers(**rows), folder / "town.gpkg")
    return Raw(layers(**rows)), folder / "town.gpkg"


@pytest.fixture(scope="module")
def answer(town: tuple[Raw, Path], tmp_path_factory: pytest.TempPathFactory) -> Answer:
    """Return the answer for a hit that valves part from two stations, and a dig from the third."""
    out = tmp_path_factory.mktemp("answer") / "out"
    return ask(town[1], out, ["--main", "M1", "--at-m", "190"]).data


def test_the_example_is_parted_as_it_has_to_be(answer: Answer) -> None:
    valves, fastest = answer["rings"][:2]
    assert [stop["valve_id"] for stop in valves["stops"]] == ["V1", "V2"]
    assert valves["stations_to_shut"] == ["R3"]
    assert sorted(valves["customers_off"]) == ["C120", "C260"]
    assert [stop["kind"] for stop in fastest["stops"]] == ["valve", "valve", "squeeze"]
    assert fastest["stations_to_shut"] == []
    ready = {
        tuple(one["if_failed"]): [stop["valve_id"] for stop in one["ring"]["stops"]]
        for one in answer["next_rings"]
        if one["ring"]["kind"] == "valves"
    }
    assert ready[("V1",)] == ["V0", "V2"]
    assert ready[("V2",)] == ["V1", "V3"]


def broken(town: tuple[Raw, Path], data: Answer) -> set[str]:
    case = AnswerCase(town[0], rules_with({}), data)
    check_answer(case)
    return {breach.rule for breach in case.found}


def lose_stop(data: Answer) -> None:
    data["rings"][0]["stops"].pop()


def lose_customer(data: Answer) -> None:
    data["rings"][0]["customers_off"].pop()


def add_customer(data: Answer) -> None:
    data["rings"][0]["customers_off"].append("C20")


def shut_a_station_for_nothing(data: Answer) -> None:
    shut = data["rings"][0]["stations_to_shut"]
    shut.append(next(one["id"] for one in data["stations"] if one["id"] not in shut))


def dig_in_the_valve_ring(data: Answer) -> None:
    dug = next(stop for stop in data["rings"][1]["stops"] if stop["kind"] != "valve")
    data["rings"][0]["stops"].append(dug)


def minutes_too_few(data: Answer) -> None:
    data["rings"][1]["minutes"] -= 5.0


def stop_moved_to_the_hit(data: Answer) -> None:
    hit = data["hits"][0]
    stop = next(stop for stop in data["rings"][1]["stops"] if stop["kind"] != "valve")
    stop.update(main_id=hit["main_id"], chainage_m=hit["chainage_m"] + 3.0)


def no_ring_ready(data: Answer) -> None:
    data["next_rings"] = []


def bound_too_high(data: Answer) -> None:
    data["rings"][0]["proof"]["lower_bound_min"] += 30.0


PLANTED: dict[Callable[[Answer], None], str] = {
    lose_stop: "gas reaches the hit",
    lose_customer: "who loses gas",
    add_customer: "who loses gas",
    shut_a_station_for_nothing: "a station is shut for nothing",
    dig_in_the_valve_ring: "a valve ring of other stops",
    minutes_too_few: "minutes of a ring",
    stop_moved_to_the_hit: "within the keep-away distance",
    no_ring_ready: "a ring is ready for each valve",
    bound_too_high: "bound above the minutes",
}


@pytest.mark.parametrize("plant", PLANTED, ids=lambda plant: plant.__name__)
def test_a_fault_planted_in_an_answer_is_found(
    plant: Callable[[Answer], None], town: tuple[Raw, Path], answer: Answer
) -> None:
    assert broken(town, copy.deepcopy(answer)) == set()
    data = copy.deepcopy(answer)
    plant(data)
    assert PLANTED[plant] in broken(town, data)


def test_pipes_without_size_or_id_carry_gas_all_the_same(tmp_path: Path) -> None:
    drawn = random_town(12)
    more_valves(drawn)
    drawn_layers = drawn.layers()
    raw, rng = Raw(drawn_layers), np.random.default_rng(5)
    write_layers(drawn_layers, tmp_path / "whole.gpkg")
    mains = drawn_layers["mains"]
    gone = rng.random(len(mains)) < 0.5
    worse = mains.assign(
        od_mm=[None if k else v for k, v in zip(gone, mains["od_mm"], strict=True)],
        id=[None if k else v for k, v in zip(rng.random(len(mains)) < 0.3, mains["id"], strict=True)],
    )
    write_layers(drawn_layers | {"mains": worse}, tmp_path / "worse.gpkg")
    spot = raw.lines[5].interpolate(0.4, normalized=True)
    words = lon_lat_words(raw, spot.x, spot.y)
    whole, bad = (ask(tmp_path / f"{n}.gpkg", tmp_path / n, words).data for n in ("whole", "worse"))
    for key in ("customers_off", "stations_to_shut", "minutes_sum"):
        assert whole["rings"][0][key] == bad["rings"][0][key]
    stops = [[s["valve_id"] for s in one["rings"][0]["stops"]] for one in (whole, bad)]
    assert stops[0] == stops[1]
    unsized = set(worse.loc[gone, "id"].dropna())
    assert not [s for s in bad["rings"][1]["stops"] if s["main_id"] in unsized and s["kind"] != "valve"]
    assert any("without a usable size" in line for line in bad["doubts"])
    assert any("made up" in line for line in bad["doubts"])


def test_a_valve_recorded_twice_fails_as_one(tmp_path: Path) -> None:
    drawn = random_town(12)
    more_valves(drawn)
    drawn_layers = drawn.layers()
    raw = Raw(drawn_layers)
    twice = pd.concat([drawn_layers["valves"]] * 2).reset_index(drop=True)
    write_layers(drawn_layers | {"valves": twice}, tmp_path / "town.gpkg")
    ready: list[Any] = []
    for name in sorted(raw.mains):
        if not ready:
            words = ["--main", name, "--at-m", f"{raw.length_of(name) / 2:.3f}"]
            ready = ask(tmp_path / "town.gpkg", tmp_path / name, words, cache=tmp_path / "cache").data[
                "next_rings"
            ]
    assert ready
    for one in ready:
        failed = {ident.partition(" (record")[0] for ident in one["if_failed"]}
        used = {s["valve_id"].partition(" (record")[0] for s in one["ring"]["stops"]}
        assert not failed & used


def test_makespan_of_the_checks() -> None:
    assert least_makespan([3, 3, 2, 2, 2], 2) == 6
    assert least_makespan([5], 3) == 5
    assert least_makespan([], 2) == 0
