"""How far a feed holds: until how cold, and how much more it could carry; on the full network solve."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

from netplan.core.arrays import Floats
from netplan.core.constants import MM_PER_M
from netplan.feeds.constraint_margin import ConstraintMargin, last_that_holds
from netplan.feeds.feed_case import Draw, FeedCase, FeedLoads, as_loads
from netplan.feeds.feed_kinds import Feed, FeedSize, sizes_in_order
from netplan.feeds.split_case import FeedChecker
from netplan.rules.rule_set import Rules

__all__ = [
    "COLDEST_LOOKED_AT_C",
    "WARMEST_LOOKED_AT_C",
    "WeatherRow",
    "coldest_air_temp_c",
    "size_ladder",
    "spare_flow_m3_per_s_std",
    "weather_window",
]


WARMEST_LOOKED_AT_C: Final = 25.0
COLDEST_LOOKED_AT_C: Final = -30.0
STEP_C: Final = 0.1


@dataclass(frozen=True, slots=True)
class WeatherRow:
    """One option and the coldest air it holds for.

    Parameters
    ----------
    label : str
        The option in words, such as ``none`` or ``2 × 63 mm``.
    coldest_c : float or None
        Coldest air temperature, as forecast, it was solved at and held [°C]; `COLDEST_LOOKED_AT_C` means
        that or colder; None when it does not hold at `WARMEST_LOOKED_AT_C` either.
    reason : str
        The limit when colder; empty at the end of the range.
    """

    label: str
    coldest_c: float | None
    reason: str


def coldest_air_temp_c(
    margin: Callable[[float], ConstraintMargin],
    warmest_c: float = WARMEST_LOOKED_AT_C,
    coldest_c: float = COLDEST_LOOKED_AT_C,
    near_c: float | None = None,
) -> float | None:
    """Return the coldest air temperature [°C], on a grid of 0.1 °C or `near_c`, at which something holds.

    Colder never needs less, so that what holds at a temperature holds at all warmer ones. The edge is
    bracketed outward from `near_c` and narrowed by the slack, by halves where the slack misleads; both
    sides of the edge have been asked when it is found.

    Parameters
    ----------
    margin : callable
        How things stand at an air temperature [°C].
    warmest_c, coldest_c : float
        Range looked at [°C].
    near_c : float, optional
        Where the edge is expected [°C].

    Returns
    -------
    float or None
        `coldest_c` when it holds there; None when it fails at `warmest_c`.
    """
    steps = round((warmest_c - coldest_c) / STEP_C)

    def at(step: int) -> float:
        return round(warmest_c - step * STEP_C, 6)

    first = 0 if near_c is None else min(max(round((warmest_c - near_c) / STEP_C), 0), steps)
    last = last_that_holds(lambda step: margin(at(step)), steps, near=first)
    if last is None:
        return None
    found = at(last)
    # What is planned for need not lie on the grid: where it holds, it is the coldest that was solved.
    if near_c is not None and max(found - STEP_C, coldest_c) < near_c < found and margin(near_c).holds:
        return near_c
    return found


def size_ladder(
    feed: Feed | None, rules: Rules, others: Sequence[FeedSize] = ()
) -> list[tuple[str, tuple[FeedSize, ...]]]:
    """Return the options ``none`` and every size of a feed, each with the `others`, from the smallest."""
    options: list[tuple[str, tuple[FeedSize, ...]]] = [("none", tuple(others))]
    if feed is not None:
        options += [(_words(size), (*others, size)) for size in sizes_in_order(feed, rules)]
    return options


def _words(size: FeedSize) -> str:
    if size.feed.valve_link >= 0:
        return f"valve {size.feed.label}"
    bore = f"{size.bore_m * MM_PER_M:g} mm"
    return bore if size.parallel == 1 else f"{size.parallel} × {bore}"


def weather_window(
    case: FeedCase,
    demand_at: Callable[[float], Floats | FeedLoads],
    options: Sequence[tuple[str, Sequence[FeedSize]]],
    rules: Rules,
    warmest_c: float = WARMEST_LOOKED_AT_C,
    coldest_c: float = COLDEST_LOOKED_AT_C,
    near_c: float | None = None,
    like: FeedChecker | None = None,
) -> tuple[WeatherRow, ...]:
    """Return the coldest air temperature each option holds at.

    Parameters
    ----------
    case : FeedCase
        Network with the stops in and the inlets that must hold; its own demand is not used.
    demand_at : callable
        Node demand, or all loads that must be carried, with all margins [m³/s at 15 °C, 101.325 kPa] at an
        air temperature [°C]; must not fall when it gets colder.
    options : sequence of (label, feeds)
        See `size_ladder`.
    rules : Rules
    warmest_c, coldest_c : float
        Range looked at [°C].
    near_c : float, optional
        Where the first option's edge is expected [°C]; each further one is looked for near the one before.
    like : FeedChecker, optional
        One of the same case: what it has found is not solved again.
    """
    known: dict[float, FeedLoads] = {}

    def loads(air_temp_c: float) -> FeedLoads:
        if air_temp_c not in known:
            known[air_temp_c] = as_loads(demand_at(air_temp_c))
        return known[air_temp_c]

    judge = FeedChecker(case, rules, like=like)
    rows = []
    for label, sizes in options:
        reasons: dict[float, str] = {}

        def margin(
            air_temp_c: float,
            every_hour: bool,
            sizes: Sequence[FeedSize] = sizes,
            reasons: dict[float, str] = reasons,
        ) -> ConstraintMargin:
            asked = loads(air_temp_c)
            found = judge.margin_under(sizes, asked if every_hour else asked.in_hour(judge.failing_hour))
            reasons[air_temp_c] = found.reason
            return found

        # The hour that mostly fails first finds the edge; then every hour has to hold there.
        coldest = coldest_air_temp_c(partial(margin, every_hour=False), warmest_c, coldest_c, near_c)
        if coldest is not None and not margin(coldest, every_hour=True).holds:
            coldest = coldest_air_temp_c(partial(margin, every_hour=True), warmest_c, coldest_c, coldest)
        near_c = near_c if coldest is None else coldest
        failing = max((t for t, reason in reasons.items() if reason), default=math.nan)
        rows.append(WeatherRow(label, coldest, reasons.get(failing, "")))
    return tuple(rows)


STEPS = 2**14
"""In how fine steps of twice the whole demand it is looked for (own) [-]."""


def spare_flow_m3_per_s_std(case: FeedCase, sizes: Sequence[FeedSize], place: int, rules: Rules) -> float:
    """Return the flow a feed could carry beyond, drawn at its fed end [m³/s at 15 °C, 101.325 kPa].

    The most that can be drawn there in addition while every inlet and every hose still holds under every
    load, on the full solve, to 1/16384 of twice the demand of the whole case. 0 when the case does not hold.

    Parameters
    ----------
    case : FeedCase
    sizes : sequence of FeedSize
        All feeds of the case.
    place : int
        Which of them.
    rules : Rules
    """
    node = sizes[place].feed.to_node

    judge = FeedChecker(case, rules, may_split=False)

    most = max(2.0 * float(case.demand_m3_per_s_std.sum()), 1e-3)

    def margin(step: int) -> ConstraintMargin:
        extra = Draw(node, most * step / STEPS)
        return judge.margin_under(sizes, case.every_load.changed(extra.on))

    return most * (last_that_holds(margin, STEPS) or 0) / STEPS
