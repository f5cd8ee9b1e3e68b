"""A plan is carried out, what it leaves goes into the records, and the same section is planned again (law).

Held on random towns, from files alone: the second plan squeezes nowhere near a squeeze place of the first,
drills nowhere near one of its capped outlets, and stops the main at other places. Distances are taken from
the drawn lines and compared with the rules, without anything of the program.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import geopandas as gpd
import pytest
from shapely import LineString, Point

import netplan
from tests.whole_plan.making import plan_town, write_layers
from tests.whole_plan.towns import Town, random_town

PLANNED = (0, 4, 5, 8, 11, 12)
"""Seeds of towns whose section has a plan, and another one after it."""
PREPARED_EVERY = 4
"""The rules prepare fallbacks for one seed in so many."""
SEEDS = range(int(os.environ["NETPLAN_RETURNED"])) if "NETPLAN_RETURNED" in os.environ else PLANNED
ROUND_M = 2e-3
"""A plan states chainages to the millimetre; two of them meet in a distance."""


@dataclass(frozen=True)
class Again:
    """A town planned, returned and planned again: folders, the network between, lines of its mains."""

    town: Town
    first: Path
    returned: Path
    second: Path | None

    def options(self, folder: Path) -> list[dict[str, Any]]:
        """Return the options of a plan, each with the plan's rules."""
        plan = json.loads((folder / "plan.json").read_text())
        return [{**option, "rules": plan["rules"]} for option in plan["options"]]


@cache
def _again(seed: int) -> Again | None:
    folder, town = Path(mkdtemp(prefix=f"as-built-{seed}-")), random_town(seed)
    town.rules["fallback"] = {"prepared": seed % PREPARED_EVERY == 3}
    write_layers(town.layers(), folder / "town.gpkg")
    first = plan_town(town, folder / "town.gpkg", folder / "first", feeds=True, papers=False)
    if first.folder is None:
        return None
    netplan.write_as_built(first.folder, folder / "town.gpkg", folder / "returned.gpkg")
    second = plan_town(town, folder / "returned.gpkg", folder / "second", feeds=True, papers=False)
    return Again(town, first.folder, folder / "returned.gpkg", second.folder)


def _planned(seed: int) -> Again:
    again = _again(seed)
    if again is None:
        pytest.skip("the town has no plan")
    return again


def _lines(path: Path) -> dict[str, LineString]:
    mains = gpd.read_file(path, layer="mains")
    return dict(zip(mains.id, mains.geometry, strict=True))


def _left(again: Again) -> list[tuple[str, Point]]:
    """Return kind and place of what the first plan left, as the network holds it."""
    fittings = gpd.read_file(again.returned, layer="fittings")
    new = fittings[fittings.note.notna()]
    return list(zip(new.kind, new.geometry, strict=True))


def _squeezes_and_outlets(option: dict[str, Any]) -> tuple[list[tuple[str, float]], list[tuple[str, float]]]:
    """Return the places of an option's squeezes, and of every outlet that is drilled for it."""
    squeezes, outlets = [], []
    for stop in [*option["stops"], *option["prepared_fallbacks"]]:
        is_planned = stop in option["stops"]
        for tapping in stop["tappings"]:
            place = (tapping["main_id"] or stop["main_id"], tapping["chainage_m"])
            if tapping["size_mm"] > 0:
                outlets.append(place)
            elif stop["kind"] == "squeeze" and tapping["role"] == "barrier" and is_planned:
                squeezes.append(place)
            if tapping["count"] > 1 and place[0] == stop["main_id"]:
                away = 1.0 if stop["work_side"] == "from" else -1.0
                gap_m = _tee_gap_m(option, stop["od_mm"])
                more = [place[1] + away * number * gap_m for number in range(1, tapping["count"])]
                outlets += [(place[0], round(chainage_m, 3)) for chainage_m in more]
    for bypass in option["bypasses"]:
        outlets += [(end["main_id"], end["chainage_m"]) for end in (bypass["from"], bypass["to"])]
    return squeezes, outlets


def _tee_gap_m(option: dict[str, Any], od_mm: float) -> float:
    clearance = option["rules"]["clearance"]
    return float(max(clearance["fitting_m"], clearance["fitting_od"] * od_mm / 1e3))


