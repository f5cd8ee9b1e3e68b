"""Emergencies in towns whose records are damaged at random: an answer always comes."""

from __future__ import annotations

import io
import shutil
import warnings
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import jsonschema
import numpy as np
import shapely
from pyproj import Transformer

from netplan.planfile.emergency_json import emergency_schema
from tests.fuzz.damage import damaged
from tests.whole_emergency.asking import Answered, ask
from tests.whole_emergency.hit_draws import lon_lat_words
from tests.whole_emergency.runs import more_valves
from tests.whole_plan.towns import random_town
from tests.whole_plan.walk import Raw

__all__ = ["DamagedRun", "run_damaged"]

Layers = dict[str, gpd.GeoDataFrame]
REACH_M = 9000.0
"""A place farther from every main as they are recorded is not in the network [m]."""
SOLVED_EVERY = 4
"""Pressures are solved too at one place in so many."""
BAD_INPUT = 2
"""Exit code of input that cannot be used."""
TOWNS = 40
"""So many towns are damaged again and again."""


@dataclass
class DamagedRun:
    """What came of a place in a damaged town: what was done, what was asked, what must not be."""

    seed: int
    damage: tuple[str, ...]
    asked: str
    fault: str
    holds: Counter[str]


@lru_cache(maxsize=TOWNS)
def _town(seed: int) -> tuple[Layers, Raw]:
    town = random_town(seed)
    more_valves(town)
    layers = town.layers()
    return layers, Raw(layers)


@lru_cache(maxsize=1)
def _validator() -> Any:
    return jsonschema.Draft202012Validator(emergency_schema())


def run_damaged(seed: int, folder: Path) -> DamagedRun:
    """Damage a town, ask for a random place in it, and look at what the command answers."""
    rng = np.random.default_rng([22, 5, seed])
    layers, raw = _town(seed % TOWNS)
    with warnings.catch_warnings(action="ignore"):
        try:
            changed, done = damaged(layers, rng)
        except shapely.errors.GEOSException:  # a ring that no longer closes cannot even be made
            changed, done = dict(layers), []
        for _ in range(int(rng.integers(0, 3))):
            way = WAYS[int(rng.integers(len(WAYS)))]
            way(changed, rng)
            done.append(way.__name__)
        if not _some_main_is_left(changed.get("mains")):
            changed["mains"] = layers["mains"]
        _fit_for_files(changed, layers)
        words = _words(raw, rng)
        if _asked_main_is_gone(changed, words):
            words = _place(raw, rng)
        if words[0] == "--at":
            words = _near_a_main(changed, words, rng) or _whole_mains(changed, layers, words)
        source = _written(changed, folder / "town")
    pressures = seed % SOLVED_EVERY == 0
    answered = ask(source, folder / "out", words, pressures=pressures)
    followed = _followed(answered, changed, layers, raw, words)
    if followed:
        words = followed
        source = _written(changed, folder / "followed")
        answered = ask(source, folder / "out", words, pressures=pressures)
    fault, holds = _judged(answered)
    if followed:
        holds["refused in one line, asked again as it says"] += 1
    if not fault and rng.random() < 0.3:
        fault, more = _again(answered, source, folder, words)
        holds += more
    for left in folder.iterdir():
        shutil.rmtree(left) if left.is_dir() else left.unlink()
    return DamagedRun(seed, tuple(done), " ".join(words), fault, holds)


def _followed(answered: Answered, changed: Layers, whole: Layers, raw: Raw, words: list[str]) -> list[str]:
    """Do what a refusal says, once, and return the place to ask for then; nothing where none is followed."""
    said = answered.said
    if answered.code != BAD_INPUT or said.count("\n") > 1:
        return []
    if words[0] == "--main" and "give --at instead" in said:
        return _on_main(raw, words[1])
    if words[0] == "--at" and "name the main with --main" in said:
        live = _usable_mains(changed["mains"])
        return ["--main", str(live["id"].dropna().iloc[0]), "--at-m", "0.5"]
    if "correct the mains layer" in said or "correct the CRS of the layers" in said:
        return _whole_mains(changed, whole, words)
    return []


def _on_main(raw: Raw, name: str) -> list[str]:
    """Return the middle of a pipe as the town has it."""
    line = raw.lines[list(raw.mains).index(name)]
    spot = line.interpolate(0.5, normalized=True)
    return lon_lat_words(raw, spot.x, spot.y)


