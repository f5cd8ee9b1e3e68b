"""Laws of line content, loss, draw, let-by and branch order, on random pipes and random trees."""

from __future__ import annotations

import math
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.core.errors import BadInputError, OutsideValidityError
from netplan.gas import (
    Equipment,
    FlowPath,
    PathPart,
    PurgeSource,
    ZoneMains,
    choose_rig,
    gap_content,
    least_velocity_m_s,
    line_content,
    natural_gas_figures_hold,
    purge_plan,
    purge_tree,
    slit_m3_per_s_std,
    vent_figures,
)
from netplan.hydraulics import FlowConditions
from netplan.reference.gas import METRIC_NORMAL, METRIC_STANDARD, US_STANDARD, gas_from_composition, named_gas

GAS = named_gas("natural gas")
CONDITIONS = FlowConditions(GAS, ground_temperature_k=283.15)
MODEST = settings(max_examples=40, deadline=None)
LENGTHS = st.floats(0.1, 500.0)
BORES = st.floats(0.02, 0.4)
PRESSURES = st.floats(0.0, 10_000.0)
GROUND_K = st.floats(268.0, 298.0)


@MODEST
@given(LENGTHS, BORES, PRESSURES, GROUND_K, st.floats(1.01, 3.0), st.sampled_from([None, GAS]))
def test_content_grows_with_pressure_length_and_bore(
    length: float, bore: float, pressure: float, ground: float, more: float, gas: object
) -> None:
    known = GAS if gas is not None else None

    def content(long: float, wide: float, high: float) -> float:
        return line_content(long, wide, high, ground, known).content_m3

    base = content(length, bore, pressure)
    assert content(length * more, bore, pressure) == pytest.approx(base * more)
    assert content(length, bore * more, pressure) == pytest.approx(base * more * more)
    assert content(length, bore, (pressure + 10.0) * more) > base
    assert line_content(length, bore, pressure, ground + 1.0, known).content_m3 < base


@MODEST
@given(st.lists(st.tuples(LENGTHS, BORES, PRESSURES), min_size=1, max_size=8), GROUND_K, st.floats(1.0, 4.0))
def test_total_is_line_content_and_purge_and_parts_add_up(
    pipes: list[tuple[float, float, float]], ground: float, volumes: float
) -> None:
    length, bore, pressure = (np.array(column) for column in zip(*pipes, strict=True))
    whole = line_content(length, bore, pressure, ground, GAS)
    apart = [line_content(*pipe, ground, GAS) for pipe in pipes]
    assert whole.content_m3 == pytest.approx(math.fsum(part.content_m3 for part in apart))
    assert 0.0 <= whole.pressure_part_m3 <= whole.content_m3
    figures = vent_figures(whole, GAS, volumes_in=volumes, kg_co2e_per_kg=28.0)
    assert figures.total_m3 == figures.line_content_m3 + figures.purge_m3
    assert figures.purge_m3 == pytest.approx((volumes - 1.0) * whole.unpressurised_m3)
    # What the live side gives is what is let go in the purge plus a full line again.
    assert figures.drawn_m3 - figures.purge_m3 == pytest.approx(whole.content_m3)
    assert figures.co2e_kg == pytest.approx(28.0 * figures.methane_kg)
    assert figures.line_content_m3 > whole.unpressurised_m3 - 1e-12


@MODEST
@given(LENGTHS, BORES, PRESSURES, GROUND_K)
def test_every_reference_holds_the_same_gas(
    length: float, bore: float, pressure: float, ground: float
) -> None:
    moles = [
        line_content(length, bore, pressure, ground, GAS, reference).content_m3
        * GAS.density_kg_per_m3_at(reference)
        for reference in (METRIC_STANDARD, METRIC_NORMAL, US_STANDARD)
    ]
    assert moles == pytest.approx([moles[0]] * 3)


@MODEST
@given(st.floats(0.0, 3.0), BORES, PRESSURES, GROUND_K)
def test_a_gap_is_a_line_and_no_gap_adds_nothing(
    gap: float, bore: float, pressure: float, ground: float
) -> None:
    assert gap_content(gap, bore, pressure, ground, GAS) == line_content(gap, bore, pressure, ground, GAS)
    assert gap_content([], [], [], ground, GAS).content_m3 == 0.0


def test_bad_records_are_refused_with_their_row() -> None:
    for length, bore, pressure, what in (
        ([1.0, -1.0], [0.1, 0.1], 0.0, "interval 1: length"),
        ([1.0], [0.0], 0.0, "interval 0: bore"),
        ([1.0], [math.nan], 0.0, "interval 0: bore"),
        ([1.0], [0.1], math.nan, "interval 0: pressure"),
        ([1.0], [0.1], -2e5, "interval 0: pressure"),
    ):
        with pytest.raises(BadInputError, match=what):
            line_content(length, bore, pressure, 283.15, GAS)
    one = line_content(1.0, 0.1, 0.0, 283.15, GAS)
    with pytest.raises(BadInputError, match="at least 1 volume"):
        vent_figures(one, GAS, volumes_in=0.9, kg_co2e_per_kg=28.0)
    with pytest.raises(BadInputError, match="do not add"):
        _ = one + line_content(1.0, 0.1, 0.0, 283.15, GAS, METRIC_NORMAL)