def _gaps(lines: dict[str, LineString], main: str, chainage_m: float, marks: list[Point]) -> list[float]:
    """Return the distances along a main from a place on it to the marks that lie on it [m]."""
    line = lines[main]
    return [abs(line.project(mark) - chainage_m) for mark in marks if line.distance(mark) < ROUND_M]


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_left_lies_on_its_main(seed: int) -> None:
    again = _planned(seed)
    option = again.options(again.first)[0]
    squeezes, outlets = _squeezes_and_outlets(option)
    lines, left = _lines(again.returned), _left(again)
    for kind, places in (("squeeze_mark", squeezes), ("tapping_tee", outlets)):
        marks = [mark for of_kind, mark in left if of_kind == kind]
        for main, chainage_m in places:
            assert min(_gaps(lines, main, chainage_m, marks)) <= ROUND_M, (main, chainage_m)
    assert sum(kind == "squeeze_mark" for kind, _ in left) == len(set(squeezes))
    ends = {tuple(point[key] for key in ("main_id", "chainage_m")) for point in option["purge"]["points"]}
    assert sum(kind == "tapping_tee" for kind, _ in left) <= len({*outlets, *ends})


@pytest.mark.parametrize("seed", SEEDS)
def test_the_next_plan_keeps_clear_of_what_is_left(seed: int) -> None:
    again = _planned(seed)
    if again.second is None:
        pytest.skip("no second plan: too little is left to stop at")
    rules = again.options(again.second)[0]["rules"]
    squeeze = next(method for method in rules["method"] if method["kind"] == "squeeze")
    mains = gpd.read_file(again.returned, layer="mains").set_index("id")
    lines, left = _lines(again.returned), _left(again)
    marks = {
        kind: [mark for of_kind, mark in left if of_kind == kind] for kind in ("squeeze_mark", "tapping_tee")
    }
    options = again.options(again.second)
    assert options
    for option in options:
        squeezes, outlets = _squeezes_and_outlets(option)
        for main, chainage_m in squeezes:
            od_m = mains.od_mm[main] / 1e3
            same_m = max(squeeze["same_m"], squeeze["same_od"] * od_m)
            clear_m = max(squeeze["fitting_m"], squeeze["fitting_od"] * od_m)
            for kind, least_m in (("squeeze_mark", same_m), ("tapping_tee", clear_m)):
                gaps = _gaps(lines, main, chainage_m, marks[kind])
                assert all(gap >= least_m - ROUND_M for gap in gaps), (option["rank"], main, chainage_m, kind)
        for main, chainage_m in outlets:
            clear_m = _tee_gap_m(option, mains.od_mm[main])
            gaps = _gaps(lines, main, chainage_m, [*marks["squeeze_mark"], *marks["tapping_tee"]])
            assert all(gap >= clear_m - ROUND_M for gap in gaps), (option["rank"], main, chainage_m)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_section_is_stopped_at_other_places(seed: int) -> None:
    again = _planned(seed)
    if again.second is None:
        pytest.skip("no second plan: too little is left to stop at")
    before = {place for places in _squeezes_and_outlets(again.options(again.first)[0]) for place in places}
    options = again.options(again.second)
    assert options
    for option in options:
        after = {place for places in _squeezes_and_outlets(option) for place in places}
        assert not before & after


def _at_old_ends(again: Again) -> list[str]:
    """Return the notes of purge points of the second plan where the first left an outlet."""
    if again.second is None:
        return []
    points = again.options(again.first)[0]["purge"]["points"]
    before = {(point["main_id"], point["chainage_m"]) for point in points}
    return [
        point["note"]
        for option in again.options(again.second)
        for point in option["purge"]["points"]
        if (point["main_id"], point["chainage_m"]) in before
    ]


def test_a_dead_end_is_purged_through_the_outlet_that_is_there() -> None:
    notes = [note for seed in PLANNED if (again := _again(seed)) is not None for note in _at_old_ends(again)]
    assert notes
    assert all("tapping tee" in note and "is recorded here" in note for note in notes)


def test_the_towns_show_what_the_law_is_about() -> None:
    """Enough towns are planned twice, with squeezes, with bags and with feeds."""
    twice = [again for seed in PLANNED if (again := _again(seed)) is not None and again.second is not None]
    kinds = [stop["kind"] for again in twice for stop in again.options(again.first)[0]["stops"]]
    prepared = sum(bool(again.options(again.first)[0]["prepared_fallbacks"]) for again in twice)
    fed = sum(bool(again.options(again.first)[0]["bypasses"]) for again in twice)
    assert len(twice) == len(PLANNED)
    assert kinds.count("squeeze") >= 5
    assert kinds.count("bag") >= 5
    assert fed >= 1
    assert prepared >= 1
