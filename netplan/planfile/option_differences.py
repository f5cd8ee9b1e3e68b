"""What one option does otherwise than another, in words: stops, feeds, meters off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from netplan.planfile.model import Option

__all__ = [
    "CHEAPEST",
    "FeedOutline",
    "OptionOutline",
    "StopOutline",
    "differences_in_words",
    "options_in_words",
    "outline_of",
]

DONE: Final = {"bag": "bagged", "squeeze": "squeezed", "valve": "shut by its valve"}
SAME_M: Final = 0.5
"""Stops of two options on one main within this are at one place (own) [m]."""
MOST_NAMED: Final = 4
"""Differences that are named; the others are counted (own) [-]."""
CHEAPEST: Final = "cheapest"


class LengthWords(Protocol):
    """Writes lengths for people, in metric or US units."""

    def chainage(self, m: float | None) -> str:
        """Return a place along a main, given in [m]."""

    def bore(self, mm: float | None) -> str:
        """Return the size of a hose, given in [mm]."""


@dataclass(frozen=True, slots=True)
class StopOutline:
    """A stop: id, bag, squeeze or valve, method, main, chainage [m], valve id or "", place [m, plane]."""

    id: str
    kind: str
    method: str
    main_id: str
    chainage_m: float
    valve_id: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class FeedOutline:
    """A bypass or hose: what it is, its bore [mm], and how many lie side by side."""

    kind: str
    bore_mm: float
    parallel: int


@dataclass(frozen=True, slots=True)
class OptionOutline:
    """What two options are compared by.

    Parameters
    ----------
    stops : tuple of StopOutline
    feeds : tuple of FeedOutline
        Bypasses and hoses.
    opened_valves : tuple of str
        Ids.
    customers_off : frozenset of str
        Ids.
    meters_off : int
    """

    stops: tuple[StopOutline, ...]
    feeds: tuple[FeedOutline, ...]
    opened_valves: tuple[str, ...]
    customers_off: frozenset[str]
    meters_off: int


def outline_of(option: Option) -> OptionOutline:
    """Return what an option of a plan is compared by.

    Parameters
    ----------
    option : Option
    """
    off = [one for one in option.customers if one.effect == "off"]
    return OptionOutline(
        stops=tuple(
            StopOutline(
                *(one.id, one.kind, one.method, one.main_id, one.chainage_m, one.valve_id or "", one.x, one.y)
            )
            for one in option.stops
        ),
        feeds=tuple(FeedOutline(one.kind, one.bore_mm, one.parallel) for one in option.bypasses),
        opened_valves=tuple(one.valve_id for one in option.opened_valves),
        customers_off=frozenset(one.id for one in off),
        meters_off=sum(one.meters for one in off),
    )


def options_in_words(options: Sequence[Option], units: LengthWords) -> tuple[str, ...]:
    """Return one line for each option: the first is the cheapest, each other by how it differs from it.

    Parameters
    ----------
    options : sequence of Option
        Cheapest first.
    units : LengthWords
        How lengths are written, as `Figures` of the outputs does.
    """
    if not options:
        return ()
    first, *others = (outline_of(option) for option in options)
    return CHEAPEST, *(differences_in_words(one, first, units) for one in others)


def differences_in_words(one: OptionOutline, other: OptionOutline, units: LengthWords) -> str:
    """Return what one option does otherwise than another, as "S2 squeezed, not bagged; +3 meters off".

    Parameters
    ----------
    one, other : OptionOutline
        Stops are named as in `one`.
    units : LengthWords
    """
    words = [*_stops(one.stops, other.stops, units), *_feeds(one, other, units)]
    more = len(words) - MOST_NAMED
    if more > 0:
        words = [*words[:MOST_NAMED], f"and {more} more"]
    meters = one.meters_off - other.meters_off
    if meters:
        words.append(f"{meters:+d} {'meter' if abs(meters) == 1 else 'meters'} off".replace("-", "−"))
    elif one.customers_off != other.customers_off:
        words.append("other customers off")
    return "; ".join(words) or "same stops, feeds and customers off"


def _stops(one: Sequence[StopOutline], other: Sequence[StopOutline], units: LengthWords) -> Iterator[str]:
    """Yield the differences of stops, each held against the nearest of the other option."""
    nearest = sorted((_apart_m(a, b), i, k) for i, a in enumerate(one) for k, b in enumerate(other))
    paired: dict[int, int] = {}
    for _, i, k in nearest:
        if i not in paired and k not in paired.values():
            paired[i] = k
    for i, k in sorted(paired.items()):
        yield from _instead(one[i], other[k], units)
    yield from (f"{_place(a)} more" for i, a in enumerate(one) if i not in paired)
    yield from (f"no {_bare_place(b)}" for k, b in enumerate(other) if k not in paired.values())


def _apart_m(a: StopOutline, b: StopOutline) -> float:
    """Return how far apart two stops are [m, plane]; those on one main count as nearer."""
    away = math.hypot(a.x - b.x, a.y - b.y)
    return away if a.main_id == b.main_id else away + 1e-3 + SAME_M


def _instead(a: StopOutline, b: StopOutline, units: LengthWords) -> Iterator[str]:
    if a.valve_id or b.valve_id:
        if a.valve_id != b.valve_id:
            yield f"{a.id} {_at(a)}, not {_at(b)}"
        return
    if a.kind != b.kind:
        how = f"{DONE[a.kind]}, not {DONE[b.kind]}"
    elif a.method != b.method:
        how = f"by {a.method}, not {b.method}"
    else:
        how = ""
    if a.main_id != b.main_id:
        where = f"on {a.main_id}, not {b.main_id}"
    elif abs(a.chainage_m - b.chainage_m) > SAME_M:
        where = f"at {a.main_id} {units.chainage(a.chainage_m)}, not {units.chainage(b.chainage_m)}"
    else:
        where = ""
    if how or where:
        yield f"{a.id} {', '.join(part for part in (how, where) if part)}"


def _at(stop: StopOutline) -> str:
    return f"at valve {stop.valve_id}" if stop.valve_id else f"{DONE[stop.kind]} on {stop.main_id}"


def _bare_place(stop: StopOutline) -> str:
    return f"stop at valve {stop.valve_id}" if stop.valve_id else f"stop on {stop.main_id}"


def _place(stop: StopOutline) -> str:
    return f"a {_bare_place(stop)}"


def _feeds(one: OptionOutline, other: OptionOutline, units: LengthWords) -> Iterator[str]:
    for kind in ("bypass", "hose"):
        new, old = (
            sorted((row.bore_mm, row.parallel) for row in option.feeds if row.kind == kind)
            for option in (one, other)
        )
        for size in list(new):
            if size in old:
                new.remove(size)
                old.remove(size)
        for a, b in zip(new, old, strict=False):
            yield f"{kind} of {_size(*a, units)}, not {_size(*b, units)}"
        yield from (f"a {kind} of {_size(*a, units)} more" for a in new[len(old) :])
        yield from (f"no {kind} of {_size(*b, units)}" for b in old[len(new) :])
    yield from (f"valve {name} opened" for name in sorted({*one.opened_valves} - {*other.opened_valves}))
    yield from (f"valve {name} stays shut" for name in sorted({*other.opened_valves} - {*one.opened_valves}))


def _size(bore_mm: float, parallel: int, units: LengthWords) -> str:
    return f"{parallel} × {units.bore(bore_mm)}" if parallel > 1 else units.bore(bore_mm)
