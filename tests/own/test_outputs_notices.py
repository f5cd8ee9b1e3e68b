"""The notice list: nobody missed, nobody twice, in walking order, and text stays text."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from functools import cache

import pytest

from netplan.core.errors import BadInputError
from netplan.outputs.notice_list import NoticeRow, notice_rows
from netplan.outputs.notices_csv import NOTICE_COLUMNS, notices_csv, spreadsheet_safe
from tests.support.hamlet import HOSTILE
from tests.support.plans import hamlet_result


@cache
def _rows(rank: int = 1, *, hostile: bool = False) -> tuple[NoticeRow, ...]:
    result = hamlet_result(hostile=hostile)
    return notice_rows(result.plan, result.states[rank - 1])


@pytest.mark.parametrize("rank", [1, 2])
def test_everybody_once_with_the_plans_effect(rank: int) -> None:
    option = hamlet_result().plan.options[rank - 1]
    rows = _rows(rank)
    standby = {id_ for fallback in option.fallback for id_ in fallback.standby}
    wanted = {c.id: c.effect for c in option.customers} | dict.fromkeys(standby, "standby")
    assert {row.customer_id: row.effect for row in rows} == wanted
    assert len(rows) == len(wanted)
    for effect in ("off", "kept"):
        meters = sum(c.meters for c in option.customers if c.effect == effect)
        assert sum(row.meters for row in rows if row.effect == effect) == meters


def test_order_is_effect_priority_street_number() -> None:
    rows = _rows()
    off = [row for row in rows if row.effect == "off"]
    assert [row.effect for row in rows] == sorted(
        (r.effect for r in rows), key=["off", "kept", "standby"].index
    )
    assert off[0].priority == "medical"
    assert [row.address for row in off[-3:]] == [f"Flat {k}, 6 Mill Close" for k in (1, 2, 10)]


def test_flats_share_an_address_and_nobody_else_does() -> None:
    rows = _rows()
    flats = {row.address_no for row in rows if row.address.startswith("Flat")}
    assert len(flats) == 1
    assert sum(row.address_no in flats for row in rows) == 3
    assert len({row.address_no for row in rows}) == len(rows) - 2


def test_lead_times_follow_the_rules() -> None:
    days = {row.customer_id: (row.lead_days, row.notice_by) for row in _rows()}
    by_category = {(row.category, bool(row.priority)): days[row.customer_id] for row in _rows()}
    assert by_category[("household", False)] == (7, "2026-05-05")
    assert by_category[("household", True)] == (14, "2026-04-28")
    assert by_category[("business", False)] == (14, "2026-04-28")


def test_csv_reads_back_as_the_rows() -> None:
    text = notices_csv(_rows())
    assert text.startswith("\ufeff")
    back = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))
    assert [name for name, _ in NOTICE_COLUMNS] == list(back[0])
    assert [(r["customer_id"], int(r["meters"])) for r in back] == [
        (r.customer_id, r.meters) for r in _rows()
    ]


def test_priority_note_is_not_in_it() -> None:
    assert "secret note" not in notices_csv(_rows())


def test_hostile_text_is_never_a_formula() -> None:
    text = notices_csv(_rows(hostile=True))
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    cells = [cell for row in rows for cell in row]
    assert not [cell for cell in cells if cell.lstrip()[:1] in tuple("=+-@")]
    # The text itself is all there, behind the apostrophe.
    for hostile in HOSTILE:
        assert any(cell in (hostile, f"'{hostile}") for cell in cells), hostile


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@x", "\t=1", "\r=1", " =1", "\n-1"])
def test_formulas_are_guarded(text: str) -> None:
    assert spreadsheet_safe(text) == f"'{text}"


def test_unknown_option_says_which_there_are() -> None:
    with pytest.raises(BadInputError, match="options 1 to 2"):
        notice_rows(hamlet_result().plan, replace(hamlet_result().states[0], option=3))
