"""Random towns as raw layers for whole plans: everything that passes from one part of the program to the next.

Street grids of one to three pressure areas of one system, parted by closed boundary valves or by gaps between
capped ends; mains that meet end to end without a fitting; valves of every state; premises with two services;
sensing points, injections, dead tails, unfed parts, keep-out areas and a second system in the same streets.
"""

from __future__ import annotations

from typing import Any

from tests.support.networks import XY, customer, keep_out, service
from tests.whole_plan.base_map import lay_base_map
from tests.whole_plan.draw import Draw, Town, Work, at, length
from tests.whole_plan.streets import lay_streets

__all__ = ["Town", "random_town"]

CATEGORIES = ("household", "household", "household", "household", "business", "public", "industry")
DEEP_M = 7.0
"""From the street to the end of a service [m]."""


def random_town(seed: int) -> Town:
    """Return the town of a seed, with a work section."""
    draw = Draw(seed)
    lay_streets(draw)
    _houses(draw)
    _keep_outs(draw)
    _ask(draw)
    lay_base_map(draw)
    return draw.town


def _houses(draw: Draw) -> None:
    heavy = float(draw.rng.choice([2.5, 4.0, 6.0] if draw.kind == "ring" else [1.0, 1.5, 2.5, 4.0, 8.0]))
    recorded = not draw.chance(0.1)
    for ident, line in draw.line.items():
        span = length(line)
        if span < 14.0:
            continue
        where = float(draw.rng.uniform(4.0, 12.0))
        while where < span - 3.0:
            _house(draw, ident, where, heavy, recorded)
            where += float(draw.rng.uniform(9.0, 30.0))
    if not draw.rows["services"]:
        raise AssertionError("a town without houses")


def _house(draw: Draw, ident: str, where: float, heavy: float, recorded: bool) -> None:
    line = draw.line[ident]
    number = len(draw.rows["services"])
    tap, end = at(line, where / length(line)), _beside(line, where, draw.pick((-1.0, 1.0)))
    name = f"S{number:03d}"
    draw.rows["services"].append(service(name, tap, end, wall_mm=3.0))
    names = [name]
    if draw.chance(0.08):
        names += _second_service(draw, ident, end)
    for flat in range(2 if draw.chance(0.08) else 1):
        columns: dict[str, Any] = {
            "annual_kwh": float(draw.rng.uniform(8_000, 40_000)) * heavy,
            "category": draw.pick(CATEGORIES),
            "meters": int(draw.pick((1, 1, 1, 1, 2, 6))),
            "street": draw.rows["mains"][_row(draw, ident)]["street"],
            "number": str(number),
        }
        columns["address"] = f"{number} {columns['street']}"
        if draw.chance(0.05):
            columns["priority"] = draw.pick(("hospital", "care_home", "school", "medical"))
            draw.town.kinds.add("priority customer")
        if recorded or len(names) > 1:
            columns["service_id"] = ";".join(names)
        draw.rows["customers"].append(customer(f"C{number:03d}{'ab'[flat]}", end, **columns))


def _row(draw: Draw, ident: str) -> int:
    return next(k for k, row in enumerate(draw.rows["mains"]) if row["id"] == ident)


def _beside(line: tuple[XY, XY], where: float, side: float) -> XY:
    """Return a place beside a line, left or right of it."""
    (x0, y0), (x1, y1) = line
    span = length(line)
    east, north = (x1 - x0) / span, (y1 - y0) / span
    x, y = at(line, where / span)
    return (x - side * DEEP_M * north, y + side * DEEP_M * east)


