"""Valves and fittings on the mains."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely

from sample_network.mains import Main

__all__ = ["make_fittings", "make_valves"]

_BOUNDARY: Final = (
    ("closed", "yes"),
    ("closed", "no"),
    ("closed", "unknown"),
    ("closed", "yes"),
    ("closed", "yes"),
)
_CROSSINGS: Final = (
    (583.0, 345.0), (566.0, 165.0), (905.0, 330.0), (926.0, 150.0), (1205.0, 832.0), (1395.0, 815.0),
    (1205.0, 486.0), (1335.0, 494.0), (763.0, 797.0), (783.0, 640.0),
)  # fmt: skip
"""About where valves stand on both sides of the river, the railway and an iron main, local metres."""

_STREET: Final = (
    ("open", "yes"), ("open", "no"), ("open", "yes"), ("unknown", "unknown"), ("open", "yes"),
    ("open", "yes"),
    ("open", "unknown"), ("open", "yes"), ("unknown", "yes"),
)  # fmt: skip


def _place(main: Main, at: float) -> Any:
    return shapely.Point(np.round(main.line.interpolate(at).coords[0], 3))


def _clear_of(main: Main, wanted: float, taps: list[float], reach: float = 6.0) -> float:
    """Return the place near `wanted` that is farthest from the tappings."""
    tries = np.arange(max(1.2, wanted - reach), min(main.line.length - 1.2, wanted + reach), 0.25)
    if not len(tries):
        return float(main.line.length / 2)
    gaps = [min((abs(t - tap) for tap in taps), default=99.0) for t in tries]
    return float(tries[int(np.argmax(gaps))])


def _taps(mains: list[Main], services: list[dict[str, Any]]) -> dict[str, list[float]]:
    tree = shapely.STRtree([m.line for m in mains])
    found: dict[str, list[float]] = {m.id: [0.0, m.line.length] for m in mains}
    ends = [shapely.Point(s["geometry"].coords[0]) for s in services]
    ends += [shapely.Point(end) for m in mains for end in (m.line.coords[0], m.line.coords[-1])]
    for end in ends:
        for i in tree.query(end, predicate="dwithin", distance=0.05):
            found[mains[int(i)].id].append(float(mains[int(i)].line.project(end)))
    return found


def make_valves(
    mains: list[Main], services: list[dict[str, Any]], rng: np.random.Generator
) -> list[dict[str, Any]]:
    """Return boundary, outlet and street valves."""
    low = [m for m in mains if m.system == "LP" and m.status == "live"]
    taps = _taps(low, services)
    rows: list[tuple[Any, str, str, str]] = []
    for n, main in enumerate(m for m in low if m.boundary):
        state, operable = _BOUNDARY[n % len(_BOUNDARY)]
        rows.append(
            (_place(main, _clear_of(main, main.line.length / 2, taps[main.id])), state, operable, "LP")
        )
    outlets = [m for m in low if m.facts.get("outlet")]
    rows += [(_place(m, m.line.length * 0.6), "open", "yes", "LP") for m in outlets]
    for spot in (shapely.Point(xy) for xy in _CROSSINGS):
        main = min(low, key=lambda m: float(m.line.distance(spot)))
        rows.append(
            (_place(main, _clear_of(main, main.line.project(spot), taps[main.id])), "open", "yes", "LP")
        )
    street = [
        m
        for m in low
        if m.od_mm >= 125 and m.line.length > 70 and not m.boundary and not m.facts.get("outlet")
    ]
    picked = sorted(rng.choice(len(street), min(len(_STREET), len(street)), replace=False).tolist())
    for i, (state, operable) in zip(picked, _STREET, strict=False):
        main = street[i]
        wanted = 7.0 if rng.random() < 0.5 else main.line.length - 7.0
        rows.append((_place(main, _clear_of(main, wanted, taps[main.id])), state, operable, "LP"))
    for main in [m for m in mains if m.system == "MP"][1:4]:
        rows.append((_place(main, 12.0), "open", "yes", "MP"))
    return [
        {"id": f"V{n + 1:03d}", "state": s, "operable": o, "system": system, "geometry": p}
        for n, (p, s, o, system) in enumerate(rows)
    ]


def make_fittings(
    mains: list[Main], services: list[dict[str, Any]], rng: np.random.Generator
) -> list[dict[str, Any]]:
    """Return tees, caps, reducers, transitions, couplers, elbows, tapping tees and old squeeze marks."""
    low = [m for m in mains if m.system == "LP" and m.status == "live"]
    tree = shapely.STRtree([m.line for m in low])
    rows: list[tuple[Any, str]] = []
    seen: set[tuple[float, float]] = set()
    for main in low:
        for end in (main.line.coords[0], main.line.coords[-1]):
            if end[:2] in seen:
                continue
            seen.add(end[:2])
            point = shapely.Point(end[:2])
            around = [low[int(i)] for i in sorted(tree.query(point, predicate="dwithin", distance=0.05))]
            rows.append((point, _joint(point, around)))
        for a, b, c in _bends(main):
            if _turn(a, b, c) > 35:
                rows.append((shapely.Point(b[:2]), "elbow"))
        if main.facts["material"].startswith("PE"):
            rows += [
                (_place(main, float(at)), "coupler") for at in np.arange(96.0, main.line.length - 12, 96.0)
            ]
        if main.facts["material"].startswith("PE") and rng.random() < 0.09 and main.line.length > 60:
            rows.append((_place(main, rng.uniform(20, main.line.length - 20)), "squeeze_mark"))
    rows += [(point, "transition") for point in _transitions(low, tree)]
    rows += [(shapely.Point(s["geometry"].coords[0]), "tapping_tee") for s in services if rng.random() < 0.2]
    return [
        {"id": f"F{n + 1:04d}", "kind": kind, "system": "LP", "geometry": p}
        for n, (p, kind) in enumerate(rows)
    ]


def _transitions(mains: list[Main], tree: shapely.STRtree) -> list[Any]:
    """Return the place a little way along each PE main that begins or ends on iron or steel."""
    found = []
    for main in mains:
        if not main.facts["material"].startswith("PE"):
            continue
        for end, at in ((main.line.coords[0], 0.8), (main.line.coords[-1], main.line.length - 0.8)):
            near = tree.query(shapely.Point(end), predicate="dwithin", distance=0.05)
            if any(not mains[int(i)].facts["material"].startswith("PE") for i in near):
                found.append(_place(main, at))
    return found


def _bends(main: Main) -> list[tuple[Any, Any, Any]]:
    c = list(main.line.coords)
    return list(zip(c[:-2], c[1:-1], c[2:], strict=True))


def _turn(a: Any, b: Any, c: Any) -> float:
    u, v = np.subtract(b[:2], a[:2]), np.subtract(c[:2], b[:2])
    return float(np.degrees(np.arccos(np.clip(u @ v / (np.hypot(*u) * np.hypot(*v)), -1, 1))))


def _joint(point: Any, around: list[Main]) -> str:
    arms = sum(
        1 if min(m.line.project(point), m.line.length - m.line.project(point)) < 0.06 else 2 for m in around
    )
    if arms == 1:
        return "cap"
    if arms > 2:
        return "tee"
    one, other = around[0], around[-1]
    if one.facts["material"][:2] != other.facts["material"][:2]:
        return "transition"
    return "coupler" if one.facts["od_mm"] == other.facts["od_mm"] else "reducer"
