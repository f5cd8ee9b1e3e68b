"""A small steady solver of its own: pressures in any state from raw layers (design, section 5, flow).

p1² - p2² = (16/π²) (f L/D + K) c m|m| / D⁴ with absolute pressures and c = Z R T / M; Darcy f is 64/Re up to
Re 2000, Colebrook's from 4000, between them the cubic that meets both in value and slope. Newton on flows and
squared pressures together (global gradient). Level ground; stations are one-way and have no capacity limit.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve

from tests.whole_plan.case import Case
from tests.whole_plan.walk import State, number

__all__ = ["NotSolvedError", "Pressures", "bore_mm", "solve_state"]

Key = Hashable
Floats = np.ndarray

PRESSURE_PER_DENSITY = 135_500.8
"""Natural gas of the shipped rules at 10 °C: Z R T / M [J/kg]."""
VISCOSITY_PA_S = 1.07452e-5
DENSITY_STD = 0.734700
"""At 15 °C, 101.325 kPa [kg/m³]."""
ATMOSPHERE_PA = 101_325.0
SHORT_M = 1e-5
LEAST_RE = 1.0
DAMPED_FROM = 25


class NotSolvedError(Exception):
    """No solution was found."""


@dataclass(frozen=True)
class Pressures:
    """Solved gauge pressures of a state [mbar]; NaN without gas."""

    state: State
    root: Floats
    mbar: Floats

    def at(self, node: Key) -> float:
        """Return the pressure at a node."""
        return float(self.mbar[self.root[self.state.network.number[node]]])


def friction(reynolds: Floats, rough: Floats) -> Floats:
    """Return Darcy's f."""
    factor = np.where(reynolds <= 2000.0, 64.0 / reynolds, 0.0)
    turbulent = reynolds >= 4000.0
    factor[turbulent] = _colebrook(reynolds[turbulent], rough[turbulent])
    joined = (reynolds > 2000.0) & ~turbulent
    if joined.any():
        factor[joined] = _between(reynolds[joined], rough[joined])
    return factor


def _between(reynolds: Floats, rough: Floats) -> Floats:
    """Return Darcy's f between laminar and turbulent flow: the cubic that joins both with their slopes."""
    step = 4000.0 * 1e-6
    high, higher = (
        _colebrook(np.full_like(rough, 4000.0), rough),
        _colebrook(np.full_like(rough, 4000.0 + step), rough),
    )
    low, low_slope, high_slope = 0.032, -0.032, (higher - high) / step * 2000.0
    t = (reynolds - 2000.0) / 2000.0
    between: Floats = (
        (2 * t**3 - 3 * t**2 + 1) * low
        + (t**3 - 2 * t**2 + t) * low_slope
        + (3 * t**2 - 2 * t**3) * high
        + (t**3 - t**2) * high_slope
    )
    return between


def _colebrook(reynolds: Floats, rough: Floats) -> Floats:
    x = np.full(np.shape(reynolds), 6.0)
    # From Re 4000 on each turn leaves a sixth of the error at most.
    for _ in range(24):
        x = -2.0 * np.log10(rough / 3.7 + 2.51 * x / reynolds)
    return x**-2


@dataclass
class _Links:
    a: Floats
    b: Floats
    length_m: Floats
    bore_m: Floats
    rough_m: Floats
    loss: Floats

    def law(self, m: Floats) -> tuple[Floats, Floats]:
        """Return the fall of p² [Pa²] of mass flows [kg/s], and its slope."""

        def fall(size: Floats) -> Floats:
            reynolds = np.maximum(4.0 * size / (np.pi * self.bore_m * VISCOSITY_PA_S), LEAST_RE)
            factor = friction(reynolds, self.rough_m / self.bore_m) * self.length_m / self.bore_m + self.loss
            # Below Re 1 laminar friction is followed by keeping its ratio to the flow.
            at_least = np.maximum(size, LEAST_RE * np.pi * self.bore_m * VISCOSITY_PA_S / 4.0)
            squared: Floats = (
                16.0 / np.pi**2 * PRESSURE_PER_DENSITY * factor * at_least * size / self.bore_m**4
            )
            return squared

        size = np.abs(m)
        step = np.maximum(size * 1e-6, 1e-9)
        slope = (fall(size + step) - fall(np.maximum(size - step, 0.0))) / (step + np.minimum(step, size))
        return np.sign(m) * fall(size), np.maximum(slope, 1e-3)


