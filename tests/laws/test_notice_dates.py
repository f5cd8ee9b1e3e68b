"""Laws of the notice list: its dates and times are real ones, and letters, lists and plan say the same."""

from __future__ import annotations

import csv
import io
import random
import re
from collections import Counter
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest

from netplan.core.language_tags import lookup
from netplan.network.text_column import TextColumn
from netplan.outputs.notice_list import NoticeRow, notice_rows
from netplan.outputs.notice_workbook import CONTACTS, MERGE_SHEET, SHEETS, write_notices_xlsx
from netplan.outputs.notices_csv import notices_csv
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import plan_from_json, plan_to_json
from tests.support.letters import made_letters
from tests.support.plans import hamlet_result

SEEDS = range(8)
_MONTHS = {
    "en": [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ],
    "de": [
        "Januar",
        "Februar",
        "März",
        "April",
        "Mai",
        "Juni",
        "Juli",
        "August",
        "September",
        "Oktober",
        "November",
        "Dezember",
    ],
    "pl": [
        "stycznia",
        "lutego",
        "marca",
        "kwietnia",
        "maja",
        "czerwca",
        "lipca",
        "sierpnia",
        "września",
        "października",
        "listopada",
        "grudnia",
    ],
}
_DAY = {"en": "{day} {month} {year}", "de": "{day}. {month} {year}", "pl": "{day} {month} {year}"}


def _made_up(seed: int) -> tuple[Plan, tuple[NoticeRow, ...]]:
    """Return the hamlet's plan with another start, other times, languages, towns and people on standby."""
    rng = random.Random(seed)  # noqa: S311
    result = hamlet_result()
    start = datetime(rng.randrange(1975, 2190), rng.randrange(1, 13), rng.randrange(1, 29), rng.randrange(24))
    option = result.plan.options[0]
    customers = []
    for customer in option.customers:
        if customer.effect == "off":
            off = start + timedelta(minutes=30 * rng.randrange(0, 8))
            on = off + timedelta(minutes=30 * rng.randrange(1, 60))
            times = {"off_from": off.isoformat(timespec="minutes"), "on_by": on.isoformat(timespec="minutes")}
            customer = customer.model_copy(update=times)
        customers.append(customer)
    kept = [customer.id for customer in customers if customer.effect == "kept"]
    more = tuple(rng.sample(kept, rng.randrange(len(kept) + 1)))
    fallback = tuple(one.model_copy(update={"standby": (*one.standby, *more)}) for one in option.fallback)
    options = (option.model_copy(update={"customers": tuple(customers), "fallback": fallback}),)
    conditions = result.plan.conditions.model_copy(update={"start": start.isoformat(timespec="minutes")})
    plan = result.plan.model_copy(update={"options": options, "conditions": conditions})
    # What the file says is what the lists are made from.
    plan = plan_from_json(plan_to_json(plan), "plan.json")
    state = result.states[0]
    count = len(state.customers)
    language = TextColumn([rng.choice(["", "en", "de", "de-AT", "PL", "est"]) for _ in range(count)])
    town = TextColumn([rng.choice(["", "Quexby", "Łódź"]) for _ in range(count)])
    state = replace(state, customers=replace(state.customers, language=language, town=town))
    return plan, notice_rows(plan, state)


def _sheet(book: Any, name: str) -> list[dict[str, Any]]:
    head, *rows = book[name].iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def _both(day: date | None, at: time | None) -> str | None:
    assert (day is None) == (at is None)
    if day is None or at is None:
        return None
    assert isinstance(day, datetime), "a date of the spreadsheet, no text"
    assert isinstance(at, time), "a time of the spreadsheet, no text"
    return datetime.combine(day.date(), at).isoformat(timespec="minutes")


