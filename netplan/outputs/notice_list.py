"""Who is told what, by when and by which letter: the notice list, and the customers in doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

from netplan.core.errors import BadInputError, quoted
from netplan.core.language_tags import language_key
from netplan.customers import address_groups, priority_rank, relight_order, walking_key
from netplan.planfile import SolvedState, StateCustomers
from netplan.planfile.model import AffectedCustomer, InDoubt, Option, Plan
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.revision import revision_code

__all__ = [
    "EFFECTS",
    "CustomerInDoubt",
    "NoticeRow",
    "customers_in_doubt",
    "lead_days_of",
    "letter_groups",
    "letter_of",
    "notice_day",
    "notice_rows",
    "record_words",
]


EFFECTS: Final = ("off", "kept", "standby")
"""Effects in the order of the lists. Standby: nothing is planned for them, but they go off if a planned stop
fails and its fallback is used; a kept customer may be on standby too."""


@dataclass(frozen=True, slots=True)
class NoticeRow:
    """One meter point on the notice list.

    `address_no` counts addresses: flats in one building share it, so that letters and doors can be counted.
    `notice_by` is the last day for the notice by the rules' lead time, empty when the plan has no date.
    `standby` is "yes" for everybody on standby, customers kept on by a feed among them; `relit` is the place
    in the order in which those off are relit, from 1, and 0 for the others. `work_date` is the day on which
    the work starts, of every row; `letter` names the letter by the section of its words (`letter_of`), and
    `letter_no` its number in letters.pdf, from 1: its page, where each letter takes one. `off_from` and
    `on_by` are ISO 8601 local times. `plan` is the revision code of the plan, by which a list that comes back
    filled in is known.
    """

    effect: str
    address_no: int
    address: str
    street: str
    number: str
    postcode: str
    customer_id: str
    category: str
    priority: str
    meters: int
    cause: str
    kept_by: str
    off_from: str
    on_by: str
    lead_days: int
    notice_by: str
    language: str
    standby: str = ""
    relit: int = 0
    town: str = ""
    work_date: str = ""
    letter: str = ""
    letter_no: int = 0
    plan: str = ""


def notice_rows(plan: Plan, state: SolvedState) -> tuple[NoticeRow, ...]:
    """Return the notice list of an option: by effect; those off as they are relit, the others as one walks.

    Parameters
    ----------
    plan : Plan
    state : SolvedState
        That of the option: streets, numbers and languages of its customers.

    Raises
    ------
    BadInputError
        When there is no such option, or the state lacks a customer of the plan.
    """
    option, customers = option_of_rank(plan, state.option), state.customers
    place = {id_: row for row, id_ in enumerate(customers.customer_id)}
    affected = {customer.id: customer for customer in option.customers}
    standby = set(option.standby)
    wanted = [*affected, *sorted(standby - affected.keys())]
    missing = [id_ for id_ in wanted if id_ not in place]
    if missing:
        raise BadInputError(
            f"plan.gpkg: customer {quoted(missing[0])} of the plan is missing; make the plan again"
        )
    rows = [_row(plan, customers, place[id_], affected.get(id_)) for id_ in wanted]
    code = revision_code(plan)
    rows = [replace(row, standby="yes" if row.customer_id in standby else "", plan=code) for row in rows]
    return _with_letters(_numbered(sorted(_relit(plan, rows), key=_order)))


def _relit(plan: Plan, rows: list[NoticeRow]) -> list[NoticeRow]:
    """Give those off their place in the order of relighting where a plan of an older version does not."""
    off = [row for row in rows if row.effect == "off"]
    if all(row.relit for row in off):
        return rows
    price = plan.rules.get("price", {}).get("off_per_hour", {})
    queue = relight_order(
        [row.customer_id for row in off],
        [row.address for row in off],
        [row.street for row in off],
        [row.number for row in off],
        [row.postcode for row in off],
        [row.priority for row in off],
        [row.meters for row in off],
        [float(price.get(row.category, 0.0)) for row in off],
    )
    place = {off[at].customer_id: number for number, at in enumerate(queue.order.tolist(), 1)}
    return [replace(row, relit=place.get(row.customer_id, 0)) for row in rows]


def _row(plan: Plan, records: StateCustomers, row: int, customer: AffectedCustomer | None) -> NoticeRow:
    category, priority = records.category[row], records.priority[row]
    lead = lead_days_of(plan.rules.get("notice", {}).get("lead_days", {}), category, priority)
    return NoticeRow(
        effect="standby" if customer is None else customer.effect,
        address_no=0,
        address=records.address[row],
        street=records.street[row],
        number=records.number[row],
        postcode=records.postcode[row],
        customer_id=records.customer_id[row],
        category=category,
        priority=priority,
        meters=int(records.meters[row]),
        cause="" if customer is None else customer.cause,
        kept_by="" if customer is None else customer.kept_by or "",
        off_from="" if customer is None else customer.off_from or "",
        on_by="" if customer is None else customer.on_by or "",
        lead_days=lead,
        notice_by=notice_day(plan, lead),
        language=records.language[row],
        relit=0 if customer is None else customer.relit or 0,
        town=records.town[row],
        work_date=(plan.conditions.start or "")[:10],
    )


def lead_days_of(days: Mapping[str, int], category: str, priority: str) -> int:
    """Return how many days ahead a customer is told, by the rules' lead times [d]."""
    lead = int(days.get(category, 0))
    return max(lead, int(days.get("priority", 0))) if priority else lead


