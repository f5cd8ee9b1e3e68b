"""Contact logs against the notice list, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from netplan.outputs.contacts.contact_review import ContactReview, LeadTime
from netplan.outputs.contacts.contact_state import Contact
from netplan.outputs.contacts.record_contacts import RecordedContacts
from netplan.outputs.notice_list import NoticeRow

__all__ = ["contact_lines"]

_MOST_LINES: Final = 40
"""Lines of one kind that anybody reads on a terminal (own)."""


def contact_lines(recorded: RecordedContacts) -> list[str]:
    """Return what a returned list said, and what is open by all lists of the folder.

    Parameters
    ----------
    recorded : RecordedContacts
    """
    review = recorded.review
    return [
        f"Rows of this list: {recorded.told} told, {recorded.no_access} no access, {recorded.blank} empty",
        f"Option {review.option}: {review.told} of {review.points} meter points told",
        *_lead_lines(review),
        *_section("Not told yet", [_row_line(*one) for one in review.open]),
        *_section("No access", [_row_line(*one) for one in review.no_access]),
        *_section("Entries that differ", review.differing),
    ]


def _lead_lines(review: ContactReview) -> Iterator[str]:
    if not review.lead_times:
        yield "Lead times: not checked, the plan has no day of work"
        return
    yield "Lead times of the rules:"
    yield from (f"  {_lead_line(one)}" for one in review.lead_times)


def _lead_line(one: LeadTime) -> str:
    days = f"{one.days} day{'s' * (one.days != 1)} for {one.kind}"
    if not one.missed:
        return f"{days}: all {one.points} told by {one.notice_by}"
    return (
        f"{days}: {one.missed} of {one.points} not told by {one.notice_by}"
        f" ({one.late} later, {one.open} not at all)"
    )


def _row_line(row: NoticeRow, contact: Contact) -> str:
    kept = f"{row.effect}, standby" if row.standby and row.effect != "standby" else row.effect
    priority = f", {row.priority.replace('_', ' ')}" if row.priority else ""
    by = f", notice by {row.notice_by}" if row.notice_by else ""
    note = f": {contact.note}" if contact.note.casefold() not in ("", "yes", "x") else ""
    return f"{row.address} ({row.customer_id}): {kept}{priority}{by}; {contact.words}{note}"


def _section(title: str, rows: Sequence[str]) -> Iterator[str]:
    if not rows:
        yield f"{title}: none"
        return
    yield f"{title}: {len(rows)}"
    yield from (f"  {row}" for row in rows[:_MOST_LINES])
    if len(rows) > _MOST_LINES:
        yield f"  and {len(rows) - _MOST_LINES} more: filter the notice list"
