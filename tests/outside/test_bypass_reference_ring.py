"""The reference ring: a main is out, two nodes fail, a bypass of 51.4 mm holds them.

Figures of pandapipes 0.16.0 (friction "colebrook", hgas at 15 °C) for this network, and the same solved anew.
"""

from __future__ import annotations

import numpy as np
import pytest

from netplan.feeds import (
    Feed,
    FeedCase,
    FeedKind,
    FeedSize,
    Inlets,
    SizedFeed,
)
from netplan.hydraulics import FlowSolver
from netplan.hydraulics.recorded_network import limit_pa_gauge
from tests.compared import compared
from tests.support.feed_cases import RING_DEMAND, hoses_of, ring, ring_rules, smallest_feed
from tests.support.feed_reference import hgas_conditions, pandapipes_pressures, per_second

NODES = np.arange(1, 6)
BYPASS = Feed(FeedKind.BYPASS, "2>5", 1, 4, 12.0)
RULES = ring_rules([38.0, 51.4, 63.0])


def _case(closed: str, minimum_pa: float = 1900.0) -> FeedCase:
    solver = FlowSolver(ring(closed), hgas_conditions())
    return FeedCase(solver, RING_DEMAND, Inlets(NODES, np.full(5, minimum_pa)))


def test_all_nodes_hold_before_the_stops() -> None:
    verdict = _case("").judge([], RULES)
    assert verdict.holds
    # pandapipes: P2 to P6.
    compared(
        "ring: pressures with all pipes in, before a bypass",
        verdict.state.pressure_pa_gauge[1:] / 100,
        [23.4579, 22.7566, 23.4342, 21.7313, 21.2441],
        abs=0.005,
        unit="mbar",
        source="pandapipes 0.16.0",
        how="library",
    )


def test_without_the_main_two_nodes_fail() -> None:
    verdict = _case("e").judge([], RULES)
    pressure = verdict.state.pressure_pa_gauge / 100
    assert not verdict.holds
    # pandapipes: P5 5.087, P6 5.505 mbar.
    compared(
        "ring: pressures with a main out",
        pressure[4:],
        [5.087, 5.505],
        abs=0.03,
        unit="mbar",
        source="pandapipes 0.16.0",
        how="library",
    )
    assert np.flatnonzero(pressure < 19.0).tolist() == [4, 5]
    assert "mbar at the worst inlet, 19.000 mbar needed" in verdict.reason


def test_the_bypass_holds_and_is_the_smallest() -> None:
    sized = smallest_feed(_case("e"), BYPASS, RULES)
    assert isinstance(sized, SizedFeed)
    assert sized.size.bore_m == pytest.approx(0.0514)
    assert sized.size.parallel == 1
    # pandapipes: 90.49 m³/h at 0 °C through the bypass, P5 20.621, P6 20.288 mbar.
    compared(
        "ring: flow of the bypass",
        sized.flow_m3_per_s_std,
        float(per_second(90.49)),
        rel=0.005,
        unit="m³/s",
        source="pandapipes 0.16.0",
        how="library",
    )
    pressure = sized.state.pressure_pa_gauge / 100
    compared(
        "ring: pressures with the bypass",
        pressure[4:],
        [20.621, 20.288],
        abs=0.02,
        unit="mbar",
        source="pandapipes 0.16.0",
        how="library",
    )
    assert sized.drop_pa == pytest.approx(sized.pressure_from_pa_gauge - 100 * pressure[4])
    assert sized.least_inlet == 4
    # By hand: 90.49 m³/h at 0 °C is 92.9 m³/h at 15 °C and 23.5 mbar, in 2.075e-3 m².
    compared(
        "ring: velocity in the bypass",
        sized.velocity_m_per_s,
        12.46,
        rel=0.01,
        unit="m/s",
        source="by hand from the flow of pandapipes 0.16.0",
        how="library",
    )


@pytest.mark.parametrize(("bore_mm", "holds"), [(38.0, False), (51.4, True)])
def test_the_same_by_an_independent_solution(bore_mm: float, holds: bool) -> None:
    size = FeedSize(BYPASS, bore_mm / 1e3)
    theirs, hose_flow = pandapipes_pressures(ring("e"), RING_DEMAND, hoses_of(size, RULES))
    ours = _case("e").judge([size], RULES)
    assert ours.holds is holds
    assert bool((theirs[1:] >= 1900.0).all()) is holds
    compared(
        "ring: pressures with a hose, solved anew",
        ours.state.pressure_pa_gauge,
        theirs,
        abs=5.0,
        unit="Pa",
        source="pandapipes 0.16.0",
        how="library",
    )
    compared(
        "ring: flow of a hose, solved anew",
        float(ours.state.flow_m3_per_s_std[-1]),
        hose_flow[0],
        rel=0.005,
        unit="m³/s",
        source="pandapipes 0.16.0",
        how="library",
    )


def test_a_higher_minimum_needs_a_wider_bypass_or_more_than_there_is() -> None:
    rules = ring_rules([38.0, 51.4, 63.0], minimum_mbar=19.6, margin_mbar=1.0)
    assert limit_pa_gauge(rules) == pytest.approx(2060.0)
    sized = smallest_feed(_case("e", 2060.0), BYPASS, rules)
    assert isinstance(sized, SizedFeed)
    assert sized.size.bore_m == pytest.approx(0.063)
    failed = smallest_feed(_case("e", 2300.0), BYPASS, rules)
    assert isinstance(failed, str)
    assert "23.000 mbar needed" in failed
