"""The mains of a random town: a grid with gaps, areas parted by valves or caps, joints, tails, other systems."""

from __future__ import annotations

import random

from tests.support.networks import XY, fitting, injection, main, sensing_point, station, valve
from tests.whole_plan.draw import Draw, at, length

__all__ = ["lay_streets"]

Crossing = tuple[int, int]


def lay_streets(draw: Draw) -> None:
    """Lay mains, stations, valves, fittings and injections."""
    laid: dict[tuple[Crossing, Crossing], list[str]] = {}
    crossings = [(i, j) for i in range(draw.across) for j in range(draw.up)]
    for i, j in crossings:
        for other in ((i + 1, j), (i, j + 1)):
            if other[0] < draw.across and other[1] < draw.up and not draw.chance(draw.missing):
                laid[((i, j), other)] = _street(draw, (i, j), other)
    _tails(draw, crossings)
    _stations(draw, laid)
    _inner_valves(draw)
    _fittings(draw)
    if draw.chance(0.12):
        draw.rows["injections"].append(injection("I1", _place(draw, draw.pick(crossings))))
        draw.town.kinds.add("injection")
    if draw.chance(0.2):
        _unfed_part(draw)
    if draw.chance(0.25):
        _second_system(draw)


def _place(draw: Draw, crossing: Crossing) -> XY:
    return (float(draw.x[crossing[0]]), float(draw.y[crossing[1]]))


def _street(draw: Draw, one: Crossing, two: Crossing) -> list[str]:
    """Lay the mains of one street; between two areas with a closed valve or a gap in it."""
    start, end = _place(draw, one), _place(draw, two)
    areas = draw.area(one[0]), draw.area(two[0])
    if areas[0] != areas[1]:
        return _boundary(draw, start, end, areas)
    if draw.chance(0.4):
        # Two mains that meet end to end, mostly without a recorded fitting.
        middle = at((start, end), float(draw.rng.uniform(0.25, 0.75)))
        first = draw.lay(start, middle, areas[0])
        alike = draw.rows["mains"][-1] if draw.chance(0.3) else {}
        same = {k: v for k, v in alike.items() if k not in ("id", "geometry")}
        second = draw.lay(middle, end, areas[0], **same)
        if draw.chance(0.2):
            draw.rows["fittings"].append(fitting(f"F-{first}", middle, "coupler"))
        draw.town.kinds.add("joint without fitting")
        return [first, second]
    return [draw.lay(start, end, areas[0])]


def _boundary(draw: Draw, start: XY, end: XY, areas: tuple[int, int]) -> list[str]:
    line, kind = (start, end), draw.rng.random()
    if kind < 0.45:
        ident = draw.lay(start, end, areas[0])
        share = float(draw.rng.uniform(0.3, 0.7))
        operable = draw.pick(("yes", "yes", "yes", "no", "unknown"))
        draw.rows["valves"].append(valve(f"VB-{ident}", at(line, share), "closed", operable=operable))
        draw.town.kinds.add("boundary valve")
        return [ident]
    half = float(draw.rng.uniform(1.5, 6.0)) / length(line)
    first = draw.lay(start, at(line, 0.5 - half), areas[0])
    second = draw.lay(at(line, 0.5 + half), end, areas[1])
    if kind < 0.75:
        for ident, share in ((first, 0.5 - half), (second, 0.5 + half)):
            draw.rows["fittings"].append(fitting(f"F-{ident}", at(line, share), "cap"))
    draw.town.kinds.add("gap between areas")
    return [first, second]


def _tails(draw: Draw, crossings: list[Crossing]) -> None:
    """Lay mains that lead nowhere outward from the rim of the grid."""
    for i, j in crossings:
        side = {0: -1.0, draw.up - 1: 1.0}.get(j)
        if side is not None and draw.chance(0.3):
            x, y = _place(draw, (i, j))
            draw.lay((x, y), (x, y + side * float(draw.rng.uniform(25, 80))), draw.area(i))
            draw.town.kinds.add("dead tail")


def _inlet(draw: Draw, ident: str, place: XY) -> dict[str, str]:
    """Record an inlet valve and a vent between for some stations; drawn apart: towns stay as they are."""
    rng = random.Random(f"inlet {draw.town.seed} {ident}")  # noqa: S311
    found = {"inlet_valve": "", "vent_between": rng.choice(["yes", "yes", "unknown", "no"])}
    if rng.random() < 0.6:
        found["inlet_valve"] = f"I{ident}"
        at_inlet = (place[0] - 3.0, place[1] - 3.0)
        operable = rng.choice(["yes", "yes", "yes", "no"])
        draw.rows["valves"].append(valve(f"I{ident}", at_inlet, operable=operable, system="MP"))
        draw.town.kinds.add("inlet valve")
    return found


