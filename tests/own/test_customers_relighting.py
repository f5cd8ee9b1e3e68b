"""Relighting: what a notice team would look at."""

from __future__ import annotations

from datetime import datetime

import pytest

from netplan.core.errors import BadInputError
from netplan.core.sources import sources
from netplan.customers import (
    OffOnTimes,
    RelightOrder,
    address_groups,
    day_end_after_min,
    meters_of_round,
    natural_key,
    off_on_times,
    priority_codes,
    priority_rank,
    relight_order,
    relight_rounds,
)


def _queue(
    numbers: list[str], priority: list[str] | None = None, meters: list[int] | None = None
) -> RelightOrder:
    n = len(numbers)
    return relight_order(
        [f"C{k}" for k in range(n)],
        [f"{number} Mill Close" for number in numbers],
        ["Mill Close"] * n,
        numbers,
        [""] * n,
        priority or [""] * n,
        meters or [1] * n,
        [6.0] * n,
    )


def test_two_comes_before_ten_and_ten_before_ten_a() -> None:
    assert sorted(["10a", "2", "10", "1-3", "10 B", "01"], key=natural_key) == [
        "01",
        "1-3",
        "2",
        "10",
        "10a",
        "10 B",
    ]
    assert _queue(["10", "2", "10a", "1"]).order.tolist() == [3, 1, 0, 2]


def test_hospital_before_care_home_before_an_unknown_code_before_nobody() -> None:
    codes = ["", "own code", "care_home", "hospital"]
    assert sorted(codes, key=priority_rank) == ["hospital", "care_home", "own code", ""]
    assert _queue(["1", "2", "3", "4"], priority=codes).order.tolist() == [3, 2, 1, 0]
    assert all(code.source in sources() for code in priority_codes().values())


def test_flats_of_one_house_share_a_visit_with_or_without_columns() -> None:
    addresses = ["Flat 1, 6 Mill Close", "Flat 10, 6 Mill Close", "8 Mill Close", ""]
    blank = [""] * 4
    assert address_groups(addresses, blank, blank, blank) == (0, 0, 1, 2)
    assert address_groups(addresses, ["Mill Close"] * 4, ["6", "6", "8", "9"], blank) == (0, 0, 1, 2)
    assert _queue(["6", "6", "8"]).visit.tolist() == [1, 1, 2]


def test_one_postcode_apart_is_another_house() -> None:
    assert address_groups(["1 High Street"] * 2, [""] * 2, [""] * 2, ["A", "B"]) == (0, 1)


def _times(queue: RelightOrder, start: datetime | None, **more: float) -> OffOnTimes:
    values = {"off_from_min": 50.0, "gas_back_min": 400.0, "relights_per_hour": 12.0, "overrun": 1.25}
    return off_on_times(queue, start=start, **(values | more))


def test_times_are_rounded_to_half_an_hour_of_the_clock() -> None:
    queue = _queue(["1", "2", "3"])
    times = _times(queue, datetime(2026, 5, 12, 8))
    # Off from 08:50. The three services take 7.5 min, then 2.5 min each: 410, 412.5 and 415 min, × 1.25.
    assert times.off_from == "2026-05-12T08:30"
    assert times.on_by == ("2026-05-12T17:00",) * 3
    late = _times(queue, datetime(2026, 5, 12, 8, 10), gas_back_min=444.0)
    # 454 × 1.25 = 567.5 min after 08:10 is 17:38; 459 × 1.25 = 573.75 is 17:44.
    assert late.off_from == "2026-05-12T09:00"
    assert late.on_by == ("2026-05-12T18:00",) * 3
    exact = _times(_queue(["1"]), datetime(2026, 5, 12, 8), gas_back_min=475.0)
    assert exact.on_by == ("2026-05-12T18:00",)


def test_rounding_promises_nothing_beyond_the_end_of_the_day() -> None:
    queue = _queue(["1"])
    times = _times(queue, datetime(2026, 5, 12, 8), gas_back_min=570.0, latest_min=12 * 60.0 + 10)
    # 575 × 1.25 = 718.75 min after 08:00 is 19:59, rounded up to 20:00.
    assert times.on_by == ("2026-05-12T20:00",)
    odd = _times(queue, datetime(2026, 5, 12, 8), gas_back_min=575.0, latest_min=12 * 60.0 + 10)
    assert odd.on_by == ("2026-05-12T20:10",)


def test_rounds_hold_an_hour_and_one_kind_of_customer() -> None:
    assert relight_rounds([1] * 5, [True, False, False, False, False], 2) == [
        range(1),
        range(1, 3),
        range(3, 5),
    ]
    assert relight_rounds([9, 1], [False, False], 4) == [range(1), range(1, 2)]
    assert relight_rounds([], [], 4) == []
    assert meters_of_round(12.0) == 12
    assert meters_of_round(0.5) == 1


def test_services_of_a_round_are_purged_before_its_first_customer_is_relit() -> None:
    queue = _queue([str(k) for k in range(1, 15)])
    relit = 60.0 * queue.relit_h(12.0)
    # Twelve in the first round: 30 min for their services, then 2.5 min each; two in the second.
    assert relit.tolist() == pytest.approx([30.0 + 2.5 * k for k in range(1, 13)] + [67.5, 70.0])


@pytest.mark.parametrize(("start", "more"), [(None, 60.0), (datetime(2026, 5, 12, 8), 0.0)])
def test_the_day_ends_twelve_hours_after_eight(start: datetime | None, more: float) -> None:
    """A window without a start begins at seven."""
    assert day_end_after_min(start, 9.0, "20:00") == 720.0 + more
    assert day_end_after_min(start, 9.0, "20:30") == 750.0 + more
    assert day_end_after_min(start, 13.0 + more / 60.0, "20:00") == 720.0 + more


def test_a_window_over_night_is_relit_on_its_last_day() -> None:
    start = datetime(2026, 5, 12, 20)
    assert day_end_after_min(start, 14.0, "20:00") == 24 * 60.0
    times = _times(_queue(["1"]), start, gas_back_min=14 * 60.0)
    assert times.on_by == ("2026-05-13T14:00",)


def test_without_a_start_no_hour_is_promised() -> None:
    times = _times(_queue(["1", "2"]), None)
    assert times.off_from is None
    assert times.on_by == (None, None)


def test_nobody_off_needs_nothing() -> None:
    assert _times(_queue([]), datetime(2026, 5, 12, 8)).on_by == ()


def test_an_impossible_rate_is_refused() -> None:
    for wrong in ({"relights_per_hour": 0.0}, {"off_from_min": 401.0}, {"overrun": 0.9}):
        with pytest.raises(BadInputError, match="rate above"):
            _times(_queue(["1"]), None, **wrong)