@MODEST
@given(st.floats(0.0, 0.0999))
def test_hydrogen_rich_gas_is_refused_and_a_little_is_not(hydrogen: float) -> None:
    lean = gas_from_composition({"methane": 1.0 - hydrogen, "hydrogen": hydrogen})
    rich = gas_from_composition({"methane": 0.899 - hydrogen, "hydrogen": 0.101 + hydrogen}, "blend")
    assert natural_gas_figures_hold(lean)
    with pytest.raises(OutsideValidityError, match="inert gas"):
        least_velocity_m_s(0.1, rich)
    with pytest.raises(OutsideValidityError, match="inert gas"):
        least_velocity_m_s(0.1, named_gas("propane"))


@MODEST
@given(BORES, st.floats(1.0, 20.0), st.floats(500.0, 9000.0), st.floats(1.05, 2.0))
def test_more_pressure_and_bore_give_more_flow_length_and_loss_less(
    bore: float, length: float, pressure: float, more: float
) -> None:
    def flow(long: float, wide: float, loss: float, high: float) -> float:
        parts = [PathPart(long, wide, 1e-5, loss), PathPart(3.0, wide, 1e-5, 5.0, holds_air=True)]
        return FlowPath(parts, CONDITIONS).flow(high)

    base = flow(length, bore, 4.0, pressure)
    assert flow(length, bore, 4.0, pressure * more) > base
    assert flow(length, bore * more, 4.0, pressure) > base
    assert flow(length * more, bore, 4.0, pressure) < base
    assert flow(length, bore, 4.0 * more, pressure) < base
    assert flow(length, bore, 4.0, 0.0) == 0.0


@MODEST
@given(st.floats(0.02, 0.06), st.floats(1000.0, 8000.0), st.floats(0.0, 1e6))
def test_the_draw_is_where_path_and_live_network_agree(
    bore: float, pressure: float, stiffness: float
) -> None:
    parts = [PathPart(5.0, bore, 1e-5, 6.0), PathPart(3.0, bore, 1e-5, 7.5, holds_air=True)]

    def supply(flow: float) -> float:
        return pressure - stiffness * flow * flow

    drawn = FlowPath(parts, CONDITIONS).flow_from(supply)
    assert drawn == pytest.approx(FlowPath(parts, CONDITIONS).flow(supply(drawn)), rel=1e-4, abs=1e-8)
    assert drawn <= FlowPath(parts, CONDITIONS).flow(pressure) * (1.0 + 1e-9)


def test_a_draw_stops_short_of_what_the_network_cannot_give() -> None:
    parts = [PathPart(5.0, 0.05, 1e-5, 6.0)]
    limit = 0.3 * FlowPath(parts, CONDITIONS).flow(2500.0)
    drawn = FlowPath(parts, CONDITIONS).flow_from(lambda flow: 2500.0 if flow < limit else math.nan)
    assert 0.99 * limit < drawn < limit


@MODEST
@given(st.floats(1e-5, 5e-4), st.floats(0.0, 9000.0), st.floats(1.1, 2.0))
def test_let_by_follows_the_pressure_across_and_the_gap(gap: float, across: float, more: float) -> None:
    base = slit_m3_per_s_std(gap, 0.3, 0.1, across, 283.15, GAS)
    assert slit_m3_per_s_std(gap, 0.3, 0.1, (across + 1.0) * more, 283.15, GAS) > base
    assert slit_m3_per_s_std(gap * more, 0.3, 0.1, across, 283.15, GAS) >= base
    assert slit_m3_per_s_std(gap, 0.3, 0.1, 0.0, 283.15, GAS) == 0.0


@st.composite
def zones(draw: st.DrawFn) -> tuple[ZoneMains, int]:
    """Draw a connected zone: a random tree with up to two more intervals that make loops."""
    count = draw(st.integers(2, 12))
    ends = [(draw(st.integers(0, node - 1)), node) for node in range(1, count)]
    for _ in range(draw(st.integers(0, 2))):
        ends.append((draw(st.integers(0, count - 1)), draw(st.integers(0, count - 1))))
    ends = [pair if draw(st.booleans()) else pair[::-1] for pair in ends]
    size = len(ends)
    length = np.array([draw(st.floats(1.0, 80.0)) for _ in range(size)])
    bore = np.array([draw(st.sampled_from((0.0514, 0.0736, 0.1022))) for _ in range(size)])
    mains = ZoneMains(
        from_node=np.array([a for a, _ in ends]),
        to_node=np.array([b for _, b in ends]),
        length_m=length,
        bore_m=bore,
        roughness_m=np.full(size, 7e-6),
        pipe=np.arange(size),
        from_m=np.zeros(size),
        to_m=length,
    )
    return mains, draw(st.integers(0, count - 1))


