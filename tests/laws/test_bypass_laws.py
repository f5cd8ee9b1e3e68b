"""Laws of feeds: cheapest by brute force, smallest, taps change nothing, bounds bound, colder never better."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.demand import Window, customer_demand, diversity_of, node_demand, uplift
from netplan.feeds import (
    Feed,
    FeedCase,
    FeedKind,
    FeedSize,
    Inlets,
    SizedFeed,
    Tap,
    UnfedPart,
    branch_roots,
    coldest_air_temp_c,
    feed_links,
    feed_loss_coefficient,
    feed_lower_bound_minor,
    feed_parts,
    feed_price_minor,
    local_peak_allowance_pa,
    size_ladder,
    sizes_in_order,
    spare_flow_m3_per_s_std,
    weather_window,
    with_taps,
)
from netplan.feeds.constraint_margin import ConstraintMargin
from netplan.feeds.split_case import FeedChecker, split_case
from netplan.hydraulics import FlowConditions, FlowLinks, FlowNetwork, FlowSolver
from netplan.reference.gas import named_gas
from netplan.rules import Rules, read_rules
from tests.support.demand_tables import customers_table
from tests.support.feed_cases import random_town, smallest_feed
from tests.support.flow_cases import solve
from tests.support.shares import at_least, seen

GAS = named_gas("natural gas")
CONDITIONS = FlowConditions(GAS)


def _rules(**bypass: object) -> Rules:
    return read_rules(overrides={"bypass": {"bores_mm": [25.0, 51.0, 76.0], **bypass}})


def _two_tails(seed: int) -> tuple[FeedCase, list[UnfedPart]]:
    """Make a street of six nodes fed at one end, with two stopped tails and four hoses to each."""
    rng = np.random.default_rng(seed)
    street = [(i, i + 1) for i in range(5)]
    tails = [(2, 6), (6, 7), (4, 8), (8, 9)]
    ends = np.array(street + tails)
    links = FlowLinks(
        from_node=ends[:, 0],
        to_node=ends[:, 1],
        length_m=rng.uniform(40, 120, 9),
        bore_m=rng.choice([0.0736, 0.1022, 0.1308], 9),
        roughness_m=np.full(9, 7e-6),
        is_open=np.array([True] * 5 + [False, True, False, True]),
    )
    network = FlowNetwork(10, links, np.array([0]), rng.uniform(2300, 3000, 1))
    demand = rng.uniform(0.5, 18.0, 10) / 3600.0
    inlets = Inlets(np.arange(1, 10), np.full(9, 2100.0))
    parts = []
    for label, giving, fed, inside in (("A", (1, 2), (6, 7), (6, 7)), ("B", (3, 4), (8, 9), (8, 9))):
        feeds = tuple(
            Feed(
                FeedKind.HOSE if start == giving[0] else FeedKind.BYPASS,
                f"{start}>{stop}",
                start,
                stop,
                float(rng.uniform(10, 60)),
            )
            for start, stop in itertools.product(giving, fed)
        )
        off = None if rng.random() < 0.2 else int(rng.integers(50_000, 300_000))
        nodes = np.array(inside)
        parts.append(UnfedPart(label, feeds, nodes - 1, nodes, off))
    return FeedCase(FlowSolver(network, CONDITIONS), demand, inlets), parts


def _by_brute_force(case: FeedCase, parts: list[UnfedPart], rules: Rules) -> int | None:
    ways: list[list[tuple[int, FeedSize | None]]] = []
    for part in parts:
        some: list[tuple[int, FeedSize | None]] = [
            (feed_price_minor(feed, size.parallel, rules), size)
            for feed in part.feeds
            for size in sizes_in_order(feed, rules)
        ]
        if part.off_price_minor is not None:
            some.append((part.off_price_minor, None))
        ways.append(some)
    best: int | None = None
    for pick in sorted(
        itertools.product(*ways), key=lambda combination: sum(price for price, _ in combination)
    ):
        demand, skip = case.demand_m3_per_s_std.copy(), np.zeros(len(case.inlets), dtype=bool)
        for part, (_, size) in zip(parts, pick, strict=True):
            if size is None:
                demand[part.demand_nodes] = 0.0
                skip[part.inlets] = True
        sizes = [size for _, size in pick if size is not None]
        if case.judge(sizes, rules, demand_m3_per_s_std=demand, skip_inlets=skip).holds:
            best = sum(price for price, _ in pick)
            break
    return best


def test_cheapest_combination_equals_brute_force() -> None:
    rules = _rules()
    found, fed, off = 0, 0, 0
    for seed in range(40):
        case, parts = _two_tails(seed)
        answer = feed_parts(case, parts, rules)
        expected = _by_brute_force(case, parts, rules)
        if expected is None:
            assert answer.verdict is None, seed
            assert answer.reason
            continue
        assert answer.verdict is not None, seed
        assert answer.price_minor == expected, seed
        found += 1
        off += sum(answer.off)
        sizes = [feed.size for feed in answer.feeds if feed is not None]
        fed += len(sizes)
        parts_off = sum(p.off_price_minor or 0 for p, gone in zip(parts, answer.off, strict=True) if gone)
        assert answer.feeds_price_minor + parts_off == answer.price_minor
        _check_no_bore_is_too_wide(case, parts, answer.off, sizes, rules)
    assert found >= 25
    assert fed >= 20
    assert off >= 5


def _check_no_bore_is_too_wide(
    case: FeedCase, parts: list[UnfedPart], off: tuple[bool, ...], sizes: list[FeedSize], rules: Rules
) -> None:
    demand, skip = case.demand_m3_per_s_std.copy(), np.zeros(len(case.inlets), dtype=bool)
    for part, gone in zip(parts, off, strict=True):
        if gone:
            demand[part.demand_nodes] = 0.0
            skip[part.inlets] = True
    for place, size in enumerate(sizes):
        ladder = list(sizes_in_order(size.feed, rules, size.parallel))
        row = ladder.index(size)
        if row:
            narrower = [*sizes[:place], ladder[row - 1], *sizes[place + 1 :]]
            assert not case.judge(narrower, rules, demand_m3_per_s_std=demand, skip_inlets=skip).holds


def test_a_part_that_must_be_fed_and_cannot_says_why() -> None:
    case, parts = _two_tails(1)
    hopeless = UnfedPart("C", (), parts[0].inlets, parts[0].demand_nodes, None)
    answer = feed_parts(case, [hopeless], _rules())
    assert answer.verdict is None
    assert "no feed within reach" in answer.reason


@at_least(sized=8)
@given(st.integers(0, 400))
@settings(max_examples=30, deadline=None)
def test_every_smaller_size_fails(seed: int) -> None:
    rules = read_rules()
    town = random_town(seed, rules)
    case = town.case(CONDITIONS)
    sized = smallest_feed(case, town.feed, rules)
    ladder = list(sizes_in_order(town.feed, rules))
    if not isinstance(sized, SizedFeed):
        assert ladder
        assert not any(case.judge([size], rules).holds for size in ladder)
        return
    seen("sized")
    place = ladder.index(sized.size)
    assert [case.judge([size], rules).holds for size in ladder[: place + 1]] == [False] * place + [True]
    # Everything the network draws comes from the station; the hoses carry what their figures say.
    assert float(sized.state.station_flow_m3_per_s_std.sum()) == pytest.approx(town.demand.sum(), rel=1e-6)
    hoses = sized.state.flow_m3_per_s_std[town.network.links.count :]
    assert hoses.size == sized.size.parallel
    assert hoses.sum() == pytest.approx(sized.flow_m3_per_s_std)


@given(st.integers(0, 200), st.lists(st.floats(0.01, 0.99), min_size=1, max_size=4, unique=True))
@settings(max_examples=30, deadline=None)
def test_taps_change_no_flow(seed: int, shares: list[float]) -> None:
    town = random_town(seed, read_rules())
    count = town.network.links.count
    taps = [Tap((seed + 3 * i) % count, share) for i, share in enumerate(shares)]
    tapped, node, link_of = with_taps(town.network, taps)
    before = solve(town.network, town.demand, CONDITIONS)
    after = solve(tapped, np.concatenate([town.demand, np.zeros(len(taps))]), CONDITIONS)
    assert node.tolist() == sorted(set(node.tolist()), key=node.tolist().index)
    assert after.pressure_pa_gauge[: town.network.node_count] == pytest.approx(
        before.pressure_pa_gauge, abs=1e-3, nan_ok=True
    )
    assert np.bincount(link_of, weights=tapped.links.length_m) == pytest.approx(town.network.links.length_m)
    for tap, new in zip(taps, node, strict=True):
        ends = np.concatenate([tapped.links.from_node, tapped.links.to_node])
        assert (ends == new).sum() == 2
        start = town.network.links.from_node[tap.link]
        along = tapped.links.length_m[link_of == tap.link].sum()
        assert along == pytest.approx(town.network.links.length_m[tap.link])
        assert start in tapped.links.from_node[link_of == tap.link]


@given(st.integers(0, 300), st.booleans(), st.floats(0.3, 1.6))
@settings(max_examples=40, deadline=None)
def test_a_part_solved_apart_is_judged_as_the_whole(seed: int, hilly: bool, demand_factor: float) -> None:
    rules = read_rules(overrides={"bypass": {"velocity_max_m_s": 10.0 if seed % 3 else 25.0}})
    town = random_town(seed, rules)
    network = town.network
    if hilly:
        height = np.random.default_rng(seed).uniform(0.0, 40.0, network.node_count)
        network = FlowNetwork(
            network.node_count,
            network.links,
            network.station_node,
            network.station_pressure_pa_gauge,
            node_height_m=height,
        )
    case = FeedCase(FlowSolver(network, CONDITIONS), town.demand * demand_factor, town.inlets)
    apart, whole = FeedChecker(case, rules), FeedChecker(case, rules, may_split=False)
    for size in [None, *sizes_in_order(town.feed, rules)]:
        sizes = [] if size is None else [size]
        assert (apart.reason_against(sizes) == "") is (whole.reason_against(sizes) == "")


def test_stranded_parts_are_solved_apart() -> None:
    rules = _rules()
    for seed in range(10):
        case, parts = _two_tails(seed)
        split = split_case(case)
        assert split is not None
        sizes = [FeedSize(part.feeds[0], 0.051) for part in parts]
        skip = np.zeros(len(case.inlets), dtype=bool)
        apart = split.margin(sizes, rules, case.demand_m3_per_s_std, skip)
        verdict = case.judge(sizes, rules)
        assert apart is not None
        assert apart.holds is verdict.holds


def test_loss_coefficient_grows_where_the_tapping_is_the_throat() -> None:
    rules = read_rules()
    assert feed_loss_coefficient(0.025, rules) == 6.0
    assert feed_loss_coefficient(0.050, rules, (50.0, 50.0)) == pytest.approx(6.0)
    # Two tappings of 1.5 on the velocity in 50 mm, seen from 100 mm: (100/50)^4 = 16 times.
    assert feed_loss_coefficient(0.100, rules, (50.0, 50.0)) == pytest.approx(6.0 + 2 * 1.5 * 15)
    # Each end by its own outlet; where none is on record, by the rules' one.
    assert feed_loss_coefficient(0.100, rules, (100.0, 50.0)) == pytest.approx(6.0 + 1.5 * 15)
    assert feed_loss_coefficient(0.200, rules) == pytest.approx(6.0 + 2 * 1.5 * 15)
    hose = Feed(FeedKind.HOSE, "h", 0, 1, 10.0, outlets_mm=(50.0, 50.0))
    wide = feed_links([FeedSize(hose, 0.1, 2)], rules)
    assert wide.count == 2
    assert wide.loss_coefficient.tolist() == pytest.approx([51.0, 51.0])


@given(
    st.lists(
        st.tuples(st.floats(1, 200), st.sampled_from(["bypass", "hose", "valve"])), min_size=1, max_size=6
    )
)
@settings(max_examples=60, deadline=None)
def test_lower_bound_bounds_and_is_met(ways: list[tuple[float, str]]) -> None:
    rules = read_rules()
    slack, reach = rules.bypass.slack, rules.bypass.reach_m
    real = [
        feed_price_minor(
            Feed(FeedKind(kind), "x", 0, 1, 0.0 if kind == "valve" else slack * straight), 1, rules
        )
        for straight, kind in ways
        if kind == "valve" or slack * straight <= reach
    ]
    least = {k: min((s for s, kind in ways if kind == k), default=None) for k in ("bypass", "hose", "valve")}
    bound = feed_lower_bound_minor(
        rules,
        least_bypass_m=least["bypass"],
        least_hose_m=least["hose"],
        has_valve=least["valve"] is not None,
    )
    assert bound == (min(real) if real else None)


@given(
    st.floats(-35, 30),
    st.none() | st.floats(-40, 40),
    st.sampled_from(
        [lambda d: d / 30, lambda d: d**3, lambda d: math.copysign(1.0, d), lambda d: 1 - math.exp(-d / 3)]
    ),
    st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_the_edge_is_found_whatever_the_slack_looks_like(
    edge: float, near: float | None, shape: Callable[[float], float], fails_without_solution: bool
) -> None:
    asked: list[float] = []

    def stand(temperature: float) -> ConstraintMargin:
        asked.append(temperature)
        if temperature >= edge:
            return ConstraintMargin("", abs(shape(temperature - edge)))
        return ConstraintMargin(
            "too cold", -math.inf if fails_without_solution else -abs(shape(temperature - edge))
        )

    found = coldest_air_temp_c(stand, near_c=near)
    if edge > 25.0:
        assert found is None
    elif edge <= -30.0:
        assert found == -30.0
    else:
        assert found is not None
        assert edge <= found < edge + 0.1 + 1e-9
    assert len(asked) <= 24


def _weather(seed: int) -> tuple[FeedCase, Callable[[float], np.ndarray], Feed, Rules]:
    rules = read_rules()
    town = random_town(seed, rules)
    rng = np.random.default_rng(seed)
    count = town.network.node_count
    table = customers_table(
        rng.uniform(1e5, 4e5, count).tolist(), category=rng.integers(0, 4, count).tolist()
    )
    result = customer_demand(table, Window(), rules, GAS.gross_calorific_value_j_per_m3())

    def demand_at(air_temp_c: float) -> np.ndarray:
        return node_demand(table, result.at_air_temp(air_temp_c).flow_m3_per_s_std(), count)

    return town.case(CONDITIONS), demand_at, town.feed, rules


def test_wider_feeds_hold_for_colder_weather_and_the_edge_is_real() -> None:
    edges = 0
    for seed in range(16):
        case, demand_at, feed, rules = _weather(seed)
        options = size_ladder(feed, rules)
        rows = weather_window(case, demand_at, options, rules)
        assert [row.label for row in rows][:3] == ["none", "25 mm", "38 mm"]
        one_hose = [row.coldest_c for row in rows[1:7]]
        ranks = [99.0 if c is None else c for c in one_hose]
        assert ranks == sorted(ranks, reverse=True), seed
        for (_, sizes), row in zip(options, rows, strict=True):
            if row.coldest_c is None or row.coldest_c == -30.0:
                continue
            edges += 1
            assert case.judge(sizes, rules, demand_m3_per_s_std=demand_at(row.coldest_c)).holds
            colder = case.judge(sizes, rules, demand_m3_per_s_std=demand_at(round(row.coldest_c - 0.1, 6)))
            assert not colder.holds
            assert row.reason == colder.reason
    assert edges >= 15


def test_spare_flow_is_the_edge() -> None:
    rules = read_rules()
    town = random_town(3, rules)
    case = town.case(CONDITIONS)
    sized = smallest_feed(case, town.feed, rules)
    assert isinstance(sized, SizedFeed)
    spare = spare_flow_m3_per_s_std(case, [sized.size], 0, rules)
    step = 2.0 * float(town.demand.sum()) / 2**14
    assert spare > 0
    for extra, holds in ((spare, True), (spare + 1.01 * step, False)):
        demand = town.demand.copy()
        demand[town.feed.to_node] += extra
        assert case.judge([sized.size], rules, demand_m3_per_s_std=demand).holds is holds


def _share(meters: np.ndarray) -> np.ndarray:
    """Two kinds of meters: those with a peak, by the published curve; those with a yearly energy, by the rules."""
    return np.column_stack([diversity_of(meters[:, 0]), uplift(meters[:, 1], read_rules())])


def _branch() -> FlowNetwork:
    """Make a main with two services at its end; nothing is meshed but the station's node."""
    links = FlowLinks(
        from_node=np.array([0, 1, 1]),
        to_node=np.array([1, 2, 3]),
        length_m=np.array([200.0, 12.0, 12.0]),
        bore_m=np.array([0.0514, 0.026, 0.026]),
        roughness_m=np.full(3, 7e-6),
    )
    return FlowNetwork(4, links, np.array([0]), np.array([2500.0]))


