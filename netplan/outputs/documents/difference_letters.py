"""Letters of a difference: what an earlier letter said is taken back before anything new is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.core.language_tags import language_key
from netplan.customers import address_groups
from netplan.outputs.documents.letter_choice import ChosenWords
from netplan.outputs.documents.letter_words import LetterWords
from netplan.outputs.documents.letters import DOORS_NAMED, time_box, unbroken_numbers, written
from netplan.outputs.documents.typeset import missing_signs, typeset
from netplan.outputs.notice_differences import NOT_AFFECTED, NoticeDifference, Opening
from netplan.outputs.notice_places import NoticePlace, PlanNotices
from netplan.planfile.revision import revision_code

__all__ = ["DifferenceLetter", "difference_letters", "difference_letters_pdf", "pages_of"]

_WRONG_ADDRESS: Final = "wrong_address"
_STANDBY: Final = ("standby", "kept_standby")
_EFFECTS: Final = ("off", "kept", *_STANDBY)


@dataclass(frozen=True, slots=True)
class DifferenceLetter:
    """One letter: an address, how it begins, the section of the words that it holds, and whom it is for.

    `places` are those of `rows`, one each: the old ones where the letter goes to an address that no longer
    holds. `named` says that another letter goes to the same address: then this one names its meter points.
    """

    address_no: int
    opening: str
    body: str
    rows: tuple[NoticeDifference, ...]
    places: tuple[NoticePlace, ...]
    named: bool

    @property
    def language(self) -> str:
        """Language recorded for its door."""
        return self.places[0].language


def difference_letters(rows: Sequence[NoticeDifference], new: PlanNotices) -> tuple[DifferenceLetter, ...]:
    """Return the letters of a difference: one for an address, what it says and language, as the rows go.

    A letter also goes to the earlier address of a meter point whose record has another one now, unless
    somebody there is written to by the new plan.

    Parameters
    ----------
    rows : sequence of NoticeDifference
    new : PlanNotices
        Notice list of the new plan.
    """
    written_to = {new.places[id_].written for id_ in new.rows}
    units = [(one, one.place, one.opening.value, one.body) for one in rows if one.body]
    units += [
        (one, one.old_place, _WRONG_ADDRESS, "")
        for one in rows
        if one.old_place is not None and one.may_lie_there and one.old_place.written not in written_to
    ]
    houses = address_groups(
        [place.address for _, place, *_ in units],
        [place.street for _, place, *_ in units],
        [place.number for _, place, *_ in units],
        [place.postcode or place.town for _, place, *_ in units],
    )
    groups: dict[tuple[int, str, str, str], list[tuple[NoticeDifference, NoticePlace]]] = {}
    for (one, place, opening, body), house in zip(units, houses, strict=True):
        key = (house, opening, body, language_key(place.language))
        groups.setdefault(key, []).append((one, place))
    said: dict[tuple[str, ...], set[tuple[int, str, str, str]]] = {}
    for key, own in groups.items():
        for _, place in own:
            said.setdefault(place.written, set()).add(key)
    return tuple(
        DifferenceLetter(
            address_no=own[0][0].address_no,
            opening=key[1],
            body=key[2],
            rows=tuple(one for one, _ in own),
            places=tuple(place for _, place in own),
            named=any(len(said[place.written]) > 1 for _, place in own),
        )
        for key, own in groups.items()
    )


def pages_of(letters: Sequence[DifferenceLetter]) -> dict[str, int]:
    """Return the page of the letter of each meter point, from 1; that to an earlier address apart."""
    return {
        row.customer_id: page
        for page, letter in enumerate(letters, 1)
        if letter.opening != _WRONG_ADDRESS
        for row in letter.rows
    }


def difference_letters_pdf(
    letters: Sequence[DifferenceLetter],
    old: PlanNotices,
    new: PlanNotices,
    chosen: ChosenWords,
    *,
    paper: str = "a4",
) -> tuple[bytes, str]:
    """Return the letters of a difference as PDF, one page each, and which signs of them no font at hand has.

    Parameters
    ----------
    letters : sequence of DifferenceLetter
        As `difference_letters` returns them.
    old, new : PlanNotices
    chosen : ChosenWords
        As `choose_words` returns them for the languages of the letters.
    paper : str
        Size of paper where the words name none, by the typesetter's name.

    Raises
    ------
    BadInputError
        When the words name no sender: nobody could ask back.
    """
    if why := chosen.lacking:
        raise BadInputError(why)
    pages = [
        _letter(letter, page, old, new, chosen.of(letter.language)) for page, letter in enumerate(letters, 1)
    ]
    pdf = typeset(
        "letters.typ",
        {
            "paper": chosen.default.paper or paper,
            "letters": pages,
            "none": "",
            "revision": revision_code(new.plan),
        },
    )
    return pdf, missing_signs(pages)


def _letter(
    letter: DifferenceLetter, page: int, old: PlanNotices, new: PlanNotices, words: LetterWords
) -> dict[str, Any]:
    begin = _begin(letter, new)
    values = _values(letter, page, old, new, words)
    paragraphs = [words.text("change", _opening(letter), values)] if letter.opening else []
    if letter.opening == Opening.TAKEN_BACK and letter.body != NOT_AFFECTED and new.day:
        paragraphs.append(words.text("change", "works_on", values))
    section = letter.body or NOT_AFFECTED
    own = [words.fill(str(text), values) for text in words.raw(section, "paragraphs")]
    # To an earlier address nothing is said of the gas there: only what holds for everybody.
    paragraphs += own if letter.body else own[-1:]
    doors = [_door(place, letter) for place in letter.places]
    if len(doors) > DOORS_NAMED:
        more = words.text("common", "more", {"count": str(len(doors) - DOORS_NAMED)})
        doors = [*doors[:DOORS_NAMED], more]
    footer = ("change", "footer") if letter.opening else ("common", "footer" if begin else "footer_no_date")
    return {
        **words.setting,
        "to": words.text("common", "to", values),
        "address": [written(line, words) for line in _address(letter)],
        "sender": written(words.text("sender", "sender", values), words),
        "numbers": unbroken_numbers(words),
        "phone-line": words.text("common", "phone_line", values),
        "title": _title(letter, words, values, begin),
        "box": time_box(words, values, begin) if letter.body == "off" else [],
        "paragraphs": paragraphs,
        "doors": [written(door, words) for door in doors],
        "doors-line": words.text("common", "doors_line", values),
        "footer": words.text(*footer, values),
    }


def _begin(letter: DifferenceLetter, new: PlanNotices) -> str:
    """Return when the first of a letter's customers goes off, else the work starts; empty without a date."""
    return min((one.off_from for one in letter.rows if one.off_from), default=new.plan.conditions.start or "")


