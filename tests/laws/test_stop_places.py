"""Laws of the stop that is dragged on the page: let go anywhere, it is refused where the planner refuses it.

What the page hatches is worked out for whole lengths of main before anything is ordered; what it is compared
with is the planner's own answer to a stop that is ordered at one place.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from netplan.core.errors import NoPlanError
from netplan.graph.connected_components import component_labels
from netplan.isolation import IsolationProblem, Orders, Stretch, cuts
from netplan.isolation.segment_graph import SegmentGraph, segment_graph
from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.page.page_orders import PageOrders, PageWork, request_of
from netplan.page.stop_lengths import StopLength
from netplan.page.stop_places import StopPlaces, StopsOnMains
from netplan.planning.make_plan import make_plan
from netplan.rules import default_rules
from netplan.rules.read_rules import read_rules
from tests.support.isolation_oracle import GAS_MINOR_PER_M3, HOURS, random_case

TOWNS, PLANNED_TOWNS = 14, 5
CANNOT, NOT_ISOLATED = "cannot be made", "no set of stops isolates"


def _orders(rng: random.Random, network: Network) -> Orders:
    """Return orders that bar some places: none, a length, a valve, an area drawn over a main."""
    pipe = rng.randrange(network.pipes.n_mains)
    length = float(network.pipes.length_m[pipe])
    low = rng.uniform(0.0, length / 2)
    forbid = (Stretch(pipe, low, low + length / 4),) if rng.random() < 0.4 else ()
    valves = (rng.randrange(len(network.valves)),) if len(network.valves) and rng.random() < 0.3 else ()
    areas: tuple[Any, ...] = ()
    if rng.random() < 0.4:
        x, y = points_at(network, np.array([pipe]), np.array([0.7 * length]))[0]
        areas = (shapely.box(x - 6.0, y - 4.0, x + 6.0, y + 4.0),)
    return Orders(forbid=forbid, forbid_valves=valves, keep_out=areas)


def _places(rng: random.Random, lengths: list[StopLength], length_m: float) -> Iterator[float]:
    """Yield places on a main: anywhere, and just on either side of where the verdict changes."""
    for _ in range(3):
        yield rng.uniform(0.0, length_m)
    for one in rng.sample(lengths, min(3, len(lengths))):
        for at in (one.from_m - 0.02, one.from_m + 0.02, one.to_m - 0.02, one.to_m + 0.02):
            if 0.0 <= at <= length_m:
                yield at


def _is_refused(problem: IsolationProblem, index: SegmentGraph, orders: Orders) -> str:
    try:
        next(cuts(replace(problem, orders=orders), index))
    except NoPlanError as error:
        return str(error)
    return ""


def _holding(lengths: list[StopLength], at_m: float) -> list[StopLength]:
    return [one for one in lengths if one.from_m <= at_m <= one.to_m]


def test_the_page_refuses_what_the_choice_of_stops_cannot_make() -> None:
    rules = read_rules(None, {"clearance": {"work_m": 0.9}})
    refused = allowed = by_side = 0
    for seed in range(TOWNS):
        case, rng = random_case(7000 + seed), random.Random(seed)  # noqa: S311
        network = case.network
        orders = _orders(rng, network)
        problem = IsolationProblem(network, case.section, rules, HOURS, GAS_MINOR_PER_M3, orders=orders)
        index = segment_graph(network)
        part, _ = component_labels(index.n_super, index.segment_a, index.segment_b)
        stops = StopsOnMains(problem, index, part, {})
        for pipe in rng.sample(range(network.pipes.n_mains), 3):
            lengths, valves = stops.on(pipe)
            length_m = float(network.pipes.length_m[pipe])
            assert lengths[0].from_m <= 1e-6
            assert lengths[-1].to_m >= length_m - 1e-6
            for at in _places(rng, lengths, length_m):
                said = _is_refused(problem, index, replace(orders, force=(Stretch(pipe, at, at),)))
                here = _holding(lengths, at)
                where = f"seed {seed}, {network.pipes.id[pipe]} at {at:.3f} m: {said}: {here}"
                assert here, where
                assert any(one.methods for one in here) is (CANNOT not in said), where
                assert all(bool(one.methods) is not bool(one.words) for one in here), where
                refused += CANNOT in said
                allowed += CANNOT not in said
                by_side += any(len(one.sides) == 1 for one in here)
            for valve, one in valves.items():
                said = _is_refused(problem, index, replace(orders, force_valves=(valve,)))
                assert bool(one.methods) is (CANNOT not in said), (seed, valve, said, one)
    assert refused >= 80
    assert allowed >= 80
    assert by_side >= 15


def test_what_the_page_takes_and_refuses_is_what_a_plan_with_that_order_does() -> None:
    rules = default_rules()
    planned = not_isolated = not_made = 0
    for seed in range(PLANNED_TOWNS):
        case, rng = random_case(8100 + seed), random.Random(seed)  # noqa: S311
        network, section = case.network, case.section
        work = tuple(
            PageWork(main_id=network.pipes.id[pipe], from_m=round(low, 3), to_m=round(high, 3))
            for pipe, low, high in zip(section.pipe, section.from_m, section.to_m, strict=True)
        )
        orders, places = PageOrders(work=work), StopPlaces(network, rules)
        for pipe in rng.sample(range(network.pipes.n_mains), 4):
            x, y = points_at(network, np.array([pipe]), np.array([1.0]))[0].tolist()
            main_id = network.pipes.id[pipe]
            near = places.near(orders, x, y, 200.0)
            mains = near["mains"]
            assert near["reach_m"] == 200.0
            lengths = next(one for one in mains if one["main_id"] == main_id)["lengths"]
            one = rng.choice(lengths)
            at = round(rng.uniform(one["from_m"], one["to_m"]), 3)
            place = f"{main_id}:{at}"
            against = places.refusal(orders, place, "")
            said = _plan_says(network, orders, place)
            where = f"seed {seed}, {place}: {one}: {against}: {said}"
            if not one["methods"]:
                assert CANNOT in said, where
            assert bool(against) is (CANNOT in said or NOT_ISOLATED in said), where
            not_made += CANNOT in said
            not_isolated += NOT_ISOLATED in said
            planned += not said
    assert planned >= 2
    assert not_made >= 5
    assert not_isolated >= 1


def _plan_says(network: Network, orders: PageOrders, place: str) -> str:
    """Return why a plan with a stop ordered at a place is none; empty where it has one there."""
    asked = orders.model_copy(update={"force": (place,)})
    try:
        request = request_of(asked, network, default_rules(), options=1, weather=False)
        (option,) = make_plan(request).plan.options
    except NoPlanError as error:
        return "; ".join((str(error), *error.reasons))
    main_id, _, at = place.rpartition(":")
    assert any(s.main_id == main_id and abs(s.chainage_m - float(at)) < 2e-3 for s in option.stops), place
    return ""
