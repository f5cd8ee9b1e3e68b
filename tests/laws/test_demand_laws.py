"""Laws of demand: diversity, uplift, colder never needs less, parts add up."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.demand import (
    Window,
    customer_demand,
    diversity_of,
    hour_factor,
    node_demand,
    relight_flow,
    uplift,
)
from netplan.reference.profiles import profile, profile_value, share_band
from netplan.rules import default_rules, read_rules
from tests.support.demand_tables import NAN, customers_table

HS_J_PER_M3 = 38.5e6
NUMBERS = np.unique(np.round(np.geomspace(1, 100_000, 400)))
PROFILES = ("HEF", "HMF", "GHD", "GKO", "GMK")


def test_diversity_laws() -> None:
    shared = diversity_of(NUMBERS)
    assert shared[0] == pytest.approx(1.0, abs=1e-3)
    assert (shared > 0).all()
    assert (shared <= 1.0).all()
    assert (np.diff(shared) <= 0).all()
    assert (np.diff(NUMBERS * shared) >= 0).all()


@given(st.floats(0, 5), st.floats(0, 2))
@settings(max_examples=40, deadline=None)
def test_uplift_laws(small_group: float, within_hour: float) -> None:
    rules = read_rules(overrides={"demand": {"small_group": small_group, "within_hour": within_hour}})
    raised = uplift(NUMBERS, rules)
    assert (raised >= 1.0).all()
    assert (np.diff(raised) <= 1e-12).all()
    assert (np.diff(NUMBERS * raised) >= -1e-9).all()


@given(
    st.sampled_from(PROFILES), st.integers(0, 23), st.integers(-1, 6), st.floats(-40, 45), st.floats(0, 30)
)
@settings(max_examples=300, deadline=None)
def test_colder_hour_never_needs_less(
    name: str, hour: int, weekday: int, temperature: float, colder: float
) -> None:
    warm = hour_factor(name, hour, weekday, temperature)
    assert hour_factor(name, hour, weekday, temperature - colder) >= warm - 1e-12


@given(st.sampled_from(PROFILES), st.integers(0, 23), st.integers(0, 6), st.floats(-40, 38))
@settings(max_examples=300, deadline=None)
def test_never_below_the_published_hour(name: str, hour: int, weekday: int, temperature: float) -> None:
    of = profile(name)
    share = of.shares[weekday, hour, int(share_band(temperature))]
    published = float(profile_value(of, temperature)) * share * of.weekday_factor[weekday]
    assert hour_factor(name, hour, weekday, temperature) >= published * (1.0 - 1e-4)


@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("temperature", [-12.0, -2.0, 8.0])
def test_any_working_day_is_the_worst_of_five(name: str, temperature: float) -> None:
    for hour in range(24):
        days = [hour_factor(name, hour, weekday, temperature) for weekday in range(5)]
        assert hour_factor(name, hour, -1, temperature) == pytest.approx(max(days), rel=1e-12)


CUSTOMER = st.tuples(
    st.one_of(st.just(NAN), st.floats(-10, 1e6)),
    st.one_of(st.just(NAN), st.floats(-10, 5e3)),
    st.integers(0, 3),
    st.integers(1, 8),
)


@given(
    st.lists(CUSTOMER, min_size=1, max_size=12),
    st.floats(-25, 30),
    st.floats(0, 20),
    st.integers(0, 2),
)
@settings(max_examples=60, deadline=None)
def test_colder_never_needs_less(
    people: list[tuple[float, float, int, int]], temperature: float, colder: float, parts: int
) -> None:
    annual, peak, category, meters = (list(column) for column in zip(*people, strict=True))
    table = customers_table(annual, peak, category, meters)
    label = np.arange(len(people)) % (parts + 1)
    result = customer_demand(table, Window(air_temp_c=temperature), default_rules(), HS_J_PER_M3)
    other = result.at_air_temp(temperature - colder)
    hours = result.hours_to_check()
    assert len(hours) > 0
    for hour in hours:
        warm, cold = result.flow_m3_per_s_std(hour, label), other.flow_m3_per_s_std(hour, label)
        assert np.isfinite(cold).all()
        assert (warm > 0).all()
        assert (cold >= warm - 1e-15).all()


def test_more_customers_never_need_less_and_parts_never_less_than_the_whole() -> None:
    annual = np.linspace(3000, 40000, 30)
    table = customers_table(annual.tolist())
    result = customer_demand(table, Window(), default_rules(), HS_J_PER_M3)
    whole = result.flow_m3_per_s_std()
    split = result.flow_m3_per_s_std(part=np.arange(30) % 5)
    assert (split >= whole).all()
    fewer = customer_demand(customers_table(annual[:20].tolist()), Window(), default_rules(), HS_J_PER_M3)
    assert fewer.flow_m3_per_s_std().sum() <= whole.sum()


def test_parts_add_up_to_the_total() -> None:
    table = customers_table(
        [12000, NAN, 90000, 60000, NAN, NAN, 200000],
        [NAN, 24, NAN, NAN, 400, NAN, 100],
        [0, 0, 0, 1, 2, 3, 3],
        [1, 1, 6, 1, 1, 1, 1],
    )
    result = customer_demand(table, Window(), default_rules(), HS_J_PER_M3)
    parts = result.parts()
    assert sum(part.customers for part in parts) == 7
    assert sum(part.flow_m3_per_s_std for part in parts) == pytest.approx(
        result.flow_m3_per_s_std().sum(), rel=1e-12
    )
    assert len({part.name for part in parts}) == len(parts)


def test_the_checked_hours_bound_all_others() -> None:
    table = customers_table(
        [15000, 90000, 60000, 300000, 80000], category=[0, 0, 1, 2, 3], meters=[1, 9, 1, 1, 1]
    )
    window = Window(datetime(2026, 1, 14, 0, 0), 24.0, -4.0)
    result = customer_demand(table, window, default_rules(), HS_J_PER_M3)
    checked = result.hours_to_check()
    assert result.worst_hour in checked
    assert len(checked) < 24
    flows = np.array([result.flow_m3_per_s_std(hour) for hour in range(24)])
    for hour in range(24):
        assert any((flows[row] >= flows[hour] - 1e-15).all() for row in checked)


def test_node_demand_keeps_the_total_and_follows_the_live_attachment() -> None:
    table = customers_table([12000, 15000, 9000], attach=[[0, 2], [1], [2]])
    flow = np.array([4.0, 2.0, 1.0])
    both = node_demand(table, flow, 4)
    assert both.tolist() == [2.0, 2.0, 3.0, 0.0]
    live = np.array([False, True, True, True])
    assert node_demand(table, flow, 4, live).tolist() == [0.0, 2.0, 5.0, 0.0]
    assert node_demand(table, flow, 4, np.array([True, False, False, True])).tolist() == [4.0, 0.0, 0.0, 0.0]


def test_relighting_together_needs_more() -> None:
    table = customers_table([12000, NAN, 15000], [NAN, 30, 25])
    result = customer_demand(table, Window(air_temp_c=12.0), default_rules(), HS_J_PER_M3)
    usual = result.flow_m3_per_s_std()
    relit = relight_flow(result, np.array([True, True, False]))
    assert (relit >= usual).all()
    assert relit[0] > 1.5 * usual[0]
    # The second is known by its peak: all of it comes back, with the demand margin.
    assert relit[1] == pytest.approx(30e3 / HS_J_PER_M3 * 1.15)
    assert relit[2] == usual[2]
