"""The notice list takes what it says of people from the plan, and names nobody twice (own)."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from netplan.network.text_column import TextColumn
from netplan.outputs.notice_list import letter_groups, notice_rows
from netplan.outputs.notice_workbook import SHEETS, write_notices_xlsx
from netplan.planfile.plan_result import PlanResult
from tests.support.plans import hamlet_result


def _standby_for_somebody_affected() -> PlanResult:
    """Return a plan in which people who are off or kept already stand by for a fallback besides."""
    result = hamlet_result()
    option = result.plan.options[0]
    affected = tuple(customer.id for customer in option.customers)
    fallback = tuple(f.model_copy(update={"standby": (*f.standby, *affected)}) for f in option.fallback)
    options = (option.model_copy(update={"fallback": fallback}), *result.plan.options[1:])
    return PlanResult(result.plan.model_copy(update={"options": options}), result.network, result.states)


def test_nobody_stands_on_the_list_twice() -> None:
    result = _standby_for_somebody_affected()
    rows = notice_rows(result.plan, result.states[0])
    assert len({row.customer_id for row in rows}) == len(rows)
    effects = {row.customer_id: row.effect for row in rows}
    for customer in result.plan.options[0].customers:
        assert effects[customer.id] == customer.effect


@pytest.mark.parametrize("rank", [1, 2])
def test_times_causes_and_feeds_are_those_of_the_plan(rank: int) -> None:
    result = hamlet_result()
    rows = {row.customer_id: row for row in notice_rows(result.plan, result.states[rank - 1])}
    timed = 0
    for customer in result.plan.options[rank - 1].customers:
        row = rows[customer.id]
        assert row.off_from == (customer.off_from or "")
        assert row.on_by == (customer.on_by or "")
        assert (row.cause, row.kept_by) == (customer.cause, customer.kept_by or "")
        assert (row.category, row.priority, row.meters) == (
            customer.category,
            customer.priority,
            customer.meters,
        )
        timed += bool(row.off_from) and row.off_from < row.on_by
    assert timed


def test_the_spreadsheet_holds_every_text_under_its_head(tmp_path: Path) -> None:
    result = hamlet_result()
    rows = notice_rows(result.plan, result.states[0])
    # A letter T that is no part of a time.
    rows = (replace(rows[0], address="1 Top Terrace", street="Top Terrace"), *rows[1:])
    write_notices_xlsx(tmp_path / "notices.xlsx", result.plan, rows)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx")
    found = {}
    for sheet in SHEETS.values():
        head, *lines = book[sheet].iter_rows(values_only=True)
        for line in lines:
            cells = {str(name): "" if cell is None else cell for name, cell in zip(head, line, strict=True)}
            found[cells["Meter point"]] = cells
    assert len(found) == len(rows)
    for row in rows:
        cells = found[row.customer_id]
        assert cells["Town"] == row.town == "Quexby"
        assert cells["Address"] == row.address
        assert cells["Street"] == row.street
        assert cells["Category"] == row.category
        assert cells["Kept by"] == row.kept_by
        assert f"{cells['Notice by']:%Y-%m-%d}" == row.notice_by
        assert f"{cells['Work date']:%Y-%m-%d}" == "2026-05-12"
        for day, time, told in (("Off date", "Off from", row.off_from), ("On date", "On by", row.on_by)):
            both = cells[day], cells[time]
            assert both == ("", "") if not told else f"{both[0]:%Y-%m-%d}T{both[1]:%H:%M}" == told


def test_the_spreadsheet_carries_no_time_of_making(tmp_path: Path) -> None:
    result = hamlet_result()
    rows = notice_rows(result.plan, result.states[0])
    write_notices_xlsx(tmp_path / "notices.xlsx", result.plan, rows)
    with zipfile.ZipFile(io.BytesIO((tmp_path / "notices.xlsx").read_bytes())) as book:
        core = book.read("docProps/core.xml").decode()
        assert {entry.date_time[0] for entry in book.infolist()} == {1980}
    assert core.count("2000-01-01T00:00:00Z") == 2


def test_people_off_and_kept_at_one_address_get_a_letter_each() -> None:
    result = hamlet_result()
    rows = notice_rows(result.plan, result.states[0])
    off = next(row for row in rows if row.effect == "off")
    above = replace(off, customer_id="C-ABOVE", effect="kept", off_from="", on_by="", kept_by="B1")
    beside = replace(off, customer_id="C-BESIDE", address="Flat 2")
    assert [len(group) for group in letter_groups([off, beside, above])] == [2, 1]
    assert letter_groups([off, replace(off, language="de")]) != letter_groups([off, off])


def test_streets_of_one_name_in_two_towns_are_two_addresses() -> None:
    result = hamlet_result()
    customers = result.states[0].customers
    count = len(customers)
    houses = {}
    for town in ("", "Quexby"):
        towns = TextColumn([town and f"{town} {k % 2}" for k in range(count)])
        same = {"address": "1 High Street", "street": "High Street", "number": "1", "postcode": ""}
        columns = {name: TextColumn([text] * count) for name, text in same.items()}
        moved = replace(customers, **columns, town=towns)  # type: ignore[arg-type]
        rows = notice_rows(result.plan, replace(result.states[0], customers=moved))
        houses[town] = len({row.address_no for row in rows})
    assert houses == {"": 1, "Quexby": 2}
