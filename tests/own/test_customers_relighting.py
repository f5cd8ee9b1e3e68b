"""Relighting: what a notice team would look at."""

from __future__ import annotations

from datetime import datetime

import pytest

from netplan.core.errors import BadInputError
from netplan.core.sources import sources
from netplan.customers import (
    RelightOrder,
    address_groups,
    most_meters,
    natural_key,
    off_on_times,
    priority_codes,
    priority_rank,
    relight_order,
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


def test_times_are_rounded_up_to_five_minutes() -> None:
    queue = _queue(["1", "2", "3"])
    times = off_on_times(
        queue, start=datetime(2026, 5, 12, 8), hours=9.0, relights_per_hour=12.0, day_end="20:00"
    )
    assert times.off_from == "2026-05-12T08:00"
    assert times.on_by == ("2026-05-12T17:05", "2026-05-12T17:10", "2026-05-12T17:15")
    odd = off_on_times(
        queue, start=datetime(2026, 5, 12, 8, 3), hours=1.0, relights_per_hour=7.0, day_end="20:00"
    )
    assert odd.on_by[0] == "2026-05-12T09:15"


def test_a_day_too_short_says_so() -> None:
    queue = _queue([str(k) for k in range(40)])
    times = off_on_times(
        queue, start=datetime(2026, 5, 12, 8), hours=9.0, relights_per_hour=12.0, day_end="20:00"
    )
    assert not times.fits
    assert (
        times.reason == "relighting 40 meters takes 3.4 h; 3.0 h are left from the end of the window to 20:00"
    )


@pytest.mark.parametrize("start", [None, datetime(2026, 5, 12, 7)])
def test_a_day_may_end_at_half_past(start: datetime | None) -> None:
    # From 16:00 to 20:30 a crew of 12 an hour relights 54 meters and no more.
    for meters, fits in ((54, True), (55, False)):
        queue = _queue([str(k) for k in range(meters)])
        times = off_on_times(queue, start=start, hours=9.0, relights_per_hour=12.0, day_end="20:30")
        assert times.fits == fits
    assert most_meters(start, 9.0, 12.0, "20:30") == 54


def test_without_a_start_the_day_begins_at_seven_and_no_hour_is_promised() -> None:
    queue = _queue([str(k) for k in range(48)])
    times = off_on_times(queue, start=None, hours=9.0, relights_per_hour=12.0, day_end="20:00")
    assert times.off_from is None
    assert set(times.on_by) == {None}
    assert times.fits
    assert "taken from a start at 07:00" in times.reason
    longer = off_on_times(queue, start=None, hours=9.5, relights_per_hour=12.0, day_end="20:00")
    assert not longer.fits


def test_a_window_over_night_is_relit_on_its_last_day() -> None:
    times = off_on_times(
        _queue(["1"]), start=datetime(2026, 5, 12, 20), hours=14.0, relights_per_hour=12.0, day_end="20:00"
    )
    assert times.fits
    assert times.on_by == ("2026-05-13T10:05",)


def test_nobody_off_needs_nothing() -> None:
    times = off_on_times(_queue([]), start=None, hours=9.0, relights_per_hour=12.0, day_end="08:00")
    assert times.fits
    assert times.on_by == ()
    assert times.crew_hours == 0.0


def test_an_impossible_rate_is_refused() -> None:
    with pytest.raises(BadInputError, match="rate above 0"):
        off_on_times(_queue(["1"]), start=None, hours=9.0, relights_per_hour=0.0, day_end="20:00")
