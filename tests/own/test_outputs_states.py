"""What plan.gpkg says of every piece after the stops: live, fed, stranded or isolated, and none without a length.

Checked on plans that the program made, from the layers alone: connected parts by networkx.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import geopandas as gpd
import networkx as nx

from netplan.core.errors import NoPlanError
from netplan.isolation import Orders, Stretch
from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers, read_plan_layers
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import read_plan
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support import schutterwald
from tests.support.feed_towns import town_request
from tests.support.networks import build, customer, main, service, station
from tests.support.sample_plan import sample_plan

Case = tuple[Plan, dict[str, gpd.GeoDataFrame]]
TOWNS = 8
LEAST_M = 4e-4


@cache
def town(seed: int) -> Case | None:
    try:
        result = make_plan(replace(town_request(seed), weather=False))
    except NoPlanError:
        return None
    return result.plan, plan_layers(result)


@cache
def street(*, feeds: bool = True) -> Case:
    """Plan a street whose far part, one house and two dead stubs, is fed by a bypass, or lost without feeds."""
    rules = read_rules(None, {"price": {"off_per_hour": {"household": 900.0}, "hose_per_m": 10.0}})
    mains = [
        main("M1", (0, 0), (300, 0), od_mm=125.0),
        main("M2", (220, 0), (220, 40), od_mm=63.0),
        main("M3", (300, 0), (300, 30), od_mm=63.0),
    ]
    houses = [(60.0, 8.0), (200.0, 8.0)]
    network = build(
        mains=mains,
        services=[
            *(service(f"S{k}", (x, 0), (x, y)) for k, (x, y) in enumerate(houses)),
            service("S9", (220, 20), (228, 20)),
        ],
        customers=[customer(f"C{k}", place, service_id=f"S{k}") for k, place in enumerate(houses)],
        regulators=[station("R1", (0, 0))],
    )
    work = (WorkPart("M1", 120.0, 126.0),)
    # Without a feed nothing calls for a stop beyond the work: it is ordered.
    beyond = Orders(force=(Stretch(network.pipes.id.find("M1"), 130.0, 190.0),))
    result = make_plan(
        PlanRequest(network, work, rules, options=1, weather=False, feeds_allowed=feeds, orders=beyond)
    )
    return result.plan, plan_layers(result)


@cache
def real_town() -> Case:
    request = PlanRequest(
        build_network(schutterwald.layers(), strict=False),
        (WorkPart("M438", 20.0, 24.0),),
        schutterwald.pinned_rules(),
        air_temp_c=schutterwald.MILD_C,
        options=2,
        weather=False,
    )
    result = make_plan(request)
    return result.plan, plan_layers(result)


def _cases() -> list[Case]:
    sample = read_plan(sample_plan()), read_plan_layers(sample_plan())
    return [
        sample,
        street(),
        street(feeds=False),
        real_town(),
        *(case for case in map(town, range(TOWNS)) if case is not None),
    ]


def _expected(plan: Plan, layers: dict[str, gpd.GeoDataFrame], rank: int) -> list[tuple[Any, str, str]]:
    """Return each row of pipes that is neither closed nor isolated with the state it is in by connection."""
    option = next(option for option in plan.options if option.rank == rank)
    own = {name: rows[rows.option == rank] for name, rows in layers.items() if "option" in rows}
    pipes = own["pipes"][own["pipes"].state.isin(["live", "fed", "stranded"])]
    opened = {valve.valve_id for valve in option.opened_valves}
    without: nx.Graph[int] = nx.Graph()
    without.add_nodes_from(own["nodes"].node.tolist())
    with_feeds = without.copy()
    for row in pipes.itertuples():
        with_feeds.add_edge(row.from_node, row.to_node)
        if row.valve_id not in opened:
            without.add_edge(row.from_node, row.to_node)
    for row in own["bypasses"].itertuples():
        with_feeds.add_edge(row.from_node, row.to_node)

    def reached(graph: nx.Graph[int]) -> set[int]:
        sources = [node for node in own["stations"].node if node in graph]
        return set().union(*(nx.node_connected_component(graph, node) for node in sources))

    live, gas = reached(without), reached(with_feeds)
    found = []
    for row in pipes.itertuples():
        ends = {row.from_node, row.to_node}
        found.append((row, row.state, "live" if ends <= live else "fed" if ends <= gas else "stranded"))
    return found


def test_live_is_what_has_gas_without_a_feed_and_fed_what_has_it_by_feeds_alone() -> None:
    seen = dict.fromkeys(("live", "fed", "stranded"), 0)
    for plan, layers in _cases():
        for option in plan.options:
            for row, state, truth in _expected(plan, layers, option.rank):
                assert state == truth, (option.rank, row)
                seen[truth] += 1
    assert min(seen.values()) > 0, seen


def test_dead_stubs_beyond_a_bypass_are_fed_and_stranded_without_it() -> None:
    plan, layers = street()
    assert plan.options[0].bypasses
    pipes = layers["pipes"]
    for at_end, layer in (("fed", pipes), ("stranded", street(feeds=False)[1]["pipes"])):
        state = {name: set(rows.state) for name, rows in layer.groupby("pipe_id")}
        assert state["M2"] == state["M3"] == state["S9"] == {at_end}
    # Between the far barrier and the bypass's tee nobody draws.
    bypass, stop = plan.options[0].bypasses[0], plan.options[0].stops
    far = max(s.chainage_m for s in stop if s.main_id == "M1")
    tee = max(bypass.from_.chainage_m, bypass.to.chainage_m)
    leg = pipes[(pipes.pipe_id == "M1") & (pipes.from_m >= far - 0.01) & (pipes.to_m <= tee + 0.01)]
    assert set(leg.state) == {"fed"}


def _no_row_without_a_length(plan: Plan, layers: dict[str, gpd.GeoDataFrame]) -> int:
    for option in plan.options:
        assert option.zones
        assert all(part.to_m > part.from_m for zone in option.zones for part in zone.pipes)
    pipes = layers["pipes"]
    short = pipes[pipes.length_m < LEAST_M]
    assert short.valve_id.notna().all(), short[short.valve_id.isna()]
    assert pipes[pipes.valve_id.notna()].length_m.eq(0.0).all()
    assert not short.duplicated(["option", "valve_id"]).any()
    assert layers["zones"].geometry.length.min() > LEAST_M
    # The rest of each pipe is there without gaps.
    for _, rows in pipes[pipes.length_m > 0].groupby(["option", "layer", "pipe_id"]):
        ordered = rows.sort_values("from_m")
        assert ordered.from_m.iloc[0] == 0.0
        gaps = ordered.from_m.to_numpy()[1:] - ordered.to_m.to_numpy()[:-1]
        assert abs(gaps).max(initial=0.0) <= LEAST_M * 2
    return len(short)


def test_a_row_without_a_length_is_a_valve_that_says_whether_it_is_open() -> None:
    valves = sum(_no_row_without_a_length(*case) for case in _cases())
    assert valves > 0
    plan, layers = _cases()[0]
    closed = layers["pipes"][(layers["pipes"].option == 1) & (layers["pipes"].state == "closed")]
    stops = {stop.valve_id for stop in plan.options[0].stops if stop.valve_id}
    assert stops
    assert stops <= set(closed.valve_id)
    recorded = gpd.read_file(plan.provenance.source, layer="valves")
    shut = set(recorded[recorded.state == "closed"].id)
    assert set(closed.valve_id) == stops | (shut & set(layers["pipes"].valve_id))