def _stations(draw: Draw, laid: dict[tuple[Crossing, Crossing], list[str]]) -> None:
    for area in range(draw.areas):
        columns = [i for i in range(draw.across) if draw.area(i) == area]
        for k in range(int(draw.pick((1, 1, 2)))):
            crossing = (int(draw.pick(columns)), int(draw.rng.integers(draw.up)))
            ident = f"R{area}{k}"
            place, outlet = _place(draw, crossing), draw.outlet[area]
            if draw.chance(0.5):
                place = _stub(draw, crossing, area, ident)
            most = (
                None
                if draw.chance(0.06)
                else max(float(draw.pick((40, 50, 60, 60, 65, 69, 75, 100))), outlet)
            )
            if most is None:
                draw.town.kinds.add("station without fault pressure")
            inlet = _inlet(draw, ident, place)
            draw.rows["regulators"].append(
                station(ident, place, outlet_mbar=outlet, max_outlet_mbar=most, **inlet)
            )
            starts = [ids for ends, ids in laid.items() if ends[0] == crossing]
            if starts and draw.chance(0.25):
                line = draw.line[draw.pick(starts)[0]]
                share = min(float(draw.rng.uniform(8, 60)) / length(line), 1.0)
                draw.rows["sensing_points"].append(sensing_point(ident, at(line, share)))
                draw.town.kinds.add("sensing point")


def _stub(draw: Draw, crossing: Crossing, area: int, ident: str) -> XY:
    """Set a station beside the street, with an outlet valve mostly."""
    x, y = _place(draw, crossing)
    place = (x - 4.0, y - 5.0)
    draw.lay(place, (x, y), area, material="PE100", od_mm=180.0, wall_mm=16.4, joint="fusion")
    if draw.chance(0.7):
        operable = draw.pick(("yes", "yes", "unknown"))
        where = at((place, (x, y)), float(draw.rng.uniform(0.2, 0.6)))
        draw.rows["valves"].append(valve(f"VO-{ident}", where, operable=operable))
        draw.town.kinds.add("outlet valve")
    return place


def _inner_valves(draw: Draw) -> None:
    for ident in list(draw.line):
        if draw.chance(0.16) and length(draw.line[ident]) > 20.0:
            state = draw.pick(("open", "open", "open", "unknown", "closed"))
            operable = draw.pick(("yes", "yes", "no", "unknown"))
            where = at(draw.line[ident], float(draw.rng.uniform(0.05, 0.95)))
            draw.rows["valves"].append(valve(f"V-{ident}", where, state, operable=operable))
            draw.town.kinds.add(f"valve {state}, operable {operable}")


def _fittings(draw: Draw) -> None:
    for ident, line in list(draw.line.items()):
        if draw.chance(0.15):
            kind = draw.pick(("coupler", "elbow", "transition", "squeeze_mark", "tapping_tee"))
            where = at(line, float(draw.rng.uniform(0.1, 0.9)))
            draw.rows["fittings"].append(fitting(f"F2-{ident}", where, kind))


def _unfed_part(draw: Draw) -> None:
    """Lay a street of the system that no station reaches by the records: a gap, or a valve not recorded open."""
    x, y = float(draw.x[-1]), float(draw.y[0])
    gap = float(draw.rng.uniform(2.0, 15.0))
    draw.lay((x + gap, y), (x + gap + 60.0, y), draw.areas - 1)
    draw.town.kinds.add("unfed part")


def _second_system(draw: Draw) -> None:
    """Lay a main of a higher pressure system in a street, across the joints of the first."""
    y = float(draw.y[0])
    start, end = (float(draw.x[0]) - 10.0, y + 0.3), (float(draw.x[-1]) + 10.0, y + 0.3)
    row = main("H001", start, end, system="MP", od_mm=90.0, mop_mbar=2000.0, year=2005, joint="fusion")
    draw.rows["mains"].append(row)
    draw.rows["regulators"].append(
        station("RH", start, outlet_mbar=1000.0, max_outlet_mbar=2000.0, system="MP")
    )
    draw.town.kinds.add("second system")
