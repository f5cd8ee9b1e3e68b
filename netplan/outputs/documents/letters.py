"""Letters: one page for each address and effect, in the language of the people there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from netplan.outputs.documents.letter_words import LetterWords, read_words
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.notice_list import NoticeRow, letter_groups, letter_of
from netplan.planfile.model import Plan
from netplan.planfile.revision import revision_code

__all__ = ["letters_pdf"]

_DOORS_NAMED: Final = 24
DEFAULT_LANGUAGE: Final = "en"


def letters_pdf(
    plan: Plan,
    rows: Sequence[NoticeRow],
    *,
    words: Mapping[str, LetterWords] | None = None,
    language: str = DEFAULT_LANGUAGE,
) -> bytes:
    """Return the letters as PDF, one page each.

    Parameters
    ----------
    plan : Plan
    rows : sequence of NoticeRow
        As `notice_rows` returns them.
    words : mapping of str to LetterWords, optional
        Words by language; the shipped ones when left out.
    language : str
        Language where none is recorded, or none of the recorded one is there.
    """
    known = words or read_words(None)
    default = known.get(language) or known[DEFAULT_LANGUAGE]
    letters = [
        _letter(plan, group, known.get(group[0].language.strip().lower()[:2], default))
        for group in letter_groups(rows)
    ]
    return typeset(
        "letters.typ",
        {
            "letters": letters,
            "none": str(default.raw("common", "none")),
            "revision": revision_code(plan),
        },
    )


def _letter(plan: Plan, group: Sequence[NoticeRow], words: LetterWords) -> dict[str, Any]:
    # One page for several customers: the first of them to go off, the last to be back.
    first = group[0]
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
        "effect": first.effect,
    }
    box = []
    if first.effect == "off":
        day_from, day_to = values["date"], values["to_date"]
        box = [
            [words.text("common", "from_line", values), f"{day_from}, {values['from']}"],
            [words.text("common", "to_line", values), f"{day_to}, {values['to']}"],
        ]
    section = _section(first, words)
    doors = [row.address for row in group]
    if len(doors) > _DOORS_NAMED:
        more = words.text("common", "more", {"count": str(len(doors) - _DOORS_NAMED)})
        doors = [*doors[:_DOORS_NAMED], more]
    return {
        "lang": words.lang,
        "to": words.text("common", "to", values),
        "address": _address(group),
        "sender": words.text("sender", "sender", values),
        "phone-line": words.text("common", "phone_line", values),
        "title": words.text(section, "title", values),
        "box": box,
        "paragraphs": [words.fill(str(p), values) for p in words.raw(section, "paragraphs")],
        "doors": doors,
        "doors-line": words.text("common", "doors_line", values),
        "footer": words.text("common", "footer", values),
    }


def _section(row: NoticeRow, words: LetterWords) -> str:
    """Return which words are for a customer; one kept on and on standby is told that their gas may go off.

    Words of an older version have none for both: those for standby then say it.
    """
    letter = letter_of(row)
    return letter if words.has(letter) else "standby"


def _address(group: Sequence[NoticeRow]) -> list[str]:
    first = group[0]
    line = first.address if len(group) == 1 else f"{first.number} {first.street}".strip() or first.address
    return [part for part in (line, first.postcode) if part]
