"""Contact logs against the notice list: who is not told, lead times kept or not, doors without access."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from netplan.outputs.contacts.contact_state import Contact, Contacts, ContactStatus
from netplan.outputs.notice_list import NoticeRow

__all__ = ["ContactReview", "LeadTime", "review_contacts"]


@dataclass(frozen=True, slots=True)
class LeadTime:
    """One lead time of the rules against the logs.

    Parameters
    ----------
    kind : str
        Whom it is for: a category, or ``priority``.
    days : int
        Days of notice [d].
    notice_by : str
        Last day for the notice, ISO 8601.
    points : int
        Meter points of this kind on the list.
    late : int
        Of these, told after that day.
    open : int
        Of these, told by no log.
    """

    kind: str
    days: int
    notice_by: str
    points: int
    late: int
    open: int

    @property
    def missed(self) -> int:
        """Not told by the last day."""
        return self.late + self.open


@dataclass(frozen=True, slots=True)
class ContactReview:
    """The logs of a plan folder against the notice list of an option.

    Parameters
    ----------
    option : int
        Rank of the option.
    points, told : int
        Meter points that are told something, and those of them that somebody told.
    lead_times : tuple of LeadTime
        Longest lead first; empty for a plan without a day.
    open : tuple of (NoticeRow, Contact)
        Who is not told yet, as the list goes; those without access among them.
    no_access : tuple of (NoticeRow, Contact)
        Doors where nobody was met.
    differing : tuple of str
        What entries say different things of.
    """

    option: int
    points: int
    told: int
    lead_times: tuple[LeadTime, ...]
    open: tuple[tuple[NoticeRow, Contact], ...]
    no_access: tuple[tuple[NoticeRow, Contact], ...]
    differing: tuple[str, ...]


def review_contacts(rows: Sequence[NoticeRow], contacts: Contacts, option: int) -> ContactReview:
    """Set contact logs against a notice list.

    Parameters
    ----------
    rows : sequence of NoticeRow
        As `notice_rows` returns them.
    contacts : Contacts
    option : int
        Rank of the option that the rows are of.
    """
    both = [(row, contacts.of(row.customer_id)) for row in rows]
    still_open = tuple((row, contact) for row, contact in both if contact.is_open)
    return ContactReview(
        option=option,
        points=len(both),
        told=len(both) - len(still_open),
        lead_times=_lead_times(both),
        open=still_open,
        no_access=tuple(one for one in still_open if one[1].status is ContactStatus.NO_ACCESS),
        differing=contacts.differing,
    )


def _lead_times(both: Sequence[tuple[NoticeRow, Contact]]) -> tuple[LeadTime, ...]:
    kinds: dict[tuple[int, str, str], list[Contact]] = {}
    for row, contact in both:
        if row.notice_by:
            kind = "priority" if row.priority else row.category
            kinds.setdefault((-row.lead_days, kind, row.notice_by), []).append(contact)
    found = []
    for (days, kind, by), own in sorted(kinds.items()):
        told = [contact.day for contact in own if not contact.is_open]
        late = sum(day > by for day in told)
        found.append(LeadTime(kind, -days, by, len(own), late, len(own) - len(told)))
    return tuple(found)