def test_allowance_by_hand_on_a_branch() -> None:
    # Ten meters by yearly energy, eight of them beside the main and one at the end of each service.
    network = _branch()
    meters = np.zeros((4, 2))
    meters[:, 1] = [0.0, 8.0, 1.0, 1.0]
    drawn = meters * 1.2 / 3600.0
    demand = drawn[:, 1] * float(uplift(10.0, read_rules()))
    state = solve(network, demand, CONDITIONS)
    allowance = local_peak_allowance_pa(network, state, CONDITIONS, drawn, meters, _share)
    assert allowance[0] == 0.0
    # All ten meters hang on the main: it sees what the part was raised by already.
    assert allowance[1] == pytest.approx(0.0, abs=1e-9)
    assert allowance[2] == allowance[3] > 0.0
    # The same by solving with the single meter's own uplift, (1 + 0.35)(1 + 0.10) by the shipped rules, the
    # rest of the flow kept on the main.
    peaking = demand.copy()
    peaking[2] = drawn[2, 1] * 1.35 * 1.10
    peaking[1] -= peaking[2] - demand[2]
    alone = solve(network, peaking, CONDITIONS)
    assert allowance[2] == pytest.approx(state.pressure_pa_gauge[2] - alone.pressure_pa_gauge[2], rel=1e-3)


