"""Figures for pictures: drop against flow, least pressure against weather, pressure along the worst path."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import MM_PER_M
from netplan.feeds.feed_case import FeedCase, FeedLoads, as_loads
from netplan.feeds.feed_kinds import FeedSize
from netplan.feeds.feed_links import feed_loss_coefficient
from netplan.hydraulics.flow_conditions import FlowConditions
from netplan.hydraulics.flow_network import FlowNetwork, FlowState
from netplan.hydraulics.pressure_drop import drop_law
from netplan.rules.rule_set import Rules

__all__ = ["DropCurve", "WeatherCurve", "WorstPath", "drop_curve", "pressure_by_weather", "worst_path"]


STILL_KG_PER_S = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class DropCurve:
    """Pressure lost in a feed of one size against its flow, up to the rules' velocity.

    Parameters
    ----------
    size : FeedSize
    flow_m3_per_s_std : float array
        Flow of all hoses together [m³/s at 15 °C, 101.325 kPa], from 0 to the velocity limit.
    drop_pa : float array
        Pressure lost [Pa]; NaN where more would be lost than there is.
    """

    size: FeedSize
    flow_m3_per_s_std: Floats
    drop_pa: Floats


@dataclass(frozen=True, slots=True, eq=False)
class WeatherCurve:
    """Least pressure of the inlets against air temperature, for one option.

    Parameters
    ----------
    label : str
    air_temp_c : float array
        Air temperatures as forecast [°C].
    least_pa_gauge : float array
        Least pressure of all inlets [Pa gauge]; NaN where one has no gas.
    """

    label: str
    air_temp_c: Floats
    least_pa_gauge: Floats


@dataclass(frozen=True, slots=True, eq=False)
class WorstPath:
    """The way the gas takes from its source to an inlet.

    Parameters
    ----------
    node : int array
        Nodes from the source to the inlet.
    link : int array
        Links between them; one fewer.
    distance_m : float array
        Length of pipe from the source to each node [m].
    """

    node: Ints
    link: Ints
    distance_m: Floats


def drop_curve(
    size: FeedSize, pressure_from_pa_gauge: float, conditions: FlowConditions, rules: Rules, points: int = 41
) -> DropCurve:
    """Return the drop of a feed against its flow at a pressure at its giving end [Pa gauge].

    Tappings, hose and bends as in the network solve; both ends at one height.
    """
    gas = conditions.properties()
    pressure = pressure_from_pa_gauge + conditions.atmospheric_pressure_pa_abs
    area = math.pi / 4.0 * size.bore_m**2
    most = rules.bypass.velocity_max_m_s * area * pressure / gas.pressure_per_density
    mass = np.linspace(0.0, most, points)
    law = drop_law(
        np.full(points, size.feed.length_m),
        np.full(points, size.bore_m),
        np.full(points, rules.bypass.roughness_mm / MM_PER_M),
        np.full(points, feed_loss_coefficient(size.bore_m, rules, size.feed.outlets_mm)),
        1.0,
        gas.pressure_per_density,
        gas.viscosity_pa_s,
    )
    squared, _ = law.drop_and_slope(mass)
    left = pressure**2 - squared
    with np.errstate(invalid="ignore"):
        drop = np.where(left > 0.0, pressure - np.sqrt(np.maximum(left, 0.0)), np.nan)
    return DropCurve(size, mass * size.parallel / gas.density_kg_per_m3_std, drop)


def pressure_by_weather(
    case: FeedCase,
    demand_at: Callable[[float], Floats | FeedLoads],
    options: Sequence[tuple[str, Sequence[FeedSize]]],
    air_temp_c: Sequence[float],
    rules: Rules,
) -> tuple[WeatherCurve, ...]:
    """Return the least pressure of the inlets for each option over air temperatures, by the full solve.

    Parameters are those of `weather_window`; `air_temp_c` are the temperatures wanted [°C].
    """
    every = [as_loads(demand_at(float(temperature))) for temperature in air_temp_c]

    def lowest(sizes: Sequence[FeedSize], demand: Floats) -> float:
        pressure = case.solve(sizes, rules, demand).pressure_pa_gauge[case.inlets.node]
        return float(pressure.min(initial=np.inf))

    def least_under(sizes: Sequence[FeedSize], loads: FeedLoads) -> float:
        # The best of the places a purge may be fed at, the worst of the hours; NaN where one has no gas.
        purges = [
            max(min(lowest(sizes, demand) for demand in loads.under(draw)) for draw in places)
            for places in loads.groups()
        ]
        return min(purges)

    curves = []
    for label, sizes in options:
        least = [least_under(sizes, loads) for loads in every]
        curves.append(WeatherCurve(label, np.array(air_temp_c, dtype=float), np.array(least)))
    return tuple(curves)


def worst_path(network: FlowNetwork, state: FlowState, node: int) -> WorstPath:
    """Return the way against the flow from a node to the station that feeds it.

    At each node the strongest inflow is followed (ties by link number), until a node that a station feeds
    has no inflow stronger than the station's own.

    Parameters
    ----------
    network : FlowNetwork
        With all links of the state, hoses included.
    state : FlowState
    node : int
        Where to start: the worst inlet.
    """
    links = network.links
    flow = state.flow_kg_per_s[: links.count]
    given = np.zeros(network.node_count)
    np.add.at(given, network.station_node, np.nan_to_num(state.station_flow_kg_per_s))
    order, starts = _links_at(network)
    nodes, taken = [node], []
    seen = {node}
    here = node
    while True:
        rows = order[starts[here] : starts[here + 1]]
        inflow = np.where(links.to_node[rows] == here, flow[rows], -flow[rows])
        inflow = np.where(np.isnan(inflow), -np.inf, inflow)
        if not rows.size or inflow.max() <= max(given[here], STILL_KG_PER_S):
            break
        link = int(rows[np.argmax(inflow)])
        here = int(links.from_node[link] if links.to_node[link] == here else links.to_node[link])
        if here in seen:
            break
        seen.add(here)
        nodes.append(here)
        taken.append(link)
    way = np.array(taken[::-1], dtype=np.int64)
    distance = np.concatenate([[0.0], np.cumsum(links.length_m[way])])
    return WorstPath(np.array(nodes[::-1], dtype=np.int64), way, distance)


def _links_at(network: FlowNetwork) -> tuple[Ints, Ints]:
    links = network.links
    rows = np.flatnonzero(links.is_open & (links.from_node != links.to_node))
    ends = np.concatenate([links.from_node[rows], links.to_node[rows]])
    both = np.concatenate([rows, rows])
    order = np.lexsort((both, ends))
    starts = np.searchsorted(ends[order], np.arange(network.node_count + 1))
    return both[order], starts
