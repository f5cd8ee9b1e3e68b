"""The notice list of a plan by meter point, with those in doubt and where everybody lives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from netplan.outputs.notice_list import NoticeRow, notice_rows
from netplan.planfile import SolvedState
from netplan.planfile.model import InDoubt, Plan
from netplan.planfile.plan_json import option_of_rank

__all__ = ["NoticePlace", "PlanNotices", "plan_notices"]


@dataclass(frozen=True, slots=True)
class NoticePlace:
    """Where a meter point is, and who is there, as the network records it."""

    customer_id: str
    address: str
    street: str
    number: str
    postcode: str
    town: str
    language: str
    category: str
    priority: str
    meters: int

    @property
    def written(self) -> tuple[str, ...]:
        """What is written on a letter: another one of these goes to another door."""
        return tuple(" ".join(text.split()).casefold() for text in (self.address, self.postcode, self.town))


@dataclass(frozen=True, slots=True)
class PlanNotices:
    """The notice list of an option of a plan.

    Parameters
    ----------
    plan : Plan
    option : int
        Rank of the option.
    rows : dict of str to NoticeRow
        By meter point, in the order of the list.
    in_doubt : dict of str to tuple of InDoubt
        By meter point, the doubtful records.
    places : dict of str to NoticePlace
        Of everybody listed or in doubt.
    recorded : frozenset of str
        Meter points that the plan folder's network has, affected or not.
    """

    plan: Plan
    option: int
    rows: Mapping[str, NoticeRow]
    in_doubt: Mapping[str, tuple[InDoubt, ...]]
    places: Mapping[str, NoticePlace]
    recorded: frozenset[str]

    @property
    def day(self) -> str:
        """Day on which the work starts, ISO 8601; empty without one."""
        return (self.plan.conditions.start or "")[:10]

    @property
    def days(self) -> tuple[str, str]:
        """First and last day of the window, ISO 8601; empty without a start."""
        start = self.plan.conditions.start
        if start is None:
            return "", ""
        begin = datetime.fromisoformat(start)
        return self.day, (begin + timedelta(hours=self.plan.conditions.hours)).date().isoformat()


def plan_notices(plan: Plan, state: SolvedState) -> PlanNotices:
    """Return the notice list of the option that a state is of.

    Parameters
    ----------
    plan : Plan
    state : SolvedState

    Raises
    ------
    BadInputError
        When there is no such option, or the state lacks a customer of the plan.
    """
    rows = {row.customer_id: row for row in notice_rows(plan, state)}
    doubts: dict[str, list[InDoubt]] = {}
    for one in option_of_rank(plan, state.option).in_doubt:
        doubts.setdefault(one.id, []).append(one)
    customers = state.customers
    wanted = rows.keys() | doubts.keys()
    recorded = {id_: row for row, id_ in enumerate(customers.customer_id) if id_ in wanted}
    places = {id_: _of_doubt(own[0]) for id_, own in doubts.items() if id_ not in recorded}
    for id_, row in recorded.items():
        places[id_] = NoticePlace(
            customer_id=id_,
            address=customers.address[row],
            street=customers.street[row],
            number=customers.number[row],
            postcode=customers.postcode[row],
            town=customers.town[row],
            language=customers.language[row],
            category=customers.category[row],
            priority=customers.priority[row],
            meters=int(customers.meters[row]),
        )
    in_doubt = {id_: tuple(own) for id_, own in doubts.items()}
    return PlanNotices(plan, state.option, rows, in_doubt, places, frozenset(customers.customer_id))


def _of_doubt(one: InDoubt) -> NoticePlace:
    return NoticePlace(one.id, one.address, "", "", "", "", "", "", one.priority, one.meters)