def notice_day(plan: Plan, lead_days: int) -> str:
    """Return the last day for a notice that is due so many days ahead [d]; empty without a date of work."""
    if plan.conditions.start is None:
        return ""
    start = datetime.fromisoformat(plan.conditions.start)
    return (start - timedelta(days=lead_days)).date().isoformat()


def _order(row: NoticeRow) -> tuple[Any, ...]:
    walked = walking_key(row.street, row.number, row.address, row.customer_id)
    return EFFECTS.index(row.effect), row.relit, priority_rank(row.priority), walked


def _numbered(rows: list[NoticeRow]) -> tuple[NoticeRow, ...]:
    houses = address_groups(
        [row.address for row in rows],
        [row.street for row in rows],
        [row.number for row in rows],
        # Streets of one name lie in many towns: where no postcode parts them, the town does.
        [row.postcode or row.town for row in rows],
    )
    return tuple(replace(row, address_no=house + 1) for row, house in zip(rows, houses, strict=True))


def letter_of(row: NoticeRow) -> str:
    """Return which letter a customer gets: ``off``, ``kept``, ``kept_standby`` or ``standby``.

    One who is kept on, but goes off if a planned stop fails, is told so in a letter of its own.
    """
    return "kept_standby" if row.effect == "kept" and row.standby else row.effect


def letter_groups(rows: Sequence[NoticeRow]) -> list[list[NoticeRow]]:
    """Return the rows of each letter: one for an address, kind of letter and language, in their order."""
    groups: dict[tuple[int, str, str], list[NoticeRow]] = {}
    for row in rows:
        groups.setdefault((row.address_no, letter_of(row), language_key(row.language)), []).append(row)
    return list(groups.values())


def _with_letters(rows: Sequence[NoticeRow]) -> tuple[NoticeRow, ...]:
    pages = {row.customer_id: page for page, group in enumerate(letter_groups(rows), 1) for row in group}
    return tuple(replace(row, letter=letter_of(row), letter_no=pages[row.customer_id]) for row in rows)


_SINGULAR: Final = {"mains": "main", "services": "service", "valves": "valve", "customers": "customer record"}


@dataclass(frozen=True, slots=True)
class CustomerInDoubt:
    """A customer and the doubtful records that its gas hangs on, by layer and id."""

    first: InDoubt
    rows: tuple[InDoubt, ...]

    @property
    def records(self) -> str:
        """The records in words, parted by commas."""
        return ", ".join(record_words(row) for row in self.rows)


def record_words(row: InDoubt) -> str:
    """Return the doubtful record of a row in words, such as ``valve V-9``."""
    return f"{_SINGULAR.get(row.layer, row.layer)} {row.record_id}"


def customers_in_doubt(option: Option) -> tuple[CustomerInDoubt, ...]:
    """Return the customers in doubt, those with a priority first, then by id."""
    rows: dict[str, list[InDoubt]] = {}
    for row in option.in_doubt:
        rows.setdefault(row.id, []).append(row)
    found = [CustomerInDoubt(own[0], tuple(own)) for own in rows.values()]
    return tuple(sorted(found, key=lambda one: (not one.first.priority, one.first.id)))
