"""An independent way to solve a small network: nodal pressures by scipy, station states by trying all.

It shares nothing with the solver under test: flows come from pressures (Colebrook is explicit that way
round), the unknowns are node pressures, the solver is scipy's hybrid method, and of all combinations of
station states it takes the one that is consistent.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq, root

from netplan.hydraulics import FlowConditions, FlowNetwork

Floats = npt.NDArray[np.float64]

HOLDS, SHUT, FULL = range(3)


def _transition(reynolds: float, rough: float) -> float:
    def colebrook(re: float) -> float:
        return float(
            brentq(
                lambda x: x + 2 * math.log10(rough / 3.7 + 2.51 * x / re), 1.0, 20.0, xtol=1e-15, rtol=1e-14
            )
            ** -2
        )

    high = colebrook(4000.0)
    step = 1e-2
    slope = (colebrook(4000.0 + step) - colebrook(4000.0 - step)) / (2 * step)
    t = (reynolds - 2000.0) / 2000.0
    return (
        (2 * t**3 - 3 * t**2 + 1) * 0.032
        + (t**3 - 2 * t**2 + t) * 2000.0 * (-0.032 / 2000.0)
        + (-2 * t**3 + 3 * t**2) * high
        + (t**3 - t**2) * 2000.0 * slope
    )


class Pipe:
    """Flow [kg/s] through a pipe for a difference of squared pressures [Pa²]."""

    def __init__(self, length: float, bore: float, roughness: float, conditions: FlowConditions) -> None:
        gas = conditions.properties()
        self.rough = roughness / bore
        self.per_flow = 4.0 / (math.pi * bore * gas.viscosity_pa_s)
        self.wall = 16.0 / math.pi**2 * gas.pressure_per_density * length / bore**5

    def _apart(self, reynolds: float, factor: float) -> float:
        return self.wall * factor * (reynolds / self.per_flow) ** 2

    def flow(self, apart: float) -> float:
        """Return the flow, of the sign of the difference."""
        size = abs(apart)
        if size <= self._apart(2000.0, 0.032):
            return apart * self.per_flow / (64.0 * self.wall)
        if size < self._apart(4000.0, _transition(4000.0, self.rough)):
            reynolds = brentq(
                lambda re: self._apart(re, _transition(re, self.rough)) - size, 2000.0, 4000.0, xtol=1e-10
            )
            return math.copysign(reynolds / self.per_flow, apart)
        # Re √f is known from the difference, and Colebrook gives f from Re √f at once.
        turned = self.per_flow * math.sqrt(size / self.wall)
        root_inverse = -2.0 * math.log10(self.rough / 3.7 + 2.51 / turned)
        return math.copysign(turned * root_inverse / self.per_flow, apart)


def solve_by_trying(network: FlowNetwork, demand: Floats, conditions: FlowConditions) -> Floats | None:
    """Return the pressures [Pa gauge] of a level, connected, open network, or None if none is found."""
    gas = conditions.properties()
    air = conditions.atmospheric_pressure_pa_abs
    links = network.links
    pipes = [
        Pipe(float(x), float(d), float(k), conditions)
        for x, d, k in zip(links.length_m, links.bore_m, links.roughness_m, strict=True)
    ]
    target = (network.station_pressure_pa_gauge + air) ** 2
    capacity = network.station_capacity_m3_per_s_std * gas.density_kg_per_m3_std
    draws = demand * gas.density_kg_per_m3_std
    base = float(target.max())
    allowed = [(HOLDS, SHUT) if math.isnan(c) else (HOLDS, SHUT, FULL) for c in capacity]
    for states in itertools.product(*allowed):
        found = _try(network, pipes, draws, target, capacity, states, base)
        if found is not None:
            square = found * 1e6 + base
            if (square <= 0).any():
                return None
            return np.asarray(np.sqrt(square) - air)
    return None


def _try(
    network: FlowNetwork,
    pipes: list[Pipe],
    draws: Floats,
    target: Floats,
    capacity: Floats,
    states: tuple[int, ...],
    base: float,
) -> Floats | None:
    links, count = network.links, network.node_count
    held: dict[int, float] = {}
    for node, state, aim in zip(network.station_node, states, target, strict=True):
        if state == HOLDS and held.setdefault(int(node), aim) != aim:
            return None
    if not held:
        return None
    level = np.zeros(count)
    for node, aim in held.items():
        level[node] = (aim - base) / 1e6
    full = np.array(states) == FULL
    free = np.array([node for node in range(count) if node not in held], dtype=int)

    def lacking(trial: Floats) -> Floats:
        here = level.copy()
        here[free] = trial
        net = -draws.copy()
        for k, pipe in enumerate(pipes):
            a, b = int(links.from_node[k]), int(links.to_node[k])
            flow = pipe.flow(1e6 * (here[a] - here[b]))
            net[a] -= flow
            net[b] += flow
        np.add.at(net, network.station_node, np.where(full, np.nan_to_num(capacity), 0.0))
        return net

    if free.size:

        def wanted(trial: Floats) -> Floats:
            return np.asarray(lacking(trial)[free] * 1e3)

        answer = root(wanted, level[free] - 1.0, method="hybr", tol=1e-13)
        if np.abs(lacking(answer.x)[free]).max() > 1e-9:
            return None
        level[free] = answer.x
    given = -lacking(level[free])
    return level if _consistent(network, level * 1e6 + base, given, target, capacity, states) else None


def _consistent(
    network: FlowNetwork,
    square: Floats,
    given: Floats,
    target: Floats,
    capacity: Floats,
    states: tuple[int, ...],
) -> bool:
    """Return whether every station may be in its state."""
    nodes = [int(node) for node in network.station_node]
    for node, state, aim, most in zip(nodes, states, target, capacity, strict=True):
        rivals = sum(1 for n, s in zip(nodes, states, strict=True) if n == node and s == HOLDS)
        wrong = (
            state == HOLDS
            and (given[node] < -1e-9 or (not math.isnan(most) and given[node] > most * rivals + 1e-9)),
            state == SHUT and square[node] < aim - 10.0,
            state == FULL and square[node] > aim + 10.0,
        )
        if any(wrong):
            return False
    return True