def test_allowance_of_single_peaks_by_the_published_curve() -> None:
    """The part holds 100 appliances of 3 kW; one of them hangs on each service, the rest beside the main.

    Simultaneity in local heat networks (Winter, Haslauer, Obernberger, Euroheat & Power 2001, from memory):
    g(n) = 0.449677646 + 0.551234688 / (1 + (n / 53.84382392)^1.762743268), and 1 for one appliance, so that one at a
    branch's end draws its whole peak where the part's mean is g(100) of it.
    """
    network = _branch()
    meters = np.zeros((4, 2))
    meters[:, 0] = [0.0, 98.0, 1.0, 1.0]
    drawn = meters * 3e3 / GAS.gross_calorific_value_j_per_m3()
    g = 0.449677646 + 0.551234688 / (1.0 + (100.0 / 53.84382392) ** 1.762743268)
    assert g == pytest.approx(0.588, abs=5e-4)
    demand = drawn[:, 0] * g
    state = solve(network, demand, CONDITIONS)
    allowance = local_peak_allowance_pa(network, state, CONDITIONS, drawn, meters, _share)
    peaking = demand.copy()
    peaking[2] = drawn[2, 0]
    peaking[1] -= peaking[2] - demand[2]
    alone = solve(network, peaking, CONDITIONS)
    assert allowance[2] == pytest.approx(state.pressure_pa_gauge[2] - alone.pressure_pa_gauge[2], rel=1e-3)
    assert allowance[2] > 0.0


def test_where_a_branch_begins() -> None:
    network = _branch()
    assert branch_roots(network).tolist() == [0, 0, 0, 0]
    assert branch_roots(network, np.array([2])).tolist() == [0, 1, 2, 1]
