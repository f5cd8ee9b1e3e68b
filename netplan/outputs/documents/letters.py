"""Letters: one page for each address and kind of letter, in the language of the people there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.outputs.documents.letter_choice import ChosenWords
from netplan.outputs.documents.letter_words import LetterWords, direction_of
from netplan.outputs.documents.typeset import missing_signs, typeset
from netplan.outputs.notice_list import NoticeRow, letter_groups, letter_of
from netplan.planfile.model import Plan
from netplan.planfile.revision import revision_code

__all__ = ["DOORS_NAMED", "letters_pdf", "signs_without_a_font", "time_box", "unbroken_numbers", "written"]

DOORS_NAMED: Final = 24
"""Doors that a letter names; the others are counted."""
_LONGEST_NUMBER: Final = 30
"""Signs of a telephone number that is not broken at the end of a line (own)."""


def letters_pdf(plan: Plan, rows: Sequence[NoticeRow], chosen: ChosenWords, *, paper: str = "a4") -> bytes:
    """Return the letters as PDF, one page each.

    Parameters
    ----------
    plan : Plan
    rows : sequence of NoticeRow
        As `notice_rows` returns them.
    chosen : ChosenWords
        As `choose_words` returns them for the languages of the rows.
    paper : str
        Size of paper where the words name none, by the typesetter's name.

    Raises
    ------
    BadInputError
        When the words name no sender: nobody could ask back.
    """
    if chosen.lacking:
        raise BadInputError(chosen.lacking)
    return typeset(
        "letters.typ",
        {
            "paper": chosen.default.paper or paper,
            "letters": _letters(plan, rows, chosen),
            "none": str(chosen.default.raw("common", "none")),
            "revision": revision_code(plan),
        },
    )


def signs_without_a_font(plan: Plan, rows: Sequence[NoticeRow], chosen: ChosenWords) -> str:
    """Return in a line which signs of the letters no font at hand has; empty where none is missing."""
    found = missing_signs(_letters(plan, rows, chosen))
    if not found:
        return ""
    return (
        f"letters.pdf has empty boxes: no font of this computer has {found}; "
        "install one that has, and make the papers again"
    )


def _letters(plan: Plan, rows: Sequence[NoticeRow], chosen: ChosenWords) -> list[dict[str, Any]]:
    return [_letter(plan, group, chosen.of(group[0].language)) for group in letter_groups(rows)]


def _letter(plan: Plan, group: Sequence[NoticeRow], words: LetterWords) -> dict[str, Any]:
    # One page for several customers: the first of them to go off, the last to be back.
    first = group[0]
    letter = letter_of(first)
    begin = min((row.off_from for row in group if row.off_from), default=plan.conditions.start or "")
    back = max((row.on_by for row in group), default="")
    values = {
        "date": words.date(begin),
        "from": words.time(begin, "no_from"),
        "to": words.time(back, "no_to"),
        "to_date": words.date(back or begin),
        "hours": f"{plan.conditions.hours:g}",
        "notice_by": words.date(min((row.notice_by for row in group if row.notice_by), default="")),
        "address_no": str(first.address_no),
        "effect": str(words.raw("effects", letter)),
    }
    doors = [row.address for row in group]
    if len(doors) > DOORS_NAMED:
        more = words.text("common", "more", {"count": str(len(doors) - DOORS_NAMED)})
        doors = [*doors[:DOORS_NAMED], more]
    dated = "" if begin else "_no_date"
    return {
        **words.setting,
        "to": words.text("common", "to", values),
        "address": [written(line, words) for line in _address(group)],
        "sender": written(words.text("sender", "sender", values), words),
        "numbers": unbroken_numbers(words),
        "phone-line": words.text("common", "phone_line", values),
        "title": words.text(letter, f"title{dated}", values),
        "box": time_box(words, values, begin) if letter == "off" else [],
        "paragraphs": [words.fill(str(p), values) for p in words.raw(letter, "paragraphs")],
        "doors": [written(door, words) for door in doors],
        "doors-line": words.text("common", "doors_line", values),
        "footer": words.text("common", f"footer{dated}", values),
    }


def unbroken_numbers(words: LetterWords) -> list[str]:
    """Return the telephone numbers that are not broken at the end of a line."""
    return [number for number in words.numbers if len(number) <= _LONGEST_NUMBER]


def time_box(words: LetterWords, values: Mapping[str, str], begin: str) -> list[list[str]]:
    """Return the rows of the box that says from when to when."""
    lines = [words.text("common", name, values) for name in ("from_line", "to_line")]
    if not begin:
        return [[lines[0], words.text("common", "no_date_line", values)]]
    return [
        [lines[0], f"{values['date']}, {values['from']}"],
        [lines[1], f"{values['to_date']}, {values['to']}"],
    ]


def written(text: str, words: LetterWords) -> dict[str, str]:
    """Return a text with the direction that it is written in; that of the words where it has no letters."""
    return {"text": text, "direction": direction_of([text]) or words.setting["direction"]}


def _address(group: Sequence[NoticeRow]) -> list[str]:
    first = group[0]
    line = first.address if len(group) == 1 else f"{first.number} {first.street}".strip() or first.address
    place = " ".join(part for part in (first.postcode, first.town) if part)
    return [part for part in (line, place) if part]
