"""The cover of the work pack: the work, who is affected, what is to be read first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from netplan.outputs.item_words import clock
from netplan.outputs.notice_list import CustomerInDoubt, customers_in_doubt, record_words
from netplan.outputs.number_format import Figures
from netplan.planfile.first_warnings import first_warnings
from netplan.planfile.model import Option, Plan
from netplan.planfile.station_words import barrier_count

__all__ = ["cover_part", "no_fallback_lines"]

_FAILURES: Final = {"will not set": "will not set", "lost during open work": "is lost during open work"}


def cover_part(plan: Plan, option: Option, units: Figures) -> dict[str, Any]:
    """Return what the cover says."""
    conditions = plan.conditions
    off = [c for c in option.customers if c.effect == "off"]
    kept = [c for c in option.customers if c.effect == "kept"]
    methods = sorted({stop.method for stop in option.stops})
    doubts = customers_in_doubt(option)
    first = first_warnings(option)
    return {
        "cover": [
            ("start", (conditions.start or "any working day").replace("T", " ")),
            ("hours", f"{conditions.hours:g}"),
            *_hours(plan, option),
            (
                "air, ground",
                f"{units.temperature(conditions.air_temp_c)}, {units.temperature(conditions.ground_temp_c)}",
            ),
            ("flows, volumes", f"at {units.reference}; pressures are gauge"),
            ("stops", f"{len(option.stops)}: {', '.join(methods)}"),
            ("barriers", barrier_count(option.stops)),
            ("holes", str(option.holes)),
            ("feeds", str(len(option.bypasses) + len(option.opened_valves))),
        ],
        "people": [
            ("meters off", f"{sum(c.meters for c in off)} at {_points(len(off))}"),
            *_off_times(option),
            ("meters kept", f"{sum(c.meters for c in kept)} at {_points(len(kept))}"),
            ("standby", _points(len(option.standby))),
            ("priority off", str(sum(bool(c.priority) for c in off))),
            ("priority kept", str(sum(bool(c.priority) for c in kept))),
            ("in doubt", _in_doubt_words(doubts)),
        ],
        "warnings-first": [
            *(units.sentence(line) for line in option.warnings if line in first),
            *(units.sentence(line) for line in no_fallback_lines(option)),
        ],
        "warnings": [units.sentence(line) for line in option.warnings if line not in first],
        "priority-in-doubt": [
            f"{one.first.priority.replace('_', ' ')}, {one.first.address or one.first.id}: "
            f"prove {one.records} before the first stop"
            for one in doubts
            if one.first.priority
        ],
        "in-doubt": [
            {
                "priority": one.first.priority.replace("_", " "),
                "address": one.first.address,
                "point": one.first.id,
                "meters": str(one.first.meters),
                "records": [[record_words(row), units.sentence(row.why)] for row in one.rows],
            }
            for one in doubts
        ],
    }


def _hours(plan: Plan, option: Option) -> list[tuple[str, str]]:
    """Return the latest time to cut and when gas is back; nothing in a plan without a timeline."""
    timeline = option.timeline
    if timeline is None:
        return []
    rows = []
    if timeline.latest_cut_min is not None:
        latest = timeline.latest_cut or clock(plan.conditions, timeline.latest_cut_min)
        rows.append(("latest time to cut", f"{latest}: HOLD"))
    rows.append(("gas back, planned", clock(plan.conditions, timeline.gas_back_min)))
    return rows


def _off_times(option: Option) -> list[tuple[str, str]]:
    """Return from when the first is off and until when the last, as promised."""
    since = [one.off_from for one in option.customers if one.effect == "off" and one.off_from]
    until = [one.on_by for one in option.customers if one.effect == "off" and one.on_by]
    if not since or not until:
        return []
    return [("first off from", min(since).replace("T", " ")), ("last on by", max(until).replace("T", " "))]


def no_fallback_lines(option: Option) -> list[str]:
    """Return a line for each stop and failure that no fallback is planned for."""
    found = []
    for stop in option.stops:
        if stop.shuts_in:
            continue  # its own warning says it
        planned = [one for one in option.fallback if one.stop_id == stop.id]
        missing = [one for one in planned if one.minutes is None]
        if not planned:
            found.append(f"{stop.id}: no fallback is planned")
        elif missing:
            failures = " or ".join(dict.fromkeys(_FAILURES[one.failure] for one in missing))
            notes = dict.fromkeys(one.note.removeprefix("no fallback: ") for one in missing if one.note)
            found.append(
                f"{stop.id}: no fallback if it {failures}" + (f": {'; '.join(notes)}" if notes else "")
            )
    return found


def _in_doubt_words(doubts: Sequence[CustomerInDoubt]) -> str:
    if not doubts:
        return "none"
    return f"{sum(one.first.meters for one in doubts)} at {_points(len(doubts))}: a record to prove"


def _points(count: int) -> str:
    return "1 meter point" if count == 1 else f"{count} meter points"
