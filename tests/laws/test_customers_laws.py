"""Laws of relighting and of house-number order, on random customers."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from netplan.customers import (
    address_groups,
    natural_key,
    off_on_times,
    priority_rank,
    relight_order,
)

MODEST = settings(max_examples=60, deadline=None)
STREETS = st.sampled_from(("Mill Close", "Ash Path", ""))
NUMBERS = st.sampled_from(("1", "2", "2a", "10", "11", ""))
CUSTOMER = st.tuples(
    STREETS,
    NUMBERS,
    st.sampled_from(("", "", "", "hospital", "school", "own code")),
    st.integers(0, 9),
    st.sampled_from((6.0, 40.0)),
)
CROWD = st.lists(CUSTOMER, max_size=25)


def _columns(crowd: list[tuple[Any, ...]], order: list[int]) -> tuple[list[Any], ...]:
    rows = [(f"C{k}", f"{crowd[k][1]} {crowd[k][0]}", *crowd[k][:2], "", *crowd[k][2:]) for k in order]
    return tuple([row[i] for row in rows] for i in range(8))


@MODEST
@given(CROWD, st.randoms(use_true_random=False))
def test_the_order_is_a_permutation_that_does_not_hang_on_rows(
    crowd: list[tuple[Any, ...]], random: Any
) -> None:
    order = list(range(len(crowd)))
    first = relight_order(*_columns(crowd, order))
    assert sorted(first.order.tolist()) == order
    shuffled = order.copy()
    random.shuffle(shuffled)
    second = relight_order(*_columns(crowd, shuffled))
    assert [shuffled[k] for k in second.order] == first.order.tolist()
    assert second.visit.tolist() == first.visit.tolist()


@MODEST
@given(CROWD)
def test_priority_first_then_the_dearest_wait_then_the_walk(crowd: list[tuple[Any, ...]]) -> None:
    queue = relight_order(*_columns(crowd, list(range(len(crowd)))))
    keys = [
        (priority_rank(crowd[k][2]), -crowd[k][4], natural_key(crowd[k][0]), natural_key(crowd[k][1]))
        for k in queue.order
    ]
    assert keys == sorted(keys)


@MODEST
@given(CROWD, st.floats(0.5, 40.0), st.floats(0.0, 14.0))
def test_everybody_waits_the_window_and_the_queue_adds_up(
    crowd: list[tuple[Any, ...]], rate: float, hours: float
) -> None:
    queue = relight_order(*_columns(crowd, list(range(len(crowd)))))
    start = datetime(2026, 5, 12, 6, 30)
    times = off_on_times(queue, start=start, hours=hours, relights_per_hour=rate, day_end="20:00")
    meters = sum(max(row[3], 1) for row in crowd)
    assert times.crew_hours == pytest.approx(meters / rate)
    assert len(times.on_by) == len(crowd)
    waits = np.array(times.hours_off)[queue.order]
    assert np.all(np.diff(waits) > 0.0)
    for wait, on_by in zip(times.hours_off, times.on_by, strict=True):
        assert hours < wait <= hours + times.crew_hours + 1e-9
        assert on_by is not None
        late = datetime.fromisoformat(on_by) - (start + timedelta(hours=wait))
        assert timedelta(seconds=-1) <= late < timedelta(minutes=6)
    end = start + timedelta(hours=hours + times.crew_hours)
    assert times.fits == (not crowd or end <= datetime(2026, 5, 12, 20, 0) + timedelta(seconds=1))


@MODEST
@given(st.lists(st.text(max_size=12), max_size=20))
def test_any_texts_can_be_put_in_order(texts: list[str]) -> None:
    ordered = sorted(texts, key=natural_key)
    assert sorted(ordered) == sorted(texts)


@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_house_numbers_compare_as_numbers(a: int, b: int) -> None:
    assert (natural_key(str(a)) < natural_key(str(b))) == (a < b)
    assert natural_key(f"{a}") < natural_key(f"{a}a") < natural_key(f"{a + 1}")


@MODEST
@given(CROWD)
@example([("Ash Path", "1", "", 1, 6.0), ("Ash Path", "1", "", 1, 6.0), ("Ash Path", "2", "", 1, 6.0)])
def test_groups_are_the_houses(crowd: list[tuple[Any, ...]]) -> None:
    columns = _columns(crowd, list(range(len(crowd))))
    groups = address_groups(columns[1], columns[2], columns[3], columns[4])
    assert len(groups) == len(crowd)
    for a in range(len(crowd)):
        for b in range(a):
            if crowd[a][0] and crowd[a][1]:
                assert (groups[a] == groups[b]) == (crowd[a][:2] == crowd[b][:2])