def _again(answered: Answered, source: Path, folder: Path, words: list[str]) -> tuple[str, Counter[str]]:
    """Ask again after the first valve failed."""
    valves = [s["valve_id"] for ring in answered.data["rings"] for s in ring["stops"] if s["valve_id"]]
    if not valves:
        return "", Counter()
    again = ask(source, folder / "out", [*words, f"--valve-failed={valves[0]}"])
    fault, _ = _judged(again)
    if not fault and again.data["revision"] != 2:
        fault = "the answer after a valve failed is no second revision"
    if not fault and any(s["valve_id"] == valves[0] for ring in again.data["rings"] for s in ring["stops"]):
        fault = "a valve that failed is used"
    return fault, Counter({"valve failed": 1})


def _judged(answered: Answered) -> tuple[str, Counter[str]]:
    if answered.code or not answered.data:
        return f"exit code {answered.code}: {answered.said[-1500:]}", Counter()
    problem = next(iter(_validator().iter_errors(answered.data)), None)
    if problem is not None:
        return f"schema: {list(problem.absolute_path)}: {problem.message[:200]}", Counter()
    kinds = {ring["kind"] for ring in answered.data["rings"] if ring["aim"] == "least minutes"}
    if kinds != {"valves", "fastest"}:
        return f"rings: {sorted(kinds)}", Counter()
    marks = {
        "answer": True,
        "doubts": bool(answered.data["doubts"]),
        "made-up id": any(
            "is made up" in line or "kept as another" in line for line in answered.data["doubts"]
        ),
        "without size": any("without a usable size" in line for line in answered.data["doubts"]),
        "station to shut": any(ring["stations_to_shut"] for ring in answered.data["rings"]),
    }
    return "", Counter(name for name, there in marks.items() if there)


def _place(raw: Raw, rng: np.random.Generator) -> list[str]:
    line = raw.lines[int(rng.integers(len(raw.mains)))]
    spot = line.interpolate(float(rng.uniform(0.0, 1.0)), normalized=True)
    return lon_lat_words(raw, spot.x + float(rng.normal(0.0, 3.0)), spot.y + float(rng.normal(0.0, 3.0)))


def _words(raw: Raw, rng: np.random.Generator) -> list[str]:
    kind = rng.random()
    if kind < 0.6:
        return _place(raw, rng)
    names = sorted(raw.mains if kind < 0.85 else raw.services)
    name = names[int(rng.integers(len(names)))]
    return ["--main", name, "--at-m", "0.05" if rng.random() < 0.3 else "2.5"]


def _asked_main_is_gone(changed: Layers, words: list[str]) -> bool:
    """Return whether the pipe that would be asked for is in the records no more, or not with that length."""
    if words[0] != "--main":
        return False
    for name in ("mains", "services"):
        frame = changed.get(name)
        if frame is None or "id" not in frame:
            continue
        own = frame[frame["id"].astype(str) == words[1]]
        if len(own) and "status" in own and set(own["status"]) - {None, "live"}:
            return True
        if len(own):
            return not all(
                shape is not None and shape.geom_type == "LineString" and 2.6 < shape.length < 1e6
                for shape in own.geometry
            )
    return True


def _fit_for_files(changed: Layers, whole: Layers) -> None:
    """Put back each layer that no file can hold: what is in no file is no damage to read."""
    for name, frame in changed.items():
        try:
            _plain(frame).to_parquet(io.BytesIO())
        except Exception:
            changed[name] = whole.get(name, whole["mains"])


def _written(changed: Layers, path: Path) -> Path:
    """Write the layers as GeoParquet."""
    path.mkdir()
    for name, frame in changed.items():
        _plain(frame).to_parquet(path / f"{name}.parquet")
    return path


def _some_main_is_left(frame: gpd.GeoDataFrame | None) -> bool:
    if frame is None or frame.empty:
        return False
    return not _usable_mains(frame).empty


