"""Call sheets without notes, from plan folders alone: of a difference, and with those told already marked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from netplan.outputs.contacts.contact_state import Contact, Contacts
from netplan.outputs.documents.call_and_tally_sheets import plan_heading, work_heading
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.notice_differences import NoticeDifference, effect_words
from netplan.outputs.notice_list import CustomerInDoubt, NoticeRow
from netplan.outputs.notice_places import NoticePlace
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.model import Plan
from netplan.planfile.revision import revision_code

__all__ = ["call_sheet_of_differences_pdf", "call_sheet_with_contacts_pdf"]

_WITHOUT: Final = (
    "Without priority notes and telephone numbers: a plan folder holds none. "
    "They are only in call_sheet_restricted.pdf, which is made with the plan."
)


def call_sheet_of_differences_pdf(
    plan: Plan, rows: Sequence[NoticeDifference], *, units: Figures = METRIC
) -> bytes:
    """Return the call sheet of a difference: priority customers whom the new plan treats otherwise.

    Parameters
    ----------
    plan : Plan
        The new plan.
    rows : sequence of NoticeDifference
        As `notice_differences` returns them; those with a priority are taken.
    units : Figures
        How figures are written, and on which paper.
    """
    return _sheet(
        plan,
        "Call sheet of the difference",
        "before",
        "No priority customer is affected by the difference.",
        [
            {
                **_who(one.place),
                "before": _state(one.before, one.off_from_before, one.on_by_before, one.day_before)
                + (", in doubt" if one.in_doubt_before else ""),
                "now": _state(one.now, one.off_from, one.on_by, one.day)
                + (", in doubt" if one.in_doubt_now else ""),
                "notice-by": one.notice_by,
                "told": one.earlier_letter and f"earlier: {one.earlier_letter}",
                "is-told": False,
            }
            for one in rows
            if one.place.priority
        ],
        units,
    )


def call_sheet_with_contacts_pdf(
    plan: Plan,
    rows: Sequence[NoticeRow],
    contacts: Contacts,
    doubts: Sequence[CustomerInDoubt] = (),
    *,
    superseded: str = "",
    units: Figures = METRIC,
) -> bytes:
    """Return the call sheet of a plan with those told already marked, those not told first.

    Parameters
    ----------
    plan : Plan
    rows : sequence of NoticeRow
        As `notice_rows` returns them.
    contacts : Contacts
        Contact logs of the plan's folder.
    doubts : sequence of CustomerInDoubt
        Customers in doubt; those with a priority are called too, each once.
    superseded : str
        By what the plan is superseded, in words; empty where it stands.
    units : Figures
        How figures are written, and on which paper.
    """
    called = [(_row(row), contacts.of(row.customer_id)) for row in rows if row.priority]
    known = {row.customer_id for row in rows}
    called += [
        (_doubt(one), contacts.of(one.first.id))
        for one in doubts
        if one.first.priority and one.first.id not in known
    ]
    called.sort(key=lambda one: not one[1].is_open)
    cells = [{**row, **_told(contact)} for row, contact in called]
    none = "No priority customer is affected by this option."
    return _sheet(plan, "Call sheet", "", none, cells, units, superseded)


def _sheet(
    plan: Plan,
    title: str,
    before: str,
    none: str,
    rows: Sequence[dict[str, Any]],
    units: Figures,
    superseded: str = "",
) -> bytes:
    return typeset(
        "call_sheet_contacts.typ",
        {
            "paper": units.paper,
            "revision": revision_code(plan),
            "superseded": superseded,
            "title": title,
            "work": work_heading(plan, units),
            "heading": plan_heading(plan, units),
            "caution": plan.caution,
            "without-notes": _WITHOUT,
            "before-head": before,
            "none": none,
            "rows": list(rows),
        },
    )


def _who(place: NoticePlace) -> dict[str, str]:
    return {
        "point": place.customer_id,
        "priority": place.priority.replace("_", " "),
        "address": ", ".join(part for part in (place.address, place.postcode, place.town) if part),
        "meters": str(place.meters),
    }


def _row(row: NoticeRow) -> dict[str, str]:
    return {
        "point": row.customer_id,
        "priority": row.priority.replace("_", " "),
        "address": ", ".join(part for part in (row.address, row.postcode, row.town) if part),
        "meters": str(row.meters),
        "before": "",
        "now": _state(row.letter, row.off_from, row.on_by, row.work_date),
        "notice-by": row.notice_by,
    }


def _doubt(one: CustomerInDoubt) -> dict[str, str]:
    return {
        "point": one.first.id,
        "priority": one.first.priority.replace("_", " "),
        "address": one.first.address,
        "meters": str(one.first.meters),
        "before": "",
        "now": f"in doubt: {one.records}",
        "notice-by": "",
    }


def _told(contact: Contact) -> dict[str, Any]:
    return {"told": contact.words, "is-told": not contact.is_open}


def _state(letter: str, off_from: str, on_by: str, day: str) -> str:
    """Return what a plan makes of somebody, with its times, or with its day where they are not off."""
    if off_from and on_by:
        return f"{effect_words(letter)}, {off_from} – {on_by}".replace("T", " ")
    return effect_words(letter) + (f", {day}" if day and letter else "")
