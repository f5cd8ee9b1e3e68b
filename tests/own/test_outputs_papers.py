"""Papers: page counts, what they say, that text stays text, and that notes go nowhere else."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from typing import Any

import pypdf
import pytest

from netplan.outputs.documents.call_and_tally_sheets import call_sheet_pdf, tally_pdf, visits_planned
from netplan.outputs.documents.letter_words import read_words
from netplan.outputs.documents.typeset import printable
from netplan.outputs.documents.work_pack import work_pack_pdf
from netplan.outputs.layers import plan_layers
from netplan.outputs.notice_list import NoticeRow, letter_groups, notice_rows
from netplan.outputs.number_format import METRIC, US
from tests.support.hamlet import HOSTILE
from tests.support.letters import made_letters
from tests.support.plans import hamlet_result, without_base


def _pages(pdf: bytes) -> list[str]:
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        # Lines break anywhere, and long runs may carry break marks: compare without blanks.
        return [page.extract_text() for page in reader.pages]


def _squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b\u00ad\u2010-]+", "", text)


@cache
def _rows(*, hostile: bool = False, rank: int = 1) -> tuple[NoticeRow, ...]:
    result = hamlet_result(hostile=hostile)
    return notice_rows(result.plan, result.states[rank - 1])


@cache
def _pack(*, hostile: bool = False, us: bool = False, rank: int = 1) -> str:
    result = hamlet_result(hostile=hostile)
    pdf = work_pack_pdf(result.plan, plan_layers(result), result.states[rank - 1], units=US if us else METRIC)
    return "\n\f".join(_pages(pdf))


def test_one_letter_page_for_each_address_and_effect() -> None:
    rows = _rows()
    pages = _pages(made_letters(hamlet_result().plan, rows))
    assert len(pages) == len(letter_groups(rows)) == len({row.address_no for row in rows})
    for page, group in zip(pages, letter_groups(rows), strict=True):
        assert group[0].street in page
    flats = next(page for page in pages if "Flat 10" in page)
    assert "Flat 1" in flats
    assert "Flat 2" in flats


def test_letters_speak_by_effect_and_language() -> None:
    plan = hamlet_result().plan
    pages = _pages(made_letters(plan, _rows()))
    by_address = {group[0].address: page for page, group in zip(pages, letter_groups(_rows()), strict=True)}
    assert "will be off on 12 May 2026" in by_address["1 Mill Close"]
    assert "17:00" in by_address["1 Mill Close"]
    assert "your gas stays on" in by_address["9 Mill Close"]
    assert "please be prepared" in by_address["41 Upper Lane"]
    assert "wird am 12. Mai 2026 abgestellt" in by_address["5 Mill Close"]
    assert "28 April 2026" in by_address["3 Mill Close"]
    assert "5 May 2026" in by_address["2 Mill Close"]
    german = _pages(made_letters(plan, _rows(), language="de"))
    assert all("An die Bewohner" in page for page in german)


def test_a_kept_customer_on_standby_is_told_so_in_every_language() -> None:
    plan = hamlet_result().plan
    shipped = read_words(None).words
    assert {"en", "de"} < set(shipped)
    for language, words in shipped.items():
        title = str(words.raw("kept_standby", "title")).partition("{date}")
        rows = [replace(row, standby="yes", language=language) for row in _rows() if row.effect == "kept"]
        pages = [re.sub(r"\s+", " ", page) for page in _pages(made_letters(plan, rows))]
        assert len(pages) == len(letter_groups(rows)) > 0
        assert all(title[0] in page and title[2] in page for page in pages)


def test_nobody_affected_is_said() -> None:
    plan = hamlet_result().plan
    assert "no letters" in _pages(made_letters(plan, []))[0]
    assert "Nobody goes off" in _pages(tally_pdf(plan, []))[0]
    assert "No priority customer" in _pages(call_sheet_pdf(plan, [], {}))[0]


def test_notes_are_on_the_call_sheet_and_nowhere_else() -> None:
    result = hamlet_result()
    customers = result.network.customers
    notes = dict(zip(customers.id, customers.priority_note, strict=True))
    numbers = dict(zip(customers.id, customers.telephone, strict=True))
    pdf = call_sheet_pdf(result.plan, _rows(), notes, telephones=numbers)
    text = re.sub(r"\s+", " ", "\n".join(_pages(pdf)))
    assert "secret note A" in text
    assert "secret note B" in text
    assert "RESTRICTED" in text
    called = [row for row in _rows() if row.priority]
    assert len(called) == 2
    for row in called:
        assert numbers[row.customer_id] in text
        assert row.notice_by in text
    others = [*_pages(made_letters(result.plan, _rows())), *_pages(tally_pdf(result.plan, _rows())), _pack()]
    assert not [page for page in others if "secret note" in page or "0000 55" in page]


def test_tally_counts_every_door_that_goes_off() -> None:
    text = "\n".join(_pages(tally_pdf(hamlet_result().plan, _rows())))
    off = [row for row in _rows() if row.effect == "off"]
    assert all(row.customer_id in text for row in off)
    assert "no permit" in text
    planned = visits_planned(sum(row.meters for row in off), 0.2)
    assert planned == {"no_access": 2, "visits": 18}
    assert visits_planned(10, 0.1) == {"no_access": 1, "visits": 21}
    assert visits_planned(0, 0.2) == {"no_access": 0, "visits": 0}


def test_work_pack_holds_what_the_plan_says() -> None:
    text = _squeezed(_pack())
    option = hamlet_result().plan.options[0]
    for stop in option.stops:
        assert _squeezed(f"Stop {stop.id}: {stop.method}") in text
        assert f"{stop.x:.2f}E" in text
    for step in option.steps:
        assert _squeezed(step.does) in text
    for words in (
        "3.10 m³/h",
        "1.55 m³",
        "0.950 kg",
        "holds down to",
        "GWP100",
        "no height recorded",
        "20 % LFL",
    ):
        assert _squeezed(words) in text, words


def test_cover_has_the_caution_and_no_price_or_proof() -> None:
    cover = _pack().split("\f")[0]
    assert "no permit" in cover
    assert "Sign-off" in cover
    for words in ("EUR", "burden", "lowest", "optimal"):
        assert words not in cover


def test_work_pack_in_us_units_has_no_metric_pressure() -> None:
    text = _pack(us=True)
    assert "in. w.c." in text
    assert "ft³/h" in text
    assert "mbar" not in text.replace("101.325", "")


def test_work_pack_without_a_base_map_and_without_a_bypass() -> None:
    result = without_base(hamlet_result())
    pdf = work_pack_pdf(result.plan, plan_layers(result), result.states[1])
    text = "\n".join(_pages(pdf))
    assert "No feed is needed" in text
    assert "junction of mains" in text


@pytest.mark.parametrize("paper", ["letters", "call", "tally", "pack"])
def test_hostile_text_comes_out_as_text(paper: str) -> None:
    result = hamlet_result(hostile=True)
    rows = _rows(hostile=True)
    notes = {row.customer_id: HOSTILE[7] for row in rows}
    texts: dict[str, Any] = {
        "letters": lambda: "\n".join(_pages(made_letters(result.plan, rows))),
        "call": lambda: "\n".join(_pages(call_sheet_pdf(result.plan, rows, notes))),
        "tally": lambda: "\n".join(_pages(tally_pdf(result.plan, rows))),
        "pack": lambda: _pack(hostile=True),
    }
    text = _squeezed(texts[paper]())
    wanted = {
        "letters": HOSTILE[:5],
        "call": (HOSTILE[7],),
        "tally": HOSTILE[:5],
        "pack": (*HOSTILE[:5], *HOSTILE[7:9]),
    }
    for hostile in wanted[paper]:
        assert _squeezed(hostile) in text, hostile


def test_hostile_letters_still_take_one_page_each() -> None:
    rows = _rows(hostile=True)
    pages = _pages(made_letters(hamlet_result(hostile=True).plan, rows))
    assert len(pages) == len(letter_groups(rows))


def test_plain_data_keep_their_text() -> None:
    data = printable({"a": ["x" * 100, "y\x00\u202ez", 3, None]})
    assert data["a"][0].replace("\u200b", "") == "x" * 100
    assert max(len(part) for part in data["a"][0].split("\u200b")) <= 24
    assert data["a"][1:] == ["yz", 3, None]