def _usable_mains(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the live mains with a course."""
    near = [
        shape is not None
        and shape.geom_type == "LineString"
        and shape.length > 1e-4
        and bool(np.isfinite(shapely.get_coordinates(shape)).all())
        and bool((np.abs(shapely.get_coordinates(shape)) < 1e7).all())
        for shape in frame.geometry
    ]
    dead = ("abandoned", "proposed")
    live = [str(word).lower() not in dead for word in frame["status"]] if "status" in frame else True
    return frame[np.array(near, dtype=bool) & np.array(live, dtype=bool)]


def _near_a_main(changed: Layers, words: list[str], rng: np.random.Generator) -> list[str]:
    """Return a place that lies near a main where the records have them now; none where that is nowhere."""
    lon, lat = (float(word) for word in words[1].split(","))
    mains = _usable_mains(changed["mains"])
    crs = mains.crs or next((frame.crs for frame in changed.values() if frame.crs is not None), None)
    if crs is None or not (crs.is_projected or crs.is_geographic):
        return []
    reach = REACH_M if crs.is_projected else REACH_M / 2e5
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
    if np.isfinite([x, y]).all() and (mains.distance(shapely.Point(x, y)) < reach).any():
        return words
    spot = shapely.get_point(mains.geometry.iloc[int(rng.integers(len(mains)))], 0)
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(spot.x, spot.y)
    if not np.isfinite([lon, lat]).all() or abs(lat) > 80.0:
        return []
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
    there = np.isfinite([x, y]).all() and spot.distance(shapely.Point(x, y)) < 1.0
    return ["--at", f"{lon:.9f},{lat:.9f}"] if there else []


def _whole_mains(changed: Layers, whole: Layers, words: list[str]) -> list[str]:
    """Put the mains back where no place on the earth lies near what is recorded of them."""
    changed["mains"] = whole["mains"]
    return words


def _plain(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return a frame whose columns a file can hold: lists and the like as text."""
    changed = frame.copy()
    for name in frame.columns:
        if (
            name != frame.geometry.name
            and frame[name].map(lambda v: isinstance(v, list | dict | bytes)).any()
        ):
            changed[name] = frame[name].astype(str)
    return changed


def null_sizes(layers: Layers, rng: np.random.Generator) -> None:
    """Take sizes away from some pipes, or all."""
    frame = layers.get("mains")
    if frame is not None and "od_mm" in frame:
        rows = rng.random(len(frame)) < float(rng.choice([0.1, 0.5, 1.0]))
        layers["mains"] = frame.assign(
            od_mm=[None if gone else v for gone, v in zip(rows, frame["od_mm"], strict=True)]
        )


def same_ids(layers: Layers, rng: np.random.Generator) -> None:
    """Give several features of a layer one id."""
    name = str(rng.choice(sorted(layers)))
    frame = layers[name]
    if "id" in frame and len(frame) > 1:
        ids = list(frame["id"])
        for row in rng.integers(len(ids), size=3).tolist():
            ids[row] = ids[0]
        layers[name] = frame.assign(id=ids)


def no_ids(layers: Layers, rng: np.random.Generator) -> None:
    """Take the ids of some features of a layer away."""
    name = str(rng.choice(sorted(layers)))
    frame = layers[name]
    if "id" in frame:
        ids = [None if rng.random() < 0.3 else ident for ident in frame["id"]]
        layers[name] = frame.assign(id=ids)


def off_the_main(layers: Layers, rng: np.random.Generator) -> None:
    """Move valves or stations off their mains."""
    name = str(rng.choice(["valves", "regulators"]))
    frame = layers.get(name)
    if frame is not None and len(frame):
        layers[name] = frame.set_geometry(frame.geometry.translate(float(rng.choice([0.3, 0.7, 30.0])), 0.4))


def disconnected(layers: Layers, rng: np.random.Generator) -> None:
    """Move some mains away from where they join."""
    frame = layers.get("mains")
    if frame is None or not len(frame):
        return
    rows = rng.random(len(frame)) < 0.2
    moved = [
        shapely.affinity.translate(shape, 0.2, 0.2) if gone and shape is not None else shape
        for gone, shape in zip(rows, frame.geometry, strict=True)
    ]
    layers["mains"] = frame.set_geometry(gpd.GeoSeries(moved, index=frame.index, crs=frame.crs))


def no_crs(layers: Layers, rng: np.random.Generator) -> None:
    """Take the reference system of one layer away."""
    name = str(rng.choice(sorted(layers)))
    layers[name] = layers[name].set_crs(None, allow_override=True)


def wrong_words(layers: Layers, rng: np.random.Generator) -> None:
    """Write words into columns that nobody knows."""
    for name, column in (
        ("mains", "material"),
        ("valves", "state"),
        ("valves", "operable"),
        ("mains", "surface"),
    ):
        frame = layers.get(name)
        if frame is not None and column in frame and rng.random() < 0.5:
            layers[name] = frame.assign(
                **{column: ["??" if rng.random() < 0.5 else v for v in frame[column]]}
            )


WAYS = (null_sizes, same_ids, no_ids, off_the_main, disconnected, no_crs, wrong_words)
