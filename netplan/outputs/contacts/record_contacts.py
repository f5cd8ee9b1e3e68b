"""Recording a returned notice list beside its plan as a new file, and setting all such against the plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from netplan.outputs.atomic_writes import write_numbered_file
from netplan.outputs.contacts.contact_review import ContactReview, review_contacts
from netplan.outputs.contacts.contact_state import Contacts, add_up
from netplan.outputs.contacts.returned_list import ListContext, returned_entries
from netplan.outputs.contacts.spreadsheet_rows import Sheet
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.notice_list import notice_rows
from netplan.planfile import read_state
from netplan.planfile.contact_log import CONTACTS_STEM, ContactLog, contact_logs_of, contacts_to_json
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import option_of_rank, plan_digest, read_plan
from netplan.planfile.revision import revision_code

__all__ = ["RecordedContacts", "contacts_of_folder", "record_contacts"]


@dataclass(frozen=True, slots=True)
class RecordedContacts:
    """A returned list as it was recorded.

    Parameters
    ----------
    path : Path
        The new file in the plan folder.
    entries, told, no_access, blank : int
        Rows kept of this list, and how many of them say told, no access and nothing.
    review : ContactReview
        All lists of the folder against the plan.
    """

    path: Path
    entries: int
    told: int
    no_access: int
    blank: int
    review: ContactReview


def record_contacts(
    folder: Path, sheets: tuple[Sheet, ...], where: str, *, option: int = 1
) -> RecordedContacts:
    """Write a returned list into the folder of its plan as a new file, and set it against the plan.

    Parameters
    ----------
    folder : Path
        The plan folder; no file that is in it is changed.
    sheets : tuple of Sheet
        Of the list as it came back.
    where : str
        Where the list comes from, for messages; its name is kept.
    option : int
        Rank of the option whose notice list it is.

    Raises
    ------
    BadInputError
        When the list is of another plan, a cell in it makes no sense, or the file cannot be written.
    """
    plan = read_plan(folder)
    state = read_state(read_plan_layers(folder), option_of_rank(plan, option).rank)
    rows = notice_rows(plan, state)
    start = plan.conditions.start
    context = ListContext(
        meter_points=frozenset(state.customers.customer_id) | _named(plan),
        revision=revision_code(plan),
        work_day=None if start is None else date.fromisoformat(start[:10]),
        where=where,
    )
    entries = returned_entries(sheets, context)
    digest = plan_digest(plan)
    log = ContactLog(
        plan_sha256=digest, revision=context.revision, source=Path(where).name[:500], entries=entries
    )
    earlier = contact_logs_of(folder, digest)
    path = write_numbered_file(folder, CONTACTS_STEM, ".json", contacts_to_json(log))
    return RecordedContacts(
        path=path,
        entries=len(entries),
        told=sum(entry.told for entry in entries),
        no_access=sum(entry.no_access for entry in entries),
        blank=sum(entry.is_blank for entry in entries),
        review=review_contacts(rows, add_up([*earlier, (path.name, log)]), option),
    )


def contacts_of_folder(folder: Path, plan: Plan) -> Contacts:
    """Return what the contact logs of a plan folder say; none where it holds no log.

    Raises
    ------
    BadInputError
        When one of them cannot be read, or is of another plan.
    """
    return add_up(contact_logs_of(folder, plan_digest(plan)))


def _named(plan: Plan) -> frozenset[str]:
    """Return every meter point that the plan names."""
    return frozenset(
        id_
        for option in plan.options
        for ids in (
            (customer.id for customer in option.customers),
            option.standby,
            (row.id for row in option.in_doubt),
        )
        for id_ in ids
    )
