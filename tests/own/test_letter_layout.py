"""Letters as they are laid out: what stands where on the page, in both directions of writing (own)."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pypdf
import pytest

from netplan.outputs.documents.letters import signs_without_a_font
from netplan.outputs.notice_list import NoticeRow, letter_groups, notice_rows
from netplan.planfile.model import Plan
from tests.support.letters import made_letters, spelt_words, words_for
from tests.support.plans import hamlet_result

PT_PER_MM = 72 / 25.4
WIDTH_MM = 210.0
ADDRESS_END_MM = 25.0 + 85.0
HEBREW = "אבגדהוזחטיכלמנסעפצקרשת"
LONG = "Quexby Gas Works and Associated Distribution Undertakings of the Northern and Southern Districts " * 2
SENDER = '[sender]\nsender = "{name}"\nphone = "0000 / 123 456"\nemergency = "0000 999"\n'


@dataclass(frozen=True)
class Piece:
    """A run of text with the place of its start from the upper left corner [mm]."""

    text: str
    x_mm: float
    y_mm: float


def _pieces(pdf: bytes, page: int = 0) -> list[Piece]:
    found = []

    def visit(text: str, cm: list[float], tm: list[float], *_: Any) -> None:
        if text.strip():
            x = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            found.append(Piece(text.strip(), x / PT_PER_MM, 297 - y / PT_PER_MM))

    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        reader.pages[page].extract_text(visitor_text=visit)
    return found


def _one(language: str, effect: str = "off") -> tuple[Plan, list[NoticeRow]]:
    result = hamlet_result()
    row = next(row for row in notice_rows(result.plan, result.states[0]) if row.effect == effect)
    return result.plan, [replace(row, language=language)]


def _without_date(plan: Plan, rows: list[NoticeRow]) -> tuple[Plan, list[NoticeRow]]:
    conditions = plan.conditions.model_copy(update={"start": None})
    bare = [replace(row, off_from="", on_by="", notice_by="", work_date="") for row in rows]
    return plan.model_copy(update={"conditions": conditions}), bare


def _page(plan: Plan, rows: list[NoticeRow]) -> str:
    with pypdf.PdfReader(io.BytesIO(made_letters(plan, rows))) as reader:
        assert len(reader.pages) == len(letter_groups(rows))
        return re.sub(r"\s+", " ", reader.pages[0].extract_text())


def test_a_long_sender_does_not_print_over_the_address(tmp_path: Path) -> None:
    (tmp_path / "words.en.toml").write_text(SENDER.format(name=LONG.strip()), encoding="utf-8")
    plan, rows = _one("en")
    rows = [
        replace(rows[0], address="The House with the Very Long Name Indeed, " * 3, town="Lower Overbury " * 8)
    ]
    pieces = _pieces(made_letters(plan, rows, folder=tmp_path))
    words = set(LONG.split())
    sender = [piece for piece in pieces if set(piece.text.split()) <= words]
    assert len(sender) >= 5
    assert min(piece.x_mm for piece in sender) > ADDRESS_END_MM
    title = next(piece for piece in pieces if piece.text.startswith("Your gas will be off"))
    phone = next(piece for piece in pieces if piece.text.startswith("Questions"))
    assert max(piece.y_mm for piece in sender) < phone.y_mm < title.y_mm
    left = [piece for piece in pieces if piece.y_mm < title.y_mm and piece.x_mm < ADDRESS_END_MM]
    assert {round(piece.x_mm, 1) for piece in left} == {25.0}


def test_right_to_left_words_are_laid_out_from_the_right(tmp_path: Path) -> None:
    (tmp_path / "words.he.toml").write_text(spelt_words(HEBREW), encoding="utf-8")
    (tmp_path / "words.en.toml").write_text(SENDER.format(name="Quexby Gas"), encoding="utf-8")
    plan, rows = _one("he-IL")
    pieces = _pieces(made_letters(plan, rows, folder=tmp_path))
    sender = next(piece for piece in pieces if piece.text == "Quexby Gas")
    assert sender.x_mm == pytest.approx(25.0, abs=0.1)
    door = next(piece for piece in pieces if piece.text.startswith("3"))
    assert door.text == "3 Mill Close", "an address keeps its own direction"
    assert door.x_mm > WIDTH_MM / 2
    value = next(piece for piece in pieces if "08:00" in piece.text)
    line = [piece for piece in pieces if piece.y_mm == pytest.approx(value.y_mm, abs=1)]
    label = max(line, key=lambda piece: piece.x_mm)
    assert set(label.text) <= set(HEBREW)
    assert label.x_mm > value.x_mm + 10
    assert label.x_mm > WIDTH_MM - 22 - 20, "the box begins at the right"
    numbers = [piece.text for piece in pieces if "123" in piece.text]
    assert len(numbers) >= 2
    assert set(numbers) == {"0000 / 123 456"}, "a number is written from left to right, in one piece"


def test_a_sign_that_no_font_has_is_named(tmp_path: Path) -> None:
    plan, rows = _one("en")
    assert signs_without_a_font(plan, rows, words_for(rows)) == ""
    rows = [replace(rows[0], address="1 Łódź Straße \U0010fff0")]
    said = signs_without_a_font(plan, rows, words_for(rows))
    assert "U+10FFF0" in said
    assert said.count("U+") == 1
    assert "\n" not in said
    (tmp_path / "words.en.toml").write_text(SENDER.format(name="Quexby"), encoding="utf-8")
    (tmp_path / "words.he.toml").write_text(spelt_words(HEBREW), encoding="utf-8")
    rows = [replace(rows[0], address="1 Mill Close", language="he")]
    assert signs_without_a_font(plan, rows, words_for(rows, folder=tmp_path)) == ""


@pytest.mark.parametrize(
    ("language", "said", "footer"),
    [
        ("en", "Your gas will be off for a while", "a plan without a date; the operator"),
        ("de", "Ihr Gas wird für einige Zeit abgestellt", "ohne Datum; der Netzbetreiber"),
        ("pl", "Przerwa w dostawie gazu", "bez daty; przed"),
    ],
)
def test_letters_without_a_date_read_right(language: str, said: str, footer: str) -> None:
    page = _page(*_without_date(*_one(language)))
    assert said in page
    assert footer in page
    assert "{" not in page
    assert not re.search(r"\b(bis|by|do:?) (einem|a day|w dniu)", page)
    assert "einem Tag, den wir" not in page
    assert "abgestellt:" not in page


def test_every_language_says_the_effect_in_its_own_words() -> None:
    wanted = {"en": "gas off.", "de": "Gas abgestellt.", "pl": "gaz wyłączony."}
    for language, words in wanted.items():
        assert f" 1, {words}" in _page(*_one(language))
    kept = {"en": "gas stays on.", "de": "Gas bleibt an.", "pl": "gaz pozostaje."}
    for language, words in kept.items():
        assert words in _page(*_one(language, "kept"))
        plan, rows = _one(language, "kept")
        assert words not in _page(plan, [replace(rows[0], standby="yes")])
