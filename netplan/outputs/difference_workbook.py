"""The notices of a difference as a spreadsheet and as CSV: a sheet for each thing that changed."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Final

from netplan.outputs.contacts.contact_state import Contact, Contacts
from netplan.outputs.notice_differences import Change, NoticeDifference, effect_words
from netplan.outputs.notice_list import NoticeRow
from netplan.outputs.notice_workbook import CONTACTS, WORK_TIMES, print_on_paper
from netplan.outputs.notices_csv import spreadsheet_safe
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.workbook_tables import CellFormats, CellKind, SheetColumn, new_workbook, write_table
from netplan.planfile.model import Plan

__all__ = ["CHANGE_SHEETS", "HOLDS_SHEET", "DifferenceFacts", "differences_csv", "write_differences_xlsx"]

CHANGE_SHEETS: Final = {
    "Goes off": (Change.GOES_OFF,),
    "No longer off": (Change.NO_LONGER_OFF,),
    "Times changed": (Change.TIMES,),
    "Kept": (Change.NOW_KEPT, Change.NO_LONGER_KEPT),
    "Standby": (Change.NOW_STANDBY, Change.NO_LONGER_STANDBY),
    "In doubt": (Change.NOW_IN_DOUBT, Change.NO_LONGER_IN_DOUBT),
    "Day moved": (Change.DAY_MOVED,),
    "Address changed": (Change.ADDRESS,),
}
"""Sheets with the changes of their rows: each meter point stands on one, that of its first change."""

HOLDS_SHEET: Final = "Still holds"
"""Sheet of those for whom nothing changed, with what is known of their letters."""


@dataclass(frozen=True, slots=True)
class DifferenceFacts:
    """What the first sheet says of the two plans.

    Parameters
    ----------
    old_name, new_name : str
        Folders of the plans.
    old, new : Plan
    old_option, new_option : int
        Ranks of the options that are compared.
    revision : str
        Code of the new plan.
    told : Contacts
        Who was told by the new plan: of those for whom nothing changed, by the old plan's logs too.
    notes : tuple of str
        What the notice team must know besides, a line each.
    units : Figures
        How figures are written, and on which paper.
    """

    old_name: str
    new_name: str
    old: Plan
    new: Plan
    old_option: int
    new_option: int
    revision: str
    told: Contacts
    notes: tuple[str, ...]
    units: Figures = METRIC


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """A row as it is written; its fields are the columns of the CSV file."""

    changes: str
    letter: str
    letter_no: int
    earlier_letter: str
    customer_id: str
    priority: str
    address_no: int
    address: str
    street: str
    number: str
    postcode: str
    town: str
    language: str
    category: str
    meters: int
    effect_before: str
    effect: str
    in_doubt_before: str
    in_doubt: str
    work_date_before: str
    off_from_before: str
    on_by_before: str
    work_date: str
    off_from: str
    on_by: str
    kept_by: str
    notice_by: str
    relit: int
    old_address: str
    told_on: str
    told_by: str
    how: str
    no_access: str
    plan: str


_DATE, _TIME, _NUMBER = CellKind.DATE, CellKind.TIME, CellKind.NUMBER
_FILLED: Final = ("told_on", "told_by", "how", "no_access")
_CONTACT_COLUMNS: Final = tuple(
    SheetColumn(column.title, name, column.width, column.kind, column.words)
    for column, name in zip(CONTACTS, _FILLED, strict=True)
)
_WHO: Final = (
    SheetColumn("Priority", "priority", 12),
    SheetColumn("Address no.", "address_no", 8, _NUMBER),
    SheetColumn("Address", "address", 25),
    SheetColumn("Postcode", "postcode", 9),
    SheetColumn("Town", "town", 14),
    SheetColumn("Meters", "meters", 7, _NUMBER),
)
_LAST: Final = (
    SheetColumn("Notice by", "notice_by", 11, _DATE),
    SheetColumn("Language", "language", 9),
    SheetColumn("Meter point", "customer_id", 13),
    *_CONTACT_COLUMNS,
    SheetColumn("Plan", "plan", 12),
)
_COLUMNS: Final = (
    SheetColumn("Letter no.", "letter_no", 7, _NUMBER),
    SheetColumn("Letter", "letter", 19),
    SheetColumn("What changed", "changes", 15),
    *_WHO,
    SheetColumn("Effect before", "effect_before", 12),
    SheetColumn("Effect now", "effect", 12),
    SheetColumn("In doubt before", "in_doubt_before", 8),
    SheetColumn("In doubt now", "in_doubt", 8),
    SheetColumn("Work date before", "work_date_before", 11, _DATE),
    SheetColumn("Off date before", "off_from_before", 11, _DATE),
    SheetColumn("Off from before", "off_from_before", 8, _TIME),
    SheetColumn("On date before", "on_by_before", 11, _DATE),
    SheetColumn("On by before", "on_by_before", 8, _TIME),
    *WORK_TIMES,
    SheetColumn("Kept by", "kept_by", 9),
    SheetColumn("Relit as no.", "relit", 7, _NUMBER),
    SheetColumn("Earlier letter", "earlier_letter", 18),
    SheetColumn("Old address", "old_address", 24),
    *_LAST,
)
_ALWAYS: Final = frozenset({"Letter no.", "Priority", *(column.title for column in _LAST)})
"""Columns of every sheet; others are left out where no row says anything in them: paper is narrow."""
_HOLDS_COLUMNS: Final = (*_WHO, SheetColumn("Effect now", "effect", 12), *WORK_TIMES, *_LAST)
_LINE_POINTS: Final = 15.0
"""Height of a line of text [pt]."""
_HEADS: Final = ("What changed", "Addresses", "Meter points", "Meters", "Priority", "Letters")


def _line(one: NoticeDifference, page: int, contact: Contact, revision: str) -> DifferenceLine:
    place, old = one.place, one.old_place
    return DifferenceLine(
        changes="; ".join(one.changes),
        letter=one.letter,
        letter_no=page,
        earlier_letter=one.earlier_letter,
        customer_id=place.customer_id,
        priority=place.priority,
        address_no=one.address_no,
        address=place.address,
        street=place.street,
        number=place.number,
        postcode=place.postcode,
        town=place.town,
        language=place.language,
        category=place.category,
        meters=place.meters,
        effect_before=effect_words(one.before),
        effect=effect_words(one.now),
        in_doubt_before="yes" if one.in_doubt_before else "",
        in_doubt="yes" if one.in_doubt_now else "",
        work_date_before=one.day_before if one.day_before != one.day else "",
        off_from_before=one.off_from_before,
        on_by_before=one.on_by_before,
        work_date=one.day,
        off_from=one.off_from,
        on_by=one.on_by,
        kept_by=one.kept_by,
        notice_by=one.notice_by,
        relit=one.relit,
        old_address="" if old is None else ", ".join(filter(None, (old.address, old.postcode, old.town))),
        told_on=contact.day,
        told_by=contact.told_by,
        how=contact.how,
        no_access=contact.note,
        plan=revision,
    )


def _holding_line(row: NoticeRow, contact: Contact, revision: str) -> DifferenceLine:
    effect = effect_words(row.letter)
    return DifferenceLine(
        changes="",
        letter="none: the earlier letter holds",
        letter_no=0,
        earlier_letter=contact.words,
        customer_id=row.customer_id,
        priority=row.priority,
        address_no=row.address_no,
        address=row.address,
        street=row.street,
        number=row.number,
        postcode=row.postcode,
        town=row.town,
        language=row.language,
        category=row.category,
        meters=row.meters,
        effect_before=effect,
        effect=effect,
        in_doubt_before="",
        in_doubt="",
        work_date_before=row.work_date,
        off_from_before=row.off_from,
        on_by_before=row.on_by,
        work_date=row.work_date,
        off_from=row.off_from,
        on_by=row.on_by,
        kept_by=row.kept_by,
        notice_by=row.notice_by,
        relit=row.relit,
        old_address="",
        told_on=contact.day,
        told_by=contact.told_by,
        how=contact.how,
        no_access=contact.note,
        plan=revision,
    )


def write_differences_xlsx(
    path: Path,
    rows: Sequence[NoticeDifference],
    holding: Sequence[NoticeRow],
    pages: Mapping[str, int],
    facts: DifferenceFacts,
) -> None:
    """Write the notices of a difference as a spreadsheet.

    Parameters
    ----------
    path : Path
        File to make.
    rows : sequence of NoticeDifference
        As `notice_differences` returns them.
    holding : sequence of NoticeRow
        As `still_holding` returns them: their contacts stand there already, so that the list returned for the
        new plan holds them.
    pages : mapping of str to int
        Page of the letter of each meter point, from 1.
    facts : DifferenceFacts
    """
    with new_workbook(path, "Notices of a difference") as (book, formats):
        totals = book.add_worksheet("Totals")
        for title, changes in CHANGE_SHEETS.items():
            own = [one for one in rows if one.main_change in changes]
            lines = [_line_of(one, pages, facts) for one in own]
            _sheet(book.add_worksheet(title), lines, _spoken(_COLUMNS, lines), facts, formats)
        held = [_holding_line(row, facts.told.of(row.customer_id), facts.revision) for row in holding]
        _sheet(book.add_worksheet(HOLDS_SHEET), held, _spoken(_HOLDS_COLUMNS, held), facts, formats)
        _totals(totals, rows, len(held), pages, facts, formats)


def _spoken(columns: Sequence[SheetColumn], lines: Sequence[DifferenceLine]) -> tuple[SheetColumn, ...]:
    """Return the columns that say something in any row, and those that every sheet has."""
    if not lines:
        return tuple(columns)
    return tuple(
        column
        for column in columns
        if column.title in _ALWAYS or any(getattr(line, column.name) not in ("", 0) for line in lines)
    )


def _line_of(one: NoticeDifference, pages: Mapping[str, int], facts: DifferenceFacts) -> DifferenceLine:
    return _line(one, pages.get(one.customer_id, 0), facts.told.of(one.customer_id), facts.revision)


def _sheet(
    sheet: Any,
    lines: Sequence[DifferenceLine],
    columns: Sequence[SheetColumn],
    facts: DifferenceFacts,
    formats: CellFormats,
) -> None:
    write_table(sheet, lines, columns, formats)
    # Not every program makes room for the lines of a cell by itself.
    sheet.set_row(0, _LINE_POINTS * max(_rows_of(column.title, column.width) for column in columns))
    texts = [column for column in columns if column.kind is CellKind.TEXT]
    for place, line in enumerate(lines, 1):
        most = max(_rows_of(str(getattr(line, column.name)), column.width) for column in texts)
        sheet.set_row(place, _LINE_POINTS * most)
    print_on_paper(sheet, facts.new, facts.units)


def _rows_of(text: str, width: float) -> int:
    """Return into how many lines a text falls in a column so many characters wide, broken at blanks."""
    rows, room = 1, 0.0
    for word in text.split():
        if room and room + 1 + len(word) > width:
            rows, room = rows + 1, 0.0
        room += len(word) + (1 if room else 0)
    return rows


def _totals(
    sheet: Any,
    rows: Sequence[NoticeDifference],
    holding: int,
    pages: Mapping[str, int],
    facts: DifferenceFacts,
    formats: CellFormats,
) -> None:
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, len(_HEADS) - 1, 14)
    sheet.write_string(0, 0, "Notices of the difference between two plans", formats.strong)
    for line, (word, name, plan, option) in enumerate(
        (
            ("old", facts.old_name, facts.old, facts.old_option),
            ("new", facts.new_name, facts.new, facts.new_option),
        ),
        1,
    ):
        start = (plan.conditions.start or "any working day").replace("T", " ")
        text = f"{word} plan: {name}, option {option}; {start}, {plan.conditions.hours:g} h"
        sheet.write_string(line, 0, text + (f"; revision {facts.revision}" if word == "new" else ""))
    work = ", ".join(
        f"{w.main_id} {facts.units.length(w.from_m)} to {facts.units.length(w.to_m)}" for w in facts.new.work
    )
    sheet.write_string(3, 0, f"Work on {work}")
    sheet.merge_range(4, 0, 4, len(_HEADS) - 1, "", formats.wrap)
    sheet.write_string(4, 0, facts.new.caution, formats.wrap)
    sheet.set_row(4, 48)
    for column, title in enumerate(_HEADS):
        sheet.write_string(6, column, title, formats.head)
    line = 7
    for change in Change:
        _total(sheet, line, change.value, [one for one in rows if change in one.changes], pages, formats)
        line += 1
    _total(sheet, line, "everybody", rows, pages, formats)
    words = f"Each meter point stands on one sheet, that of its first change; {holding} on {HOLDS_SHEET!r}."
    for place, note in enumerate((words, *facts.notes), line + 2):
        sheet.merge_range(place, 0, place, len(_HEADS) - 1, "", formats.wrap)
        sheet.write_string(place, 0, note, formats.wrap)
        sheet.set_row(place, 15 * (1 + len(note) // 90))
    print_on_paper(sheet, facts.new, facts.units)


def _total(
    sheet: Any,
    line: int,
    title: str,
    own: Sequence[NoticeDifference],
    pages: Mapping[str, int],
    formats: CellFormats,
) -> None:
    sheet.write_string(line, 0, title, formats.text)
    for column, count in enumerate(
        (
            len({one.address_no for one in own}),
            len(own),
            sum(one.place.meters for one in own),
            sum(bool(one.place.priority) for one in own),
            len({pages[one.customer_id] for one in own if one.customer_id in pages}),
        ),
        1,
    ):
        sheet.write_number(line, column, count, formats.number)


def differences_csv(
    rows: Sequence[NoticeDifference], pages: Mapping[str, int], facts: DifferenceFacts
) -> str:
    """Return the notices of a difference as CSV: UTF-8 with a byte order mark, one meter point a row."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    names = [field.name for field in fields(DifferenceLine)]
    writer.writerow(names)
    for one in rows:
        values = asdict(_line_of(one, pages, facts))
        writer.writerow([spreadsheet_safe(v) if isinstance(v := values[name], str) else v for name in names])
    return "\ufeff" + buffer.getvalue()