def _values(
    letter: DifferenceLetter, page: int, old: PlanNotices, new: PlanNotices, words: LetterWords
) -> dict[str, str]:
    # One page for several customers: the first of them to go off, the last to be back.
    rows = letter.rows
    begin = _begin(letter, new)
    back = max((one.on_by for one in rows), default="")
    old_begin = min((one.off_from_before for one in rows if one.off_from_before), default="")
    old_back = max((one.on_by_before for one in rows), default="")
    values = {
        "date": words.date(begin),
        "from": words.time(begin, "no_from"),
        "to": words.time(back, "no_to"),
        "to_date": words.date(back or begin),
        "hours": f"{new.plan.conditions.hours:g}",
        "notice_by": words.date(min((one.notice_by for one in rows if one.notice_by), default="")),
        "address_no": str(letter.address_no),
        "letter_no": str(page),
        "effect": str(words.raw("effects", letter.body)) if letter.body in _EFFECTS else "",
        "old_date": words.date(old_begin or old.day),
        "old_from": words.time(old_begin, "no_from"),
        "old_to": words.time(old_back, "no_to"),
        "old_to_date": words.date(old_back),
    }
    days = "window" if old_begin[:10] == old_back[:10] else "window_days"
    return {**values, "old_window": words.text("change", days, values)}


def _opening(letter: DifferenceLetter) -> str:
    """Return the key of the first paragraph; where the earlier letter named no day, none is repeated."""
    undated = {
        Opening.TAKEN_BACK.value: not any(one.off_from_before for one in letter.rows),
        Opening.NEW_DAY.value: not any(one.day_before for one in letter.rows),
    }
    return f"{letter.opening}_undated" if undated.get(letter.opening, False) else letter.opening


def _title(letter: DifferenceLetter, words: LetterWords, values: Mapping[str, str], begin: str) -> str:
    dated = begin or letter.body not in _EFFECTS
    title = words.text(letter.body or NOT_AFFECTED, "title" if dated else "title_no_date", values)
    key = {
        Opening.TAKEN_BACK.value: "title_taken_back",
        Opening.NEW_TIMES.value: "title_new_times",
        Opening.NEW_DAY.value: "title_new_day",
        _WRONG_ADDRESS: "title_wrong_address",
    }.get(letter.opening)
    if key is None:
        return title
    if key == "title_taken_back" and letter.body in _STANDBY:
        key = "title_taken_back_standby"
    if key == "title_new_day" and not begin:
        key = "title_day_open"
    return words.text("change", key, {**values, "title": title})


def _door(place: NoticePlace, letter: DifferenceLetter) -> str:
    return f"{place.address} ({place.customer_id})" if letter.named else place.address


def _address(letter: DifferenceLetter) -> list[str]:
    first = letter.places[0]
    line = first.address
    if len(letter.places) > 1:
        line = f"{first.number} {first.street}".strip() or first.address
    named = first.customer_id if letter.named and len(letter.places) == 1 else ""
    town = " ".join(part for part in (first.postcode, first.town) if part)
    return [part for part in (line, named, town) if part]
