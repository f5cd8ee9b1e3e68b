"""What one option does otherwise than another, in words: stops, feeds, meters off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.model import Option

__all__ = ["differences_in_words", "differences_of_options", "with_differences"]

DONE: Final = {"bag": "bagged", "squeeze": "squeezed", "valve": "shut by its valve"}
SAME_M: Final = 0.5
"""Stops of two options on one main within this are at one place (own) [m]."""
MOST_NAMED: Final = 4
"""Differences that a name holds; the others are counted (own) [-]."""
Row = Mapping[str, Any]


def with_differences(options: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return options, each with ``words``: what it does otherwise than the first."""
    if not options:
        return []
    first = options[0]
    named = [differences_in_words(one, first) for one in options[1:]]
    alone = "cheapest" if len(options) > 1 else "cheapest so far"
    return [{**one, "words": words} for one, words in zip(options, [alone, *named], strict=True)]


def differences_of_options(options: Sequence[Option], units: Figures = METRIC) -> list[str]:
    """Return what each option of a plan does otherwise than its first, which is "cheapest".

    Parameters
    ----------
    options : sequence of Option
        In the order of the plan.
    units : Figures
        How chainages and bores are written.
    """
    rows = [_row_of(option) for option in options]
    return [differences_in_words(row, rows[0], units) if at else "cheapest" for at, row in enumerate(rows)]


def _row_of(option: Option) -> Row:
    off = [one for one in option.customers if one.effect == "off"]
    return {
        "stops": [stop.model_dump() | {"valve_id": stop.valve_id or ""} for stop in option.stops],
        "feeds": [
            *({"kind": b.kind, "bore_mm": b.bore_mm, "parallel": b.parallel} for b in option.bypasses),
            *({"id": valve.valve_id, "kind": "opened valve"} for valve in option.opened_valves),
        ],
        "notices": {"meters_off": {"value": sum(one.meters for one in off)}},
        "off": [(0.0, 0.0, one.id) for one in off],
    }


def differences_in_words(one: Row, other: Row, units: Figures = METRIC) -> str:
    """Return what one option does otherwise than another.

    Parameters
    ----------
    one, other : mapping
        Figures of options, as the planning page shows them; stops are named as in `one`.
    units : Figures
        How chainages and bores are written.
    """
    words = [*_stops(one["stops"], other["stops"], units), *_feeds(one["feeds"], other["feeds"], units)]
    more = len(words) - MOST_NAMED
    if more > 0:
        words = [*words[:MOST_NAMED], f"and {more} more"]
    meters = one["notices"]["meters_off"]["value"] - other["notices"]["meters_off"]["value"]
    if meters:
        words.append(f"{meters:+d} {'meter' if abs(meters) == 1 else 'meters'} off")
    elif {row[2] for row in one["off"]} != {row[2] for row in other["off"]}:
        words.append("other customers off")
    return ", ".join(words) or "same stops, feeds and customers off"


def _stops(one: Sequence[Row], other: Sequence[Row], units: Figures) -> Iterator[str]:
    left, gone = list(one), list(other)
    pairs = sorted(
        ((_apart_m(a, b), i, k) for i, a in enumerate(one) for k, b in enumerate(other)),
    )
    paired: list[tuple[Row, Row]] = []
    for _, i, k in pairs:
        a, b = one[i], other[k]
        if any(a is stop for stop in left) and any(b is stop for stop in gone):
            left = [stop for stop in left if stop is not a]
            gone = [stop for stop in gone if stop is not b]
            paired.append((a, b))
    order = {id(stop): at for at, stop in enumerate(one)}
    for a, b in sorted(paired, key=lambda pair: order[id(pair[0])]):
        yield from _instead(a, b, units)
    for stop in left:
        yield f"{_place(stop)} more"
    for stop in gone:
        yield f"without {_place(stop)}"


def _apart_m(a: Row, b: Row) -> float:
    """Return how far apart two stops are [m, plane]; those on one main count as nearer."""
    away = math.hypot(a["x"] - b["x"], a["y"] - b["y"])
    return away if a["main_id"] == b["main_id"] else away + 1e-3 + SAME_M


def _instead(a: Row, b: Row, units: Figures) -> Iterator[str]:
    if a["valve_id"] or b["valve_id"]:
        if a["valve_id"] != b["valve_id"]:
            yield f"{_place(a)} instead of {_place(b)}"
        return
    moved = a["main_id"] == b["main_id"] and abs(a["chainage_m"] - b["chainage_m"]) > SAME_M
    if a["kind"] != b["kind"]:
        how = f" {DONE[a['kind']]} instead of {DONE[b['kind']]}"
    elif a["method"] != b["method"]:
        how = f" by {a['method']} instead of {b['method']}"
    else:
        how = ""
    if a["main_id"] != b["main_id"]:
        done = f", {DONE[a['kind']]}," if how else ""
        yield f"{_place(a)}{done} instead of {_place(b)}"
    elif moved:
        at = f"{a['main_id']} at {units.length(a['chainage_m'])} instead of {units.length(b['chainage_m'])}"
        yield f"{a['id']}{how}, on {at}" if how else f"{a['id']} on {at}"
    elif how:
        yield f"{a['id']}{how}"


def _place(stop: Row) -> str:
    return f"valve {stop['valve_id']}" if stop["valve_id"] else f"a stop on {stop['main_id']}"


def _feeds(one: Sequence[Row], other: Sequence[Row], units: Figures) -> Iterator[str]:
    opened = [{row["id"] for row in feeds if row["kind"] == "opened valve"} for feeds in (one, other)]
    for kind in ("bypass", "hose"):
        new, old = ([_size(row, units) for row in feeds if row["kind"] == kind] for feeds in (one, other))
        for size in list(new):
            if size in old:
                new.remove(size)
                old.remove(size)
        for a, b in zip(sorted(new), sorted(old), strict=False):
            yield f"{kind} {a} instead of {b}"
        for a in sorted(new)[len(old) :]:
            yield f"a {kind} of {a} more"
        for b in sorted(old)[len(new) :]:
            yield f"without the {kind} of {b}"
    for name in sorted(opened[0] - opened[1]):
        yield f"valve {name} opened"
    for name in sorted(opened[1] - opened[0]):
        yield f"valve {name} stays shut"


def _size(feed: Row, units: Figures) -> str:
    count = f"{feed['parallel']} × " if feed["parallel"] > 1 else ""
    bore = f"{feed['bore_mm']:g} mm" if units.name == "metric" else units.size(feed["bore_mm"])
    return f"{count}{bore}"