def solve_state(
    case: Case,
    state: State,
    shut: Collection[Key],
    opened: Collection[Key],
    laid: Collection[Key],
    demand_m3h: dict[Key, float],
) -> Pressures:
    """Solve a state with a demand by node [m³/h at 15 °C, 101.325 kPa].

    Raises
    ------
    NotSolvedError
        When a demand cannot be met.
    """
    net = case.net
    closed = (net.recorded_closed() - set(opened)) | set(shut)
    joins = [[net.number[a], net.number[b]] for key, (a, b) in net.gaps.items() if key not in closed]
    joins += [[net.number[a], net.number[b]] for _, low, high, a, b in net.pieces if high - low < SHORT_M]
    pairs = np.array(joins).reshape(-1, 2)
    count = len(net.number)
    root = connected_components(
        coo_array((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count)),
        directed=False,
    )[1]
    links = _links(case, root, laid)
    mass = np.zeros(int(root.max()) + 1)
    for node, flow in demand_m3h.items():
        mass[root[net.number[node]]] += flow * DENSITY_STD / 3600.0
    stations = []
    for ident, node in net.station_node.items():
        sense = ("sensing", ident)
        at = root[net.number[sense]] if sense in net.number else root[net.number[node]]
        stations.append(
            (int(root[net.number[node]]), int(at), float(case.raw.stations[ident]["outlet_mbar"]))
        )
    return Pressures(state, root, _solved(links, stations, mass))


def _links(case: Case, root: Floats, laid: Collection[Key]) -> _Links:
    net, raw, rows = case.net, case.raw, []
    of = case.rules["pipe"]["roughness_mm"]
    for row, low, high, a, b in net.pieces:
        if high - low < SHORT_M:
            continue
        layer, ident = raw.name[row]
        record = raw.mains[ident] if layer == "mains" else raw.services[ident]
        material = str(record["material"])
        rough = of["PE"] if material.startswith("PE") else of["steel" if material == "steel" else "iron"]
        rows.append(
            (root[net.number[a]], root[net.number[b]], (high - low) / raw.scale, bore_mm(record), rough, 0.0)
        )
    feeds: dict[Key, dict[str, Any]] = {("feed", f["id"]): f for f in case.option["bypasses"]}
    for k, row in enumerate(case.option["fallback"]):
        for j, move in enumerate(row["moves"]):
            longer = {**feeds["feed", move["feed_id"]], "length_m": move["length_m"]}
            feeds |= {("moved", k, j, end): longer for end in ("from", "to")}
    for key in laid:
        feed = feeds[key]
        ends = [root[net.number[end]] for end in net.links[key]]
        hose = (*ends, feed["length_m"], feed["bore_mm"], case.rules["bypass"]["roughness_mm"])
        rows += [(*hose, feed["loss_coefficient"])] * int(feed["parallel"])
    table = np.array(rows, dtype=float)
    return _Links(
        table[:, 0].astype(int),
        table[:, 1].astype(int),
        table[:, 2],
        table[:, 3] / 1e3,
        table[:, 4] / 1e3,
        table[:, 5],
    )


def bore_mm(record: dict[str, Any]) -> float:
    bore, wall, sdr = (number(record.get(name)) for name in ("bore_mm", "wall_mm", "sdr"))
    od = float(record["od_mm"])
    if bore is not None:
        return bore
    return od - 2.0 * (wall if wall is not None else od / float(sdr or 0.0))


def _solved(links: _Links, stations: list[tuple[int, int, float]], mass: Floats) -> Floats:
    """Find station outlets: those back-pressured lock up, those that sense afar are raised to hold there."""
    outlet = np.array([s[2] for s in stations])
    giving = np.ones(len(stations), dtype=bool)
    for turn in range(600):
        mbar, given = _fixed(links, stations, outlet, giving, mass)
        back = giving & (given < -1e-9)
        if back.any():
            giving &= ~(back & (given <= given[back].min() + 1e-15))
            continue
        short = np.array(
            [not giving[k] and mbar[s[1]] < s[2] - 1e-4 for k, s in enumerate(stations)], dtype=bool
        )
        if short.any():
            giving |= short
            continue
        error = np.array([s[2] - mbar[s[1]] if giving[k] else 0.0 for k, s in enumerate(stations)])
        error = np.nan_to_num(error)
        if np.abs(error).max(initial=0.0) < 1e-4:
            return mbar
        # Two stations that sense on each other's side chase one another at full steps.
        outlet = outlet + error * (1.0 if turn < 40 else 0.3)
    raise NotSolvedError("stations do not settle")


