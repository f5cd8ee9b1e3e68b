"""Several contact logs of a plan added up: what is known of each meter point."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from netplan.planfile.contact_log import ContactEntry, ContactLog

__all__ = ["NO_CONTACT", "Contact", "ContactStatus", "Contacts", "add_up", "carried_over"]


class ContactStatus(StrEnum):
    """What is known of a meter point."""

    TOLD = "told"
    NO_ACCESS = "no access"
    NOT_TOLD = "not told"
    UNKNOWN = "not in any log"


@dataclass(frozen=True, slots=True)
class Contact:
    """What the logs say of a meter point, and the log that says it.

    `day` is the day they were told, ISO 8601; empty where nobody was.
    """

    status: ContactStatus = ContactStatus.UNKNOWN
    day: str = ""
    told_by: str = ""
    how: str = ""
    note: str = ""
    log: str = ""

    @property
    def is_open(self) -> bool:
        """Whether somebody must still call there."""
        return self.status is not ContactStatus.TOLD

    @property
    def weight(self) -> int:
        """How much is known: the order of what counts where two logs speak of one meter point."""
        return (
            ContactStatus.UNKNOWN,
            ContactStatus.NOT_TOLD,
            ContactStatus.NO_ACCESS,
            ContactStatus.TOLD,
        ).index(self.status)

    @property
    def words(self) -> str:
        """What is known in a few words, such as ``told 2027-02-22 by A. Miller, letter``."""
        if self.status is ContactStatus.TOLD:
            by = f" by {self.told_by}" if self.told_by else ""
            return f"told {self.day}{by}" + (f", {self.how}" if self.how else "")
        if self.status is ContactStatus.NO_ACCESS:
            return "no access" + (f" {self.day}" if self.day else "")
        return self.status.value


NO_CONTACT: Final = Contact()
"""Of a meter point that no log names."""


@dataclass(frozen=True, slots=True)
class Contacts:
    """The contact logs of a plan folder added up.

    Parameters
    ----------
    logs : tuple of str
        Names of the logs; empty where the folder holds none.
    by_point : dict of str to Contact
    differing : tuple of str
        A line for each meter point that entries say different things of.
    """

    logs: tuple[str, ...]
    by_point: dict[str, Contact]
    differing: tuple[str, ...]

    def of(self, meter_point: str) -> Contact:
        """Return what is known of a meter point."""
        return self.by_point.get(meter_point, NO_CONTACT)


def add_up(logs: Sequence[tuple[str, ContactLog]]) -> Contacts:
    """Add up contact logs: whoever was told once is told; of several days the latest counts.

    An empty row takes nothing back, nor does a later visit without access.

    Parameters
    ----------
    logs : sequence of (str, ContactLog)
        Name and log, in the order in which they were recorded.
    """
    entries: dict[str, list[tuple[str, ContactEntry]]] = {}
    for name, log in logs:
        for entry in log.entries:
            entries.setdefault(entry.meter_point, []).append((name, entry))
    return Contacts(
        logs=tuple(name for name, _ in logs),
        by_point={point: _contact(own) for point, own in entries.items()},
        differing=tuple(line for point, own in entries.items() if (line := _differing(point, own))),
    )


def _contact(own: Sequence[tuple[str, ContactEntry]]) -> Contact:
    # max() keeps the first of equals: reversed, the one recorded last.
    name, entry = max(reversed(own), key=lambda one: _weight(one[1]))
    status = ContactStatus.NOT_TOLD
    if entry.told:
        status = ContactStatus.TOLD
    elif entry.no_access:
        status = ContactStatus.NO_ACCESS
    return Contact(status, entry.told_on or "", entry.told_by, entry.how, entry.no_access_note, name)


def _weight(entry: ContactEntry) -> tuple[bool, bool, str]:
    return entry.told, entry.no_access, entry.told_on or ""


def _differing(point: str, own: Sequence[tuple[str, ContactEntry]]) -> str:
    """Return a line where entries that say something differ; empty where they agree."""
    said = {(e.told, e.told_on, e.told_by, e.how): (name, e) for name, e in own if not e.is_blank}
    if len(said) < 2:
        return ""
    words = [f"{_contact([one]).words} ({one[0]}, {one[1].where})" for one in said.values()]
    return f"{point}: {'; '.join(words)}: taken as {_contact(own).words}"


def carried_over(old: Contacts, new: Contacts, still: Iterable[str], changed: Iterable[str]) -> Contacts:
    """Return what is known of a new plan's meter points: by its own logs, else by those of the old plan.

    Parameters
    ----------
    old, new : Contacts
        Logs of the two plans' folders.
    still : iterable of str
        Meter points for which nothing changed: what they were told holds.
    changed : iterable of str
        The others: what they were told holds no longer.
    """
    held = {point: old.of(point) for point in still if point in old.by_point}
    held |= {point: Contact(ContactStatus.NOT_TOLD) for point in changed}
    told = {
        point: contact
        for point, contact in new.by_point.items()
        if contact.weight >= held.get(point, NO_CONTACT).weight
    }
    return Contacts(
        logs=(*(f"{name} of the old plan" for name in old.logs), *new.logs),
        by_point={**held, **told},
        differing=(*old.differing, *new.differing),
    )
