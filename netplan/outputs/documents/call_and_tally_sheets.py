"""Sheets for those at the telephone and at the doors: the restricted call sheet and the tally sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from netplan.outputs.contacts.contact_state import NO_CONTACT, Contacts
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.item_words import clock
from netplan.outputs.notice_list import CustomerInDoubt, NoticeRow, lead_days_of, notice_day
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.model import Option, Plan
from netplan.planfile.revision import revision_code

__all__ = ["call_sheet_pdf", "plan_heading", "tally_pdf", "visits_planned", "work_heading"]


def work_heading(plan: Plan, units: Figures = METRIC) -> str:
    """Return the work of a plan in words: mains and chainages."""
    return "Work on " + ", ".join(
        f"{w.main_id} {units.bare('length', w.from_m)}–{units.length(w.to_m)}" for w in plan.work
    )


def plan_heading(plan: Plan, units: Figures = METRIC) -> str:
    """Return the work of a plan in words with its window."""
    start = (plan.conditions.start or "any working day").replace("T", " ")
    return f"{work_heading(plan, units)}; {start}, {plan.conditions.hours:g} h"


def call_sheet_pdf(
    plan: Plan,
    rows: Sequence[NoticeRow],
    notes: Mapping[str, str],
    doubts: Sequence[CustomerInDoubt] = (),
    *,
    telephones: Mapping[str, str] | None = None,
    units: Figures = METRIC,
) -> bytes:
    """Return the call sheet for priority customers: the one paper with their notes and telephone numbers.

    Parameters
    ----------
    plan : Plan
    rows : sequence of NoticeRow
    notes : mapping of str to str
        Priority note by meter point.
    doubts : sequence of CustomerInDoubt
        Customers in doubt; those with a priority are called too, each once.
    telephones : mapping of str to str, optional
        Telephone number by meter point, where one is recorded.
    units : Figures
        How figures are written, and on which paper.
    """
    numbers = telephones or {}
    lead = lead_days_of(plan.rules.get("notice", {}).get("lead_days", {}), "", "priority")
    called = [row for row in rows if row.priority]
    in_doubt = {one.first.id: one for one in doubts if one.first.priority}
    known = {row.customer_id for row in called}
    return typeset(
        "call_sheet.typ",
        {
            "paper": units.paper,
            "revision": revision_code(plan),
            "work": work_heading(plan, units),
            "heading": plan_heading(plan, units),
            "caution": plan.caution,
            "rows": [
                {
                    "effect": f"{row.effect}, in doubt" if row.customer_id in in_doubt else row.effect,
                    "priority": row.priority.replace("_", " "),
                    "address": ", ".join(part for part in (row.address, row.postcode, row.town) if part),
                    "telephone": numbers.get(row.customer_id, ""),
                    "notice-by": row.notice_by,
                    "standby": row.standby,
                    "meters": str(row.meters),
                    "time": _window(row) + _unless(in_doubt.get(row.customer_id), "; off if otherwise: "),
                    "note": notes.get(row.customer_id, ""),
                }
                for row in called
            ]
            + [
                {
                    "effect": "in doubt",
                    "priority": one.first.priority.replace("_", " "),
                    "address": one.first.address,
                    "telephone": numbers.get(one.first.id, ""),
                    "notice-by": notice_day(plan, lead),
                    "standby": "",
                    "meters": str(one.first.meters),
                    "time": "not off by the plan" + _unless(one, "; off if otherwise: "),
                    "note": notes.get(one.first.id, ""),
                }
                for one in in_doubt.values()
                if one.first.id not in known
            ],
        },
    )


def _unless(one: CustomerInDoubt | None, words: str) -> str:
    return "" if one is None else f"{words}{one.records}"


def _window(row: NoticeRow) -> str:
    if row.effect == "kept":
        return f"stays on ({row.kept_by})" + (", off if a stop fails" if row.standby else "")
    if row.effect == "standby":
        return "only if a stop fails"
    return f"{row.off_from} – {row.on_by}".replace("T", " ")


def visits_planned(meters: int, no_access: float) -> dict[str, int]:
    """Return how many visits turning off and on again takes.

    Parameters
    ----------
    meters : int
        Meters that go off.
    no_access : float
        Share of doors where nobody opens [0 to 1], from the rules.

    Returns
    -------
    dict
        ``no_access``: meters likely without access at relighting, rounded up; ``visits``: one visit to turn
        off and one to turn on for each meter, and one more for each without access.
    """
    missed = math.ceil(round(meters * no_access, 9))
    return {"no_access": missed, "visits": 2 * meters + missed}


def tally_pdf(
    plan: Plan,
    rows: Sequence[NoticeRow],
    option: Option | None = None,
    contacts: Contacts | None = None,
    *,
    superseded: str = "",
    units: Figures = METRIC,
) -> bytes:
    """Return the door-by-door sheet of those who go off, as they are relit: their times follow it.

    With contact logs the doors that are open stand first, in a table of their own: not told, or no access.

    Parameters
    ----------
    plan : Plan
    rows : sequence of NoticeRow
    option : Option, optional
        That of the rows: its timeline says how long relighting takes; else the rate of the rules.
    contacts : Contacts, optional
        Contact logs of the plan's folder.
    superseded : str
        By what the plan is superseded, in words; empty where it stands.
    units : Figures
        How figures are written, and on which paper.
    """
    known = contacts if contacts is not None and contacts.logs else None
    off = sorted((r for r in rows if r.effect == "off"), key=lambda row: row.relit)
    one_day = len({time[:10] for row in off for time in (row.off_from, row.on_by) if time}) == 1
    crew: dict[str, Any] = plan.rules.get("crew", {})
    share, rate = float(crew.get("no_access", 0.0)), float(crew.get("relights_per_hour", 0.0))
    meters = sum(row.meters for row in off)
    planned = visits_planned(meters, share)
    hours = _relighting(plan, option) or (f"{meters / rate:.1f} h" if rate > 0 else "–")
    explained = (
        f"No-access rate {share:.0%} by the planning rules. Visits: one to turn each meter off, one to "
        f"turn it on, and one more where nobody opened. Relighting at {rate:g} meters an hour by the "
        f"rules, in the order of "
        + (
            "this sheet: the promised times depend on it."
            if known is None
            else "the numbers below each address, across both tables: the promised times depend on it."
        )
    )
    doors = [_door(row, one_day, known) for row in off]
    still_open = [door for door in doors if door["open"]]
    return typeset(
        "tally.typ",
        {
            "paper": units.paper,
            "revision": revision_code(plan),
            "superseded": superseded,
            "work": work_heading(plan, units),
            "heading": plan_heading(plan, units),
            "caution": plan.caution,
            "meters": str(meters),
            "doors": str(len({row.address_no for row in off})),
            "no-access": str(planned["no_access"]),
            "visits": str(planned["visits"]),
            "relighting": hours,
            "hours": _hours(off, one_day),
            "explained": explained,
            "open-doors": still_open,
            "with-contacts": known is not None,
            "logs": ", ".join(known.logs) if known is not None else "",
            "rows": [door for door in doors if not door["open"]],
        },
    )


def _door(row: NoticeRow, one_day: bool, contacts: Contacts | None) -> dict[str, Any]:
    contact = NO_CONTACT if contacts is None else contacts.of(row.customer_id)
    return {
        "no": str(row.address_no),
        "address": row.address,
        "point": row.customer_id,
        "meters": str(row.meters),
        "since": _time(row.off_from, one_day),
        "by": _time(row.on_by, one_day),
        "priority": bool(row.priority),
        "relit": str(row.relit),
        "open": contacts is not None and contact.is_open,
        "told": "" if contacts is None else contact.words,
    }


def _time(moment: str, one_day: bool) -> str:
    """Return a time as it is promised; without its day where all are on one day."""
    return moment[-5:] if one_day else moment.replace("T", " ")


def _relighting(plan: Plan, option: Option | None) -> str:
    """Return from when to when meters are relit by the timeline; empty without one."""
    if option is None or option.timeline is None:
        return ""
    steps = {step.n for step in option.steps if any(change.to == "relit" for change in step.changes)}
    bars = [bar for bar in option.timeline.bars if bar.n in steps]
    if not bars:
        return ""
    start = clock(plan.conditions, min(bar.start_min for bar in bars))
    end = clock(plan.conditions, max(bar.end_min for bar in bars))
    return f"{start} to {end}"


def _hours(off: Sequence[NoticeRow], one_day: bool) -> str:
    """Return from when the first is off and until when the last, as promised to them."""
    since = [row.off_from for row in off if row.off_from]
    until = [row.on_by for row in off if row.on_by]
    if not since or not until:
        return "–"
    return f"{_time(min(since), one_day)}; {_time(max(until), one_day)}"