def _fixed(
    links: _Links, stations: list[Any], outlet: Floats, giving: Floats, mass: Floats
) -> tuple[Floats, Floats]:
    """Solve with the outlets of the giving stations fixed; return pressures and what each gives [kg/s]."""
    count = len(mass)
    held: dict[int, float] = {}
    for (node, _, _), mbar, gives in zip(stations, outlet, giving, strict=True):
        if gives:
            held[node] = max(held.get(node, 0.0), mbar)
    graph = coo_array((np.ones(len(links.a), np.int8), (links.a, links.b)), shape=(count, count))
    part = connected_components(graph, directed=False)[1]
    fed = np.isin(part, [part[node] for node in held])
    unknown = np.flatnonzero(fed & ~np.isin(np.arange(count), list(held)))
    use = np.flatnonzero(fed[links.a] & (links.a != links.b))
    own = _Links(*(getattr(links, name)[use] for name in ("a", "b", "length_m", "bore_m", "rough_m", "loss")))
    squared = np.full(count, np.nan)
    for node, mbar in held.items():
        squared[node] = (ATMOSPHERE_PA + 100.0 * mbar) ** 2
    squared[unknown] = max(squared[list(held)], default=np.nan) if held else np.nan
    flow = _newton(own, squared, unknown, mass)
    with np.errstate(invalid="ignore"):
        mbar = (np.sqrt(squared) - ATMOSPHERE_PA) / 100.0
    out = np.zeros(count)
    np.add.at(out, own.a, flow)
    np.add.at(out, own.b, -flow)
    shares = {
        node: sum(1 for s, g in zip(stations, giving, strict=True) if g and s[0] == node) for node in held
    }
    given = np.array(
        [(out[s[0]] + mass[s[0]]) / shares[s[0]] if g else 0.0 for s, g in zip(stations, giving, strict=True)]
    )
    return mbar, given


def _newton(links: _Links, squared: Floats, unknown: Floats, mass: Floats) -> Floats:
    """Solve in place for the squared pressures of unknown nodes; return the mass flows."""
    links_n, count = len(links.a), len(squared)
    ones = np.ones(links_n)
    rows = np.arange(links_n)
    incidence = coo_array(
        (np.concatenate([ones, -ones]), (np.concatenate([rows, rows]), np.concatenate([links.a, links.b]))),
        shape=(links_n, count),
    ).tocsc()
    some = incidence[:, unknown]
    flow: Floats = np.full(links_n, 1e-4)
    for step in range(400):
        fall, slope = links.law(flow)
        if not len(unknown):
            squared_fall = squared[links.a] - squared[links.b]
        else:
            known = np.where(np.isin(np.arange(count), unknown), 0.0, np.nan_to_num(squared))
            inverse = diags_array(1.0 / slope)
            matrix = (some.T @ inverse @ some).tocsc()
            right = -some.T @ (flow - (fall - incidence @ known) / slope) - mass[unknown]
            squared[unknown] = spsolve(matrix, right)
            squared_fall = squared[links.a] - squared[links.b]
        new = flow - (fall - squared_fall) / slope
        change = float(np.abs(new - flow).max(initial=0.0))
        # Half steps where flows near the change of regime go to and fro.
        share = 1.0 if step < DAMPED_FROM else 0.5 if step < 2 * DAMPED_FROM else 0.2
        flow = np.asarray(flow + share * (new - flow))
        if not np.isfinite(change):
            break
        # A flow that goes to and fro about nothing in a loop moves no pressure.
        if change < (1e-9 if step < 4 * DAMPED_FROM else 1e-7):
            if (squared[unknown] < ATMOSPHERE_PA**2 * 0.9).any():
                break
            return flow
    raise NotSolvedError("no pressure meets the demand")
