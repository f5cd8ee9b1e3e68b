"""Notices of a difference: the lists equal set arithmetic on plan.json, and every letter finds its door.

Random pairs of made-up plans here, their files unread; whole pairs of planned towns, every file read, are checked by
``python -m tests.whole_notices 0:180``, of which a seeded share runs by default.
"""

from __future__ import annotations

import json
import random
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.outputs.contacts.contact_state import Contacts, add_up
from netplan.outputs.documents.difference_letters import difference_letters, pages_of
from netplan.outputs.notice_differences import Change, NoticeDifference, notice_differences, still_holding
from netplan.outputs.notice_places import PlanNotices, plan_notices
from netplan.planfile.contact_log import ContactEntry, ContactLog
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import plan_from_json, plan_to_json
from tests.support.plans import hamlet_result
from tests.support.shares import at_least, seen
from tests.whole_notices.expected import Expected, expected_between, told_by
from tests.whole_notices.pairs import run_pair

STARTS = ("2026-05-12T08:00", "2026-05-12T09:30", "2026-05-14T08:00", None)
EFFECTS = ("off", "off", "off", "kept", "kept", "")
HOURS = (("08:00", "08:30"), ("16:00", "17:00"))
CUSTOMERS = 30


@cache
def made_up(seed: int) -> Plan:
    """Return a plan of the hamlet's work, drawn: who is off, kept, on standby or in doubt, and when."""
    draw = random.Random(seed)  # noqa: S311 - no secret
    data = json.loads(plan_to_json(hamlet_result().plan))
    customers = hamlet_result().network.customers
    start = draw.choice(STARTS)
    data["conditions"]["start"] = start
    option = data["options"][0]
    rows: list[dict[str, Any]] = []
    standby: list[str] = []
    doubts: list[dict[str, Any]] = []
    for k in range(CUSTOMERS):
        ident, address, effect = customers.id[k], customers.address[k], draw.choice(EFFECTS)
        off = effect == "off" and start is not None
        times = [f"{start[:10]}T{draw.choice(hours)}" if start and off else None for hours in HOURS]
        if effect:
            rows.append(
                {
                    **option["customers"][0],
                    "id": ident,
                    "address": address,
                    "effect": effect,
                    "priority": customers.priority[k],
                    "kept_by": None if effect == "off" else "B1",
                    "off_from": times[0],
                    "on_by": times[1],
                }
            )
        if draw.random() < 0.3:
            standby.append(ident)
        if effect != "off" and draw.random() < 0.2:
            doubt = {"id": ident, "address": address, "layer": "valves", "record_id": "V-9", "why": "unknown"}
            doubts.append({**doubt, "x": 0.0, "y": 0.0})
    option["customers"], option["in_doubt"] = rows, doubts
    for row in option["fallback"]:
        row["standby"] = standby
    return plan_from_json(json.dumps(data), "drawn plan")


SEEDS = st.integers(0, 10**9)


def _notices(plan: Plan) -> PlanNotices:
    return plan_notices(plan, hamlet_result().states[0])


def _contacts(told: dict[str, int]) -> Contacts:
    entries = tuple(
        ContactEntry(meter_point=ident, told_on="2026-05-01" if how == 1 else None, no_access=how == 2)
        for ident, how in told.items()
    )
    log = ContactLog(plan_sha256="0" * 64, revision="", source="list.xlsx", entries=entries)
    return add_up([("contacts_1.json", log)] if told else [])


def _expected(old: Plan, new: Plan, told: dict[str, int]) -> Expected:
    customers = hamlet_result().states[0].customers
    doors = {
        ident: (customers.address[k], customers.postcode[k], customers.town[k])
        for k, ident in enumerate(customers.customer_id)
    }
    both = [told_by(json.loads(plan_to_json(plan)), 1, doors, {}) for plan in (old, new)]
    return expected_between(both[0], both[1], {ident for ident, how in told.items() if how == 0})


def _drawn(old: Plan, new: Plan, told: dict[str, int]) -> tuple[NoticeDifference, ...]:
    return notice_differences(_notices(old), _notices(new), _contacts(told))


TOLD = st.dictionaries(
    st.integers(0, CUSTOMERS - 1).map(lambda k: hamlet_result().network.customers.id[k]), st.integers(0, 2)
)


@at_least(**{"taken back": 10, "off after all": 10, "times": 2, "untold": 3, "in doubt": 7})
@given(SEEDS, SEEDS, TOLD)
@settings(max_examples=60, deadline=None)
def test_lists_and_letters_equal_set_arithmetic_on_plan_json(
    first: int, second: int, told: dict[str, int]
) -> None:
    old, new = made_up(first), made_up(second)
    rows, wanted = _drawn(old, new, told), _expected(old, new, told)
    assert [len(rows), len({one.customer_id for one in rows})] == [len(wanted.everybody)] * 2
    for change in Change:
        assert {one.customer_id for one in rows if change in one.changes} == wanted.lists[change.value]
    assert {one.customer_id: (one.opening.value, one.body) for one in rows} == wanted.letters
    holding = {row.customer_id for row in still_holding(_notices(old), _notices(new))}
    assert holding == wanted.new.listed - wanted.everybody
    openings = {pair[0] for pair in wanted.letters.values()}
    for kind, held in (
        ("taken back", "taken_back" in openings),
        ("off after all", "now_off" in openings),
        ("times", "new_times" in openings),
        ("untold", any(one.before and not one.may_lie_there for one in rows)),
        ("in doubt", bool(wanted.lists["now in doubt"])),
    ):
        if held:
            seen(kind)


@given(SEEDS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_everybody_to_be_written_to_has_one_letter(first: int, second: int) -> None:
    old, new = made_up(first), made_up(second)
    rows = _drawn(old, new, {})
    letters = difference_letters(rows, _notices(new))
    named = [one.customer_id for letter in letters for one in letter.rows]
    assert len(named) == len(set(named))
    assert set(named) == {one.customer_id for one in rows if one.body}
    assert set(pages_of(letters)) == set(named)
    for letter in letters:
        assert {(one.opening.value, one.body) for one in letter.rows} == {(letter.opening, letter.body)}
        assert len({place.street + place.number for place in letter.places}) == 1


@given(SEEDS)
@settings(max_examples=20, deadline=None)
def test_a_plan_has_no_difference_to_itself(seed: int) -> None:
    plan = made_up(seed)
    assert _drawn(plan, plan, {}) == ()


@given(SEEDS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_back_and_forth_the_lists_change_places(first: int, second: int) -> None:
    old, new = made_up(first), made_up(second)
    there, back = (
        {change: {one.customer_id for one in rows if change in one.changes} for change in Change}
        for rows in (_drawn(old, new, {}), _drawn(new, old, {}))
    )
    for one, other in (
        (Change.GOES_OFF, Change.NO_LONGER_OFF),
        (Change.NOW_KEPT, Change.NO_LONGER_KEPT),
        (Change.NOW_STANDBY, Change.NO_LONGER_STANDBY),
        (Change.NOW_IN_DOUBT, Change.NO_LONGER_IN_DOUBT),
    ):
        assert there[one] == back[other]
        assert there[other] == back[one]
    assert there[Change.TIMES] == back[Change.TIMES]
    assert there[Change.DAY_MOVED] == back[Change.DAY_MOVED]


@pytest.mark.parametrize("seed", [0])
def test_a_share_of_planned_pairs(seed: int, tmp_path: Path) -> None:
    run = run_pair(seed, tmp_path)
    assert run.found == []
    assert run.compared == 1