def _second_service(draw: Draw, ident: str, end: XY) -> list[str]:
    """Lay a second service of a premises, to the nearest other main within reach or to the same one."""
    near: list[tuple[float, str, float]] = []
    for other, line in draw.line.items():
        span = length(line)
        (x0, y0), (x1, y1) = line
        along = ((end[0] - x0) * (x1 - x0) + (end[1] - y0) * (y1 - y0)) / span
        along = min(max(along, 3.0), span - 3.0)
        x, y = at(line, along / span)
        apart = ((x - end[0]) ** 2 + (y - end[1]) ** 2) ** 0.5
        if other != ident and span > 8.0 and 2.0 < apart < 30.0:
            near.append((apart, other, along))
    if not near:
        return []
    _, other, along = min(near)
    name = f"S{len(draw.rows['services']):03d}"
    tap = at(draw.line[other], along / length(draw.line[other]))
    beside = (end[0] + 0.3 * (1 if tap[0] >= end[0] else -1), end[1] + 0.3 * (1 if tap[1] >= end[1] else -1))
    draw.rows["services"].append(service(name, tap, beside, wall_mm=3.0))
    draw.town.kinds.add("two services")
    return [name]


def _keep_outs(draw: Draw) -> None:
    if not draw.chance(0.35):
        return
    draw.town.kinds.add("keep-out")
    for k in range(int(draw.rng.integers(1, 4))):
        x, y = at(draw.line[draw.pick(list(draw.line))], float(draw.rng.uniform(0.1, 0.9)))
        wide, high = float(draw.rng.uniform(1, 12)), float(draw.rng.uniform(1, 12))
        corners = [(x - wide, y - high), (x + wide, y - high), (x + wide, y + high), (x - wide, y + high)]
        draw.rows["keep_out"].append(keep_out(f"area {k}", *corners))


def _ask(draw: Draw) -> None:
    """Choose work, rules and weather."""
    idents = [ident for ident, line in draw.line.items() if length(line) > 14.0]
    work: list[Work] = [_section(draw, draw.pick(idents))]
    if draw.chance(0.2):
        other = draw.pick([ident for ident in idents if ident != work[0][0]])
        near = [ident for ident in idents if ident != work[0][0] and _touch(draw, ident, work[0][0])]
        work.append(_section(draw, draw.pick(near) if near and draw.chance(0.6) else other))
        draw.town.kinds.add("two mains")
    draw.town.work = tuple(work)
    draw.town.air_temp_c = round(float(draw.rng.uniform(-10.0, 8.0)), 1)
    dear = float(draw.pick((1.0, 1.0, 10.0, 60.0, 60.0)))
    draw.town.rules = {
        "price": {
            "off_per_hour": {
                "household": 6.0 * dear,
                "business": 40.0 * dear,
                "industry": 400.0,
                "public": 40.0 * dear,
            }
        },
        "choice": {"options": 3, "seconds": 120.0, "max_zones": 300},
        "crew": {"relights_per_hour": 40.0},
        "station": {"inlet_shut_counts": draw.town.seed % 3 == 0},
        "method_general": {"squeeze_unknown_resin": draw.chance(0.3)},
    }
    named = [row["id"] for row in draw.rows["customers"] if row.get("priority")]
    draw.town.own_supply = tuple(ident for ident in named if draw.chance(0.6))


def _section(draw: Draw, ident: str) -> Work:
    span = length(draw.line[ident])
    kind = draw.rng.random()
    if kind < 0.4:
        low = float(draw.rng.uniform(2.0, span - 8.0))
        high = min(low + float(draw.rng.uniform(1.5, 10.0)), span)
    elif kind < 0.88:
        # Beside a joint or a station: from an end of the main, or a little off it.
        off = float(draw.pick((0.0, 0.2, 1.0, 3.0)))
        low, high = off, off + float(draw.rng.uniform(1.0, 6.0))
        if draw.chance(0.5):
            low, high = span - high, span - low
        draw.town.kinds.add("work beside a joint")
    else:
        low, high = 0.0, span
        draw.town.kinds.add("whole main")
    return (ident, round(low, 2), round(min(high, span), 2) if high < span else span)


def _touch(draw: Draw, one: str, two: str) -> bool:
    return bool(set(draw.line[one]) & set(draw.line[two]))
