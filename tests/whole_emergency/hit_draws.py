"""Places that may be hit in a town, one of each kind that the town has."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tests.whole_emergency.answer_case import transformer
from tests.whole_plan.walk import Raw, text

__all__ = ["drawn_hits", "lon_lat_words"]

BESIDE_M = 0.1
"""How far beside a crossing a place is given [m]."""


def lon_lat_words(raw: Raw, x: float, y: float) -> list[str]:
    """Return the option that gives a place of the working CRS."""
    lon, lat = transformer(str(raw.layers["mains"].crs), 4326).transform(x, y)
    return ["--at", f"{lon:.9f},{lat:.9f}"]


def drawn_hits(raw: Raw, rng: np.random.Generator) -> Iterator[tuple[str, list[str]]]:
    """Yield kinds of place with the options that give one of each."""
    mains = sorted(raw.mains)
    live = [name for name in mains if ("mains", name) in raw.row]

    def on(main: str, share: float) -> list[str]:
        return ["--main", main, "--at-m", f"{share * raw.length_of(main):.3f}"]

    def pick(some: list[Any]) -> Any:
        return some[int(rng.integers(len(some)))]

    yield "anywhere", on(pick(live), float(rng.uniform(0.0, 1.0)))
    valves = [(raw.name[row][1], at, ident) for ident, (row, at) in raw.placed["valves"].items()]
    usable = [
        main
        for main, _, ident in valves
        if text(raw.valves[ident]["state"]) == "open" and text(raw.valves[ident].get("operable")) == "yes"
    ]
    if usable:
        yield "main with a valve", on(pick(usable), float(rng.uniform(0.0, 1.0)))
    closed = [(main, at) for main, at, ident in valves if text(raw.valves[ident]["state"]) == "closed"]
    if closed:
        main, at = pick(closed)
        near = float(np.clip(at + rng.uniform(-6.0, 6.0), 0.0, raw.length_of(main)))
        yield "beside a closed valve", ["--main", main, "--at-m", f"{near:.3f}"]
        spot = raw.lines[raw.row_of(main)].interpolate(near)
        yield "at a closed valve", lon_lat_words(raw, spot.x, spot.y)
    ends = _dead_ends(raw, live)
    if ends:
        main, at = pick(ends)
        yield "dead end", ["--main", main, "--at-m", f"{at:.3f}"]
    stations = list(raw.placed["regulators"].values())
    if stations:
        row, at = pick(stations)
        main = raw.name[row][1]
        off = float(pick([0.0, 0.0, 0.5, 4.0, 30.0]))
        near = at + off if at + off <= raw.length_of(main) else max(at - off, 0.0)
        yield "beside a station", ["--main", main, "--at-m", f"{near:.3f}"]
    services = [name for name in sorted(raw.services) if ("services", name) in raw.row]
    if services:
        name = pick(services)
        line = raw.lines[raw.row[("services", name)]]
        yield "service", ["--main", name, "--at-m", f"{float(rng.uniform(0.0, line.length)):.3f}"]
        spot = raw.lines[raw.row[("services", pick(services))]].interpolate(0.7, normalized=True)
        yield "at a service", lon_lat_words(raw, spot.x, spot.y)
    joints = [(row, at) for row, there in raw.joins.items() if raw.name[row][0] == "mains" for at, _ in there]
    row, at = pick(joints)
    yield "on a node", ["--main", raw.name[row][1], "--at-m", f"{min(at, raw.lines[row].length):.6f}"]
    spot = raw.lines[row].interpolate(at)
    yield "several mains", lon_lat_words(raw, spot.x + BESIDE_M, spot.y - BESIDE_M)
    wide = ["--location-error", f"{float(pick([3.0, 25.0, 60.0])):g}"]
    spot = raw.lines[raw.row_of(pick(live))].interpolate(float(rng.uniform(0.0, 1.0)), normalized=True)
    yield "wide error", [*lon_lat_words(raw, spot.x + 2.0, spot.y + 1.0), *wide]
    others = [name for name in live if raw.system[raw.row_of(name)] != "LP"]
    if others:
        line = raw.lines[raw.row_of(pick(others))]
        spot = line.interpolate(float(rng.uniform(0.1, 0.9)), normalized=True)
        yield "two systems", lon_lat_words(raw, spot.x, spot.y)
    x, y = _beyond(raw)
    yield "far off", lon_lat_words(raw, x, y)
    people = [one for one in sorted(raw.people) if text(raw.people[one].get("address"))]
    if people:
        yield "address", ["--address", text(raw.people[pick(people)]["address"])]


def _dead_ends(raw: Raw, live: list[str]) -> list[tuple[str, float]]:
    """Return the ends of mains that nothing else is joined to."""
    used: dict[Any, int] = {}
    for there in raw.joins.values():
        for _, node in there:
            used[node] = used.get(node, 0) + 1
    found = []
    for name in live:
        row = raw.row_of(name)
        for at, node in raw.joins[row]:
            is_end = math.isclose(at, 0.0) or math.isclose(at, raw.lines[row].length)
            if is_end and used[node] == 1:
                found.append((name, at))
    return found


def _beyond(raw: Raw) -> tuple[float, float]:
    """Return a place some way outside the town."""
    bounds = np.array([line.bounds for line in raw.lines])
    return float(bounds[:, 0].min() - 40.0), float(bounds[:, 1].min() - 25.0)
