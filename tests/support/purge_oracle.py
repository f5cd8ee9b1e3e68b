"""Whether gas back in reaches its least flow, worked out anew: ways through a zone, drop along them, live pressure.

Nothing of the program's purging is used: ways by networkx, drops by Colebrook and the textbook's isothermal law.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx

from netplan.reference.gas import METRIC_STANDARD, Gas
from netplan.rules.rule_set import Rules

__all__ = ["PurgedZone", "purge_reaches"]

GROUND_K, AIR_PA = 283.15, 101_325.0
AIR_PER_DENSITY = 8.314462618 * GROUND_K / 28.9652e-3
AIR_MOLAR_KG, AIR_VISCOSITY = 28.9652e-3, 1.77e-5
HOSE_M, STACK_LOSS = 5.0, 3.5 + 4.0
LAMINAR = 2000.0
Supply = Callable[[Hashable, float], float]


@dataclass(frozen=True)
class PurgedZone:
    """Mains of a zone as a graph whose edges have a length and a bore [m]; stops are nodes ("stop", number)."""

    graph: nx.MultiGraph[Any]
    rules: Rules
    gas: Gas


@dataclass(frozen=True)
class _Leg:
    rows: tuple[int, ...]
    distance_m: float
    meets: bool = False


def purge_reaches(zone: PurgedZone, supply: Supply) -> bool:
    """Return whether some stop of every part of a zone can let gas in everywhere at its least flow.

    Parameters
    ----------
    zone : PurgedZone
    supply : callable
        Pressure at the live side of a stop's node while a flow is drawn there [Pa gauge; m³/s at 15 °C, 101.325 kPa];
        NaN where a kept inlet does not hold.
    """
    for nodes in list(nx.connected_components(zone.graph)):
        part = zone.graph.subgraph(nodes)
        if not part.number_of_edges():
            continue
        stops = [
            node for node in part if isinstance(node, tuple) and node[0] == "stop" and supply(node, 0.0) > 0.0
        ]
        if not any(_serves(zone, part, node, supply) for node in stops):
            return False
    return True


def _serves(zone: PurgedZone, part: nx.MultiGraph[Any], source: Hashable, supply: Supply) -> bool:
    edges = {key: data for _, _, key, data in part.edges(keys=True, data=True)}
    done: set[int] = set()
    for leg in _legs(part, source):
        swept = [row for row in leg.rows if row not in done]
        before = [row for row in leg.rows if row in done]
        done.update(swept)
        widest = max(edges[row]["bore"] for row in swept)
        speed = max(0.6, 0.5 * math.sqrt(9.80665 * widest))
        thinned = zone.gas.density_kg_per_m3(GROUND_K, AIR_PA) / zone.gas.density_kg_per_m3_at(
            METRIC_STANDARD
        )
        needed = (2 if leg.meets else 1) * speed * math.pi / 4 * widest**2 * thinned
        pressure = supply(source, needed)
        if math.isnan(pressure) or _lost_pa2(zone, edges, before, swept, needed) > pressure * (
            2 * AIR_PA + pressure
        ):
            return False
    return True


def _legs(part: nx.MultiGraph[Any], source: Hashable) -> Iterator[_Leg]:
    """Yield the ways to all ends and to where fronts in a loop meet: the farthest first, then as they branch off."""
    found: Any = nx.single_source_dijkstra(part, source, weight="length")
    far, path = found
    way: dict[Hashable, tuple[int, ...]] = {source: ()}
    inner: set[Hashable] = {source}
    for node in sorted(path, key=lambda one: len(path[one]))[1:]:
        last = path[node][-2]
        beside: dict[Any, Any] = dict(part[last][node])
        row = min((data["length"], key) for key, data in beside.items())[1]
        way[node] = (*way[last], row)
        inner.add(last)
    tree = {row for rows in way.values() for row in rows}
    length = {key: data["length"] for _, _, key, data in part.edges(keys=True, data=True)}
    open_ends = []
    for a, b, row in part.edges(keys=True):
        if row not in tree:
            inner |= {a, b}
            along = min(max((far[b] - far[a] + length[row]) / 2, 0.0), length[row])
            rows = tuple(dict.fromkeys((*way[a], *way[b], row)))
            open_ends.append(_Leg(rows, far[a] + along, meets=True))
    open_ends += [_Leg(way[node], far[node]) for node in way if node not in inner]
    done: set[int] = set()
    while open_ends:
        if done:
            leg = min(
                open_ends, key=lambda one: (sum(length[r] for r in one.rows if r in done), one.distance_m)
            )
        else:
            leg = max(open_ends, key=lambda one: one.distance_m)
        open_ends.remove(leg)
        if set(leg.rows) - done:
            yield leg
        done.update(leg.rows)


def _lost_pa2(
    zone: PurgedZone,
    edges: dict[int, dict[str, float]],
    before: Sequence[int],
    swept: Sequence[int],
    flow: float,
) -> float:
    """Return the squared pressure lost from the live main to the open air [Pa²]."""
    rules, gas = zone.rules, zone.gas
    hose = (
        max(
            [bore for bore in rules.bypass.bores_mm if bore < rules.bypass.tapping_bore_mm]
            + [rules.bypass.tapping_bore_mm]
        )
        / 1000
    )
    stack = max(rules.purge.stack_bores_mm) / 1000
    smooth, wall = rules.bypass.roughness_mm / 1000, rules.pipe.roughness_mm.PE / 1000
    mass = flow * gas.density_kg_per_m3_at(METRIC_STANDARD)
    air = mass * AIR_MOLAR_KG / gas.molar_mass_kg_per_mol
    of_gas = AIR_PA / gas.density_kg_per_m3(GROUND_K, AIR_PA), gas.viscosity_pa_s(GROUND_K)
    of_air = AIR_PER_DENSITY, AIR_VISCOSITY
    parts = [(mass, HOSE_M, hose, smooth, rules.bypass.loss_coefficient, *of_gas)]
    parts += [(mass, edges[row]["length"], edges[row]["bore"], wall, 0.0, *of_gas) for row in before]
    parts += [(air, edges[row]["length"], edges[row]["bore"], wall, 0.0, *of_air) for row in swept]
    parts.append((air, rules.purge.stack_height_m, stack, smooth, STACK_LOSS, *of_air))
    return math.fsum(
        16
        / math.pi**2
        * (_factor(4 * m / (math.pi * bore * viscosity), rough / bore) * length / bore + loss)
        * per_density
        * m**2
        / bore**4
        for m, length, bore, rough, loss, per_density, viscosity in parts
    )


def _factor(reynolds: float, rough: float) -> float:
    if reynolds < LAMINAR:
        return 64.0 / reynolds
    root = 8.0
    for _ in range(60):
        root = -2.0 * math.log10(rough / 3.7 + 2.51 * root / reynolds)
    return 1.0 / root**2
