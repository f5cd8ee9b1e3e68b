"""Items of the order in words, the states they are in at a step, and times of the timeline by the clock."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Final

from netplan.outputs.number_format import Figures
from netplan.planfile.model import Change, Conditions, Need, Option, OrderItem, PressureTest, Step

__all__ = [
    "change_words",
    "clock",
    "item_words",
    "joined_ids",
    "manned_words",
    "need_words",
    "pressure_of_test",
    "states_after",
]

_NUMBERED: Final = re.compile(r"([A-Za-z]*)(\d+)(-[a-z-]+)?")
_NAMED_METERS: Final = 4
"""More meters than these stand on the tally sheet, and are counted here (own)."""
_NOUNS: Final = {
    "place": "",
    "tapping": "",
    "barrier": "",
    "vent": "vent",
    "valve": "valve",
    "feed": "",
    "meter": "meter",
    "part": "part",
}
_ANY_DAY: Final = "2001-01-01T08:00"
"""Minute 0 of a plan without a start lies at 08:00."""
_BARRIERS: Final = {"outer": "outer barrier", "inner": "inner barrier", "single": "single barrier"}
_TAPPINGS: Final = {
    "zone_vent": "zone vent",
    "barrier": "barrier",
    "vent": "vent between",
    "gauge": "gauge",
    "bypass": "bypass tee",
    "purge_in": "purge in",
    "purge": "purge point",
}
_VENTS: Final = {
    "zone": "zone vent",
    "between": "vent between the barriers",
    "purge": "purge point's vent",
    "feed": "stack of the feed",
    "part": "vent of the part",
}
_VALVES: Final = {
    "stop": "valve of the stop",
    "boundary": "boundary valve",
    "station inlet": "inlet valve of the station",
    "feed end from": "end valve, giving end",
    "feed end to": "end valve, fed end",
    "gas inlet": "gas inlet",
    "air inlet": "air inlet",
    "test hose": "hose of the let-by test",
}


def item_words(item: OrderItem) -> str:
    """Return what an item is, such as "outer barrier of S2"."""
    names = {"barrier": _BARRIERS, "tapping": _TAPPINGS, "vent": _VENTS, "valve": _VALVES}
    what = names.get(item.kind, {}).get(item.role, item.role.replace("_", " ") or item.kind)
    return f"{what} of {item.of}" if item.of and item.of != item.id else what


def joined_ids(ids: Iterable[str]) -> str:
    """Return ids parted by commas, three or more that follow each other as a range: "T1–T4, T7"."""
    found: list[str] = []
    ordered = list(dict.fromkeys(ids))
    for _, group in groupby(enumerate(ordered), key=_run_of):
        run = [id_ for _, id_ in group]
        found += [f"{run[0]}–{run[-1]}"] if len(run) > 2 else run
    return ", ".join(found)


def _run_of(one: tuple[int, str]) -> tuple[str, str, int | str]:
    place, id_ = one
    match = _NUMBERED.fullmatch(id_)
    if match is None:
        return "", "", id_
    return match[1], match[3] or "", int(match[2]) - place


def manned_words(ids: Sequence[str]) -> str:
    """Return where people stand: "S1, S2 (both barriers), B1 (both ends), S4-single"."""
    rest, words = list(dict.fromkeys(ids)), []
    for both, first, second in (("both barriers", "-outer", "-inner"), ("both ends", "-from", "-to")):
        owners = sorted(
            {id_.removesuffix(first) for id_ in rest if id_.endswith(first)}
            & {id_.removesuffix(second) for id_ in rest if id_.endswith(second)}
        )
        if owners:
            words.append(f"{joined_ids(owners)} ({both})")
        rest = [
            id_ for id_ in rest if id_ not in {f"{one}{end}" for one in owners for end in (first, second)}
        ]
    return ", ".join([*words, *([joined_ids(rest)] if rest else [])])


def need_words(needs: Sequence[Need]) -> str:
    """Return what must be so before a step: "T1–T4 drilled; vent S2-vent shut"."""
    return _grouped((need.kind, need.id, need.state) for need in needs)


def change_words(changes: Sequence[Change]) -> str:
    """Return what a step changes: "T1–T4 planned → tested"; a part that the cut makes has no state before."""
    return _grouped(
        (one.kind, one.id, f"→ {one.to}" if _is_new_part(one) else f"{one.from_} → {one.to}")
        for one in changes
    )


def _is_new_part(change: Change) -> bool:
    """Return whether the cut makes a part: until then its zone alone has a state."""
    return change.kind == "part" and "." in change.id and (change.from_, change.to) == ("live", "air")


def pressure_of_test(test: PressureTest, units: Figures) -> str:
    """Return the pressure of a test on its safe side: one that live gas bounds is rounded down."""
    is_bounded = bool(test.against) or test.medium.startswith("gas")
    return units.held(test.test_mbar) if is_bounded else units.against(test.test_mbar)


def _grouped(rows: Iterable[tuple[str, str, str]]) -> str:
    groups: dict[tuple[str, str], list[str]] = {}
    for kind, id_, state in rows:
        groups.setdefault((kind, state), []).append(id_)
    return "; ".join(f"{_named(kind, ids)} {state}" for (kind, state), ids in groups.items())


def _named(kind: str, ids: Sequence[str]) -> str:
    if kind == "meter" and len(ids) > _NAMED_METERS:
        return f"{len(ids)} meter points"
    noun = _NOUNS[kind]
    plural = f"{noun}s" if noun and len(ids) > 1 else noun
    return f"{plural} {joined_ids(ids)}".strip()


def states_after(option: Option, steps: Sequence[Step]) -> Mapping[tuple[str, str], str]:
    """Return the state of every item by kind and id after the steps given, the first ones of the order."""
    now: dict[tuple[str, str], str] = {(item.kind, item.id): item.first for item in option.items}
    for step in steps:
        now |= {(change.kind, change.id): change.to for change in step.changes}
    return now


def clock(conditions: Conditions, minutes: float) -> str:
    """Return the time of day at minutes from the start of the window, "+1 d" behind it on the next day."""
    start = datetime.fromisoformat(conditions.start or _ANY_DAY)
    moment = start + timedelta(minutes=round(minutes))
    days = (moment.date() - start.date()).days
    return f"{moment:%H:%M}" + (f" {days:+d} d".replace("-", "−") if days else "")
