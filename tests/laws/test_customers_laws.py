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
@given(CROWD, st.floats(0.5, 40.0), st.floats(0.0, 600.0), st.floats(1.0, 2.0))
def test_everybody_is_promised_a_time_after_its_turn(
    crowd: list[tuple[Any, ...]], rate: float, back_min: float, overrun: float
) -> None:
    queue = relight_order(*_columns(crowd, list(range(len(crowd)))))
    start = datetime(2026, 5, 12, 6, 45)
    times = off_on_times(
        queue,
        start=start,
        off_from_min=back_min / 2,
        gas_back_min=back_min,
        relights_per_hour=rate,
        overrun=overrun,
    )
    assert len(times.on_by) == len(crowd)
    relit = queue.relit_h(rate)
    assert np.all(np.diff(relit) > 0.0)
    # Nobody is relit before its place in the queue, and the last one no later than that.
    assert np.all(relit >= queue.back_on_h(rate) - 1e-9)
    if len(crowd):
        assert relit[-1] == pytest.approx(sum(max(row[3], 1) for row in crowd) / rate)
    for place, row in enumerate(queue.order.tolist()):
        on_by = datetime.fromisoformat(times.on_by[row] or "")
        late = on_by - (start + timedelta(minutes=overrun * (back_min + 60.0 * float(relit[place]))))
        assert timedelta(seconds=-1) <= late < timedelta(minutes=31)
        assert on_by.minute in (0, 30)
    off_from = datetime.fromisoformat(times.off_from or "")
    assert timedelta(0) <= start + timedelta(minutes=back_min / 2) - off_from < timedelta(minutes=31)
    assert off_from.minute in (0, 30)


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