@pytest.mark.parametrize("seed", SEEDS)
def test_dates_and_times_of_every_sheet_are_real_and_those_of_the_plan(seed: int, tmp_path: Path) -> None:
    plan, rows = _made_up(seed)
    option = plan.options[0]
    write_notices_xlsx(tmp_path / "notices.xlsx", plan, rows)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx")
    said = {customer.id: (customer.off_from, customer.on_by) for customer in option.customers}
    standby = set(option.standby)
    wanted = {
        SHEETS[effect]: {c.id for c in option.customers if c.effect == effect} for effect in ("off", "kept")
    }
    wanted |= {SHEETS["standby"]: standby, MERGE_SHEET: said.keys() | standby}
    day = datetime.fromisoformat(str(plan.conditions.start)).date()
    lead = plan.rules["notice"]["lead_days"]
    for name, ids in wanted.items():
        cells = _sheet(book, name)
        assert Counter(row["Meter point"] for row in cells) == Counter(ids), name
        for row in cells:
            off_from, on_by = said.get(row["Meter point"], (None, None))
            assert _both(row["Off date"], row["Off from"]) == off_from
            assert _both(row["On date"], row["On by"]) == on_by
            assert row["Work date"].date() == day, "those kept and on standby are dated too"
            assert (day - row["Notice by"].date()).days in lead.values()
    merged = {row["Meter point"]: row for row in _sheet(book, MERGE_SHEET)}
    for customer in option.customers:
        letter = merged[customer.id]["Letter"]
        on_standby = customer.id in standby and customer.effect == "kept"
        assert letter == ("kept_standby" if on_standby else customer.effect)
    assert {merged[id_]["Letter"] for id_ in standby - said.keys()} <= {"standby"}
    assert all(row[column.title] is None for row in merged.values() for column in CONTACTS)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_list_for_mailing_programs_says_what_the_workbook_says(seed: int, tmp_path: Path) -> None:
    plan, rows = _made_up(seed)
    write_notices_xlsx(tmp_path / "notices.xlsx", plan, rows)
    merged = _sheet(openpyxl.load_workbook(tmp_path / "notices.xlsx"), MERGE_SHEET)
    listed = list(csv.DictReader(io.StringIO(notices_csv(rows).removeprefix("\ufeff"))))
    assert [row["Meter point"] for row in merged] == [row["customer_id"] for row in listed]
    for row, line in zip(merged, listed, strict=True):
        for title, name in (("Town", "town"), ("Postcode", "postcode"), ("Letter", "letter")):
            assert (row[title] or "") == line[name]
        for title, name in (("Work date", "work_date"), ("Off date", "off_date"), ("Notice by", "notice_by")):
            assert (f"{row[title]:%Y-%m-%d}" if row[title] else "") == line[name]
        for title, name in (("Off from", "off_time"), ("On by", "on_time")):
            assert (f"{row[title]:%H:%M}" if row[title] is not None else "") == line[name]
        assert str(row["Letter no."]) == line["letter_no"]
        assert line["off_from"] == (f"{line['off_date']}T{line['off_time']}" if line["off_date"] else "")


@pytest.mark.parametrize("seed", SEEDS)
def test_each_letter_says_the_times_of_its_rows_in_the_workbook(seed: int, tmp_path: Path) -> None:
    plan, rows = _made_up(seed)
    write_notices_xlsx(tmp_path / "notices.xlsx", plan, rows)
    merged = _sheet(openpyxl.load_workbook(tmp_path / "notices.xlsx"), MERGE_SHEET)
    with pypdf.PdfReader(io.BytesIO(made_letters(plan, rows))) as reader:
        pages = [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]
    assert {row["Letter no."] for row in merged} == set(range(1, len(pages) + 1))
    for number, page in enumerate(pages, 1):
        own = [row for row in merged if row["Letter no."] == number]
        assert len({(row["Address no."], row["Letter"]) for row in own}) == 1
        tag = lookup(own[0]["Language"] or "", _MONTHS) or "en"
        assert all(row["Address"] in page for row in own if len(own) > 1)
        assert (own[0]["Town"] or "") in page
        if own[0]["Letter"] == "off":
            begins = min(datetime.combine(row["Off date"].date(), row["Off from"]) for row in own)
            ends = max(datetime.combine(row["On date"].date(), row["On by"]) for row in own)
            for moment in (begins, ends):
                assert f"{_written(moment, tag)}, " in page
                assert f"{moment:%H:%M}" in page
        else:
            assert not re.search(r"\b\d\d:\d\d\b", page)
            assert _written(own[0]["Work date"], tag) in page
        assert _written(min(row["Notice by"] for row in own), tag) in page


def _written(moment: datetime, tag: str) -> str:
    return _DAY[tag].format(day=moment.day, month=_MONTHS[tag][moment.month - 1], year=moment.year)


def test_a_language_finds_the_longest_tag_that_it_begins_with() -> None:
    rng = random.Random(7)  # noqa: S311
    parts = ["de", "deu", "d", "at", "1996", "latn", "x", "a"]
    for _ in range(3000):
        language = "-".join(rng.choice(parts) for _ in range(rng.randrange(1, 5)))
        tags = {"-".join(rng.choice(parts) for _ in range(rng.randrange(1, 4))) for _ in range(6)}
        # A single letter never ends a tag that was cut short.
        begun = [
            tag
            for tag in tags
            if language == tag or (language.startswith(f"{tag}-") and len(tag.rpartition("-")[2]) > 1)
        ]
        found = lookup(language.replace("-", "_").upper(), tags)
        assert found == max(begun, key=len, default=None)