@MODEST
@given(zones())
def test_every_branch_end_is_a_purge_point_and_every_length_is_swept_once(
    zone: tuple[ZoneMains, int],
) -> None:
    mains, feed = zone
    tree = purge_tree(mains, feed)
    swept = [row for leg in tree.legs for row in leg.swept]
    assert sorted(swept) == list(range(len(mains)))
    assert tree.unreached == ()
    # Independent: networkx counts ends of branches and loops.
    graph: Any = nx.MultiGraph(list(zip(mains.from_node.tolist(), mains.to_node.tolist(), strict=True)))
    ends = {node for node, degree in graph.degree() if degree == 1 and node != feed}
    loops = graph.number_of_edges() - graph.number_of_nodes() + 1
    vents = [leg.node for leg in tree.legs if not leg.meets]
    assert ends <= set(vents)
    assert len(vents) == len(set(vents))
    assert sum(leg.meets for leg in tree.legs) == loops
    purged: set[int] = set()
    for leg in tree.legs:
        assert set(leg.before) <= purged
        assert leg.swept
        purged |= set(leg.swept)
    distance = nx.single_source_dijkstra_path_length(_weighted(mains), feed)
    for leg in tree.legs:
        if not leg.meets:
            assert leg.distance_m == pytest.approx(distance[leg.node])


def _weighted(mains: ZoneMains) -> Any:
    graph: Any = nx.Graph()
    for a, b, long in zip(
        mains.from_node.tolist(), mains.to_node.tolist(), mains.length_m.tolist(), strict=True
    ):
        if not graph.has_edge(a, b) or graph[a][b]["weight"] > long:
            graph.add_edge(a, b, weight=long)
    return graph


EQUIPMENT = Equipment((0.025, 0.038, 0.051), (0.025, 0.05), 3.0, 6.0, 1e-5)


@MODEST
@given(zones(), st.floats(100.0, 6000.0))
def test_the_rig_is_the_smallest_that_reaches_or_the_best_that_does_not(
    zone: tuple[ZoneMains, int], pressure: float
) -> None:
    mains, feed = zone
    source = PurgeSource(feed, 0, 0.0, lambda _flow: pressure)
    rig = choose_rig(mains, [source], EQUIPMENT, CONDITIONS)
    assert len(rig.flows) == len(rig.tree.legs) > 0
    assert all(flow.used <= 1.5 * flow.needed * (1 + 1e-9) for flow in rig.flows)
    smaller = [
        Equipment((feed_bore,), (stack,), 3.0, 6.0, 1e-5)
        for feed_bore in EQUIPMENT.feed_bores_m
        for stack in EQUIPMENT.stack_bores_m
        if (feed_bore, stack) < (rig.feed_bore_m, max(rig.stack_bores_m))
    ]
    if rig.reaches:
        assert all(flow.used >= flow.needed * (1 - 1e-9) for flow in rig.flows)
        for equipment in smaller:
            assert not choose_rig(mains, [source], equipment, CONDITIONS).reaches
    else:
        assert (rig.feed_bore_m, max(rig.stack_bores_m)) == (0.051, 0.05)


@MODEST
@given(zones(), st.floats(1500.0, 6000.0))
def test_a_purge_plan_lists_one_feed_and_its_vents_in_order(
    zone: tuple[ZoneMains, int], pressure: float
) -> None:
    mains, feed = zone
    source = PurgeSource(feed, 0, 0.0, lambda _flow: pressure)
    plan = purge_plan(mains, [source], EQUIPMENT, CONDITIONS, volumes_out=2.0, volumes_in=2.0)
    assert [place.order for place in plan.places] == list(range(len(plan.places)))
    assert [place.role for place in plan.places][:1] == ["feed"]
    assert {place.role for place in plan.places[1:]} == {"vent"}
    assert plan.volume_m3 == pytest.approx(float((math.pi / 4 * mains.bore_m**2 * mains.length_m).sum()))
    assert plan.minutes_in is not None
    assert plan.minutes_out is not None
    assert plan.minutes_out == pytest.approx(sum(place.minutes_out or 0.0 for place in plan.places))
    for line in plan.end_points:
        assert "% LFL" in line or "% vol" in line


def test_without_a_live_side_there_is_no_purge_by_gas() -> None:
    mains = ZoneMains(*(np.array([value]) for value in (0, 1, 10.0, 0.1, 7e-6, 0, 0.0, 10.0)))
    with pytest.raises(BadInputError, match="no stop has a live side"):
        purge_plan(mains, [], EQUIPMENT, CONDITIONS, volumes_out=2.0, volumes_in=2.0)
    with pytest.raises(BadInputError, match="on no main of the zone"):
        purge_tree(mains, 7)
