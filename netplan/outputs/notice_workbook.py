"""notices.xlsx: a sheet for mail merge and contacts, one for each effect, and totals that must agree."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from textwrap import wrap
from typing import Any, Final

from netplan.outputs.notice_list import EFFECTS, NoticeRow
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.workbook_tables import (
    CellFormats,
    CellKind,
    SheetColumn,
    column_letter,
    column_range,
    new_workbook,
    write_table,
)
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.revision import revision_code

__all__ = [
    "CONTACTS",
    "DOUBT_SHEET",
    "MERGE_COLUMNS",
    "MERGE_SHEET",
    "SHEETS",
    "WORK_TIMES",
    "print_on_paper",
    "write_notices_xlsx",
]

MERGE_SHEET: Final = "Mail merge"
"""Sheet with every meter point once: for mail merge, and to be filled in with who was told."""

SHEETS: Final = {"off": "Off", "kept": "Kept", "standby": "Standby"}
"""Sheet of each effect."""

DOUBT_SHEET: Final = "In doubt"
"""Sheet of those who would lose gas if a doubtful record were otherwise: never among the effects."""

_EXPLAINED: Final = {
    "off": "no gas until relit",
    "kept": "gas stays on, through a bypass or an opened valve",
    "standby": "goes off only if a planned stop fails and its fallback is used; some kept customers are "
    "among them",
}
_DATE, _TIME = CellKind.DATE, CellKind.TIME
_PLACE: Final = (
    SheetColumn("Address no.", "address_no", 9, CellKind.NUMBER),
    SheetColumn("Address", "address", 34),
    SheetColumn("Street", "street", 24),
    SheetColumn("Number", "number", 9),
    SheetColumn("Postcode", "postcode", 11),
    SheetColumn("Town", "town", 16),
)
WORK_TIMES: Final = (
    SheetColumn("Work date", "work_date", 11, _DATE),
    SheetColumn("Off date", "off_from", 11, _DATE),
    SheetColumn("Off from", "off_from", 7, _TIME),
    SheetColumn("On date", "on_by", 11, _DATE),
    SheetColumn("On by", "on_by", 7, _TIME),
)
"""Columns of the day of the work, and of when somebody goes off and is back."""
_NOTICE: Final = (
    SheetColumn("Notice by", "notice_by", 11, _DATE),
    SheetColumn("Language", "language", 10),
    SheetColumn("Meter point", "customer_id", 14),
    SheetColumn("Standby", "standby", 9),
    SheetColumn("Relit as no.", "relit", 9, CellKind.NUMBER),
)
_COLUMNS: Final = (
    SheetColumn("Priority", "priority", 13),
    *_PLACE,
    SheetColumn("Category", "category", 12),
    SheetColumn("Meters", "meters", 8, CellKind.NUMBER),
    *WORK_TIMES,
    SheetColumn("Kept by", "kept_by", 10),
    SheetColumn("Cause", "cause", 15),
    *_NOTICE,
)
CONTACTS: Final = (
    SheetColumn("Told on", "", 11, CellKind.FILL_DATE),
    SheetColumn("Told by", "", 14, CellKind.FILL_TEXT),
    SheetColumn("How", "", 13, CellKind.FILL_WORD, ("letter", "in person", "telephone")),
    SheetColumn("No access", "", 9, CellKind.FILL_YES_NO),
)
"""Columns of the sheet for mail merge that the notice team fills in."""

MERGE_COLUMNS: Final = (
    SheetColumn("Letter no.", "letter_no", 8, CellKind.NUMBER),
    SheetColumn("Letter", "letter", 13),
    SheetColumn("Effect", "effect", 9),
    SheetColumn("Priority", "priority", 13),
    *_PLACE,
    SheetColumn("Meters", "meters", 8, CellKind.NUMBER),
    *WORK_TIMES,
    *_NOTICE,
    *CONTACTS,
    SheetColumn("Plan", "plan", 11),
)
"""Columns of the sheet for mail merge; the last is the revision of the plan, by which a list that comes back
filled in is known."""

_DOUBT_COLUMNS: Final = (
    SheetColumn("Priority", "priority", 13),
    SheetColumn("Address", "address", 34),
    SheetColumn("Meters", "meters", 8, CellKind.NUMBER),
    SheetColumn("Layer of the record", "layer", 13),
    SheetColumn("Record", "record_id", 16),
    SheetColumn("Why in doubt", "why", 70),
    SheetColumn("Meter point", "id", 14),
)
_HEADS: Final = (
    "Effect",
    "Addresses",
    "Meter points",
    "Meters",
    "Priority",
    "Meters by plan",
    "Points told",
    "No access",
    "Meaning",
)
_MEANING: Final = len(_HEADS) - 1
_PAPER_CODES: Final = {"us-letter": 1, "a4": 9}
"""Numbers of sizes of paper in a spreadsheet."""


def write_notices_xlsx(
    path: Path,
    plan: Plan,
    rows: Sequence[NoticeRow],
    rank: int = 1,
    notes: Sequence[str] = (),
    units: Figures = METRIC,
) -> None:
    """Write the notice list as a spreadsheet; every text is a text cell, never a formula or a link.

    Parameters
    ----------
    path : Path
        File to make.
    plan : Plan
    rows : sequence of NoticeRow
        As `notice_rows` returns them.
    rank : int
        Rank of the option that the rows are of.
    notes : sequence of str
        What the notice team must know besides, a line each below the totals.
    units : Figures
        How figures are written, and on which paper.
    """
    with new_workbook(path, "Notice list") as (book, formats):
        totals = book.add_worksheet("Totals")
        _list(book.add_worksheet(MERGE_SHEET), rows, MERGE_COLUMNS, plan, formats, units)
        for effect in EFFECTS:
            _list(book.add_worksheet(SHEETS[effect]), _listed(rows, effect), _COLUMNS, plan, formats, units)
        doubts = [
            one.model_copy(update={"why": units.sentence(one.why)})
            for one in option_of_rank(plan, rank).in_doubt
        ]
        _list(book.add_worksheet(DOUBT_SHEET), doubts, _DOUBT_COLUMNS, plan, formats, units)
        _totals(totals, plan, rows, rank, formats, notes, units)


def _listed(rows: Sequence[NoticeRow], effect: str) -> list[NoticeRow]:
    """Return the rows of a sheet: a kept customer on standby stands on both."""
    if effect == "standby":
        return [row for row in rows if row.standby]
    return [row for row in rows if row.effect == effect]


def _list(
    sheet: Any,
    rows: Sequence[Any],
    columns: Sequence[SheetColumn],
    plan: Plan,
    formats: CellFormats,
    units: Figures,
) -> None:
    write_table(sheet, rows, columns, formats)
    print_on_paper(sheet, plan, units)


def print_on_paper(sheet: Any, plan: Plan, units: Figures) -> None:
    """Fit a sheet to the width of the paper, its head on every page, the caution at the foot."""
    sheet.set_landscape()
    sheet.set_paper(_PAPER_CODES[units.paper])
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    # An ampersand starts a code in a footer; 255 characters is all that a footer may hold.
    caution = plan.caution.replace("&", "&&")
    # Two lines: in one it would run into what stands on the right.
    lines = "\n".join(wrap(caution, 100)[:2])
    sheet.set_footer(f"&L&8{lines}&R&8&A, revision {revision_code(plan)}, page &P of &N")


def _totals(
    sheet: Any,
    plan: Plan,
    rows: Sequence[NoticeRow],
    rank: int,
    formats: CellFormats,
    notes: Sequence[str],
    units: Figures,
) -> None:
    sheet.set_column(0, 0, 12)
    sheet.set_column(1, _MEANING - 1, 14)
    sheet.set_column(_MEANING, _MEANING, 80)
    sheet.write_string(0, 0, f"Notice list, option {rank}, revision {revision_code(plan)}", formats.strong)
    work = ", ".join(f"{w.main_id} {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work)
    start = (plan.conditions.start or "any working day").replace("T", " ")
    sheet.write_string(1, 0, f"Work on {work}; {start}, {plan.conditions.hours:g} h")
    sheet.merge_range(2, 0, 2, _MEANING, "", formats.wrap)
    sheet.write_string(2, 0, plan.caution, formats.wrap)
    sheet.set_row(2, 34)
    for column, title in enumerate(_HEADS):
        sheet.write_string(4, column, title, formats.head)
    by_plan = _meters_by_plan(plan, rows, rank)
    for line, effect in enumerate(EFFECTS, 5):
        own = _listed(rows, effect)
        _total(sheet, line, SHEETS[effect], own, _COLUMNS, by_plan[effect], formats)
        _contacts(sheet, line, effect, rows, formats)
        sheet.write_string(line, _MEANING, _EXPLAINED[effect], formats.text)
    line = 5 + len(EFFECTS)
    everybody = by_plan["off"] + by_plan["kept"] + sum(r.meters for r in rows if r.effect == "standby")
    _total(sheet, line, MERGE_SHEET, rows, MERGE_COLUMNS, everybody, formats)
    _contacts(sheet, line, "", rows, formats)
    words = "every meter point once, with its letter; fill in there who was told"
    sheet.write_string(line, _MEANING, words, formats.text)
    _total_in_doubt(sheet, line + 1, plan, rank, formats)
    for place, note in enumerate(notes, line + 3):
        sheet.merge_range(place, 0, place, _MEANING, "", formats.wrap)
        sheet.write_string(place, 0, note, formats.wrap)
    print_on_paper(sheet, plan, units)


def _total(
    sheet: Any,
    line: int,
    tab: str,
    own: Sequence[NoticeRow],
    columns: Sequence[SheetColumn],
    by_plan: int,
    formats: CellFormats,
) -> None:
    point, meters = (column_letter(columns, title) for title in ("Meter point", "Meters"))
    sheet.write_string(line, 0, tab, formats.text)
    sheet.write_number(line, 1, len({row.address_no for row in own}), formats.number)
    _formula(sheet, line, 2, f"=COUNTA('{tab}'!{point}:{point})-1", len(own), formats)
    _formula(sheet, line, 3, f"=SUM('{tab}'!{meters}:{meters})", sum(row.meters for row in own), formats)
    priority = f'=COUNTIF({column_range(tab, columns, "Priority", len(own))},"?*")'
    _formula(sheet, line, 4, priority, sum(bool(row.priority) for row in own), formats)
    sheet.write_number(line, 5, by_plan, formats.number)


def _contacts(sheet: Any, line: int, effect: str, rows: Sequence[NoticeRow], formats: CellFormats) -> None:
    """Count who was told, and where nobody opened, as they are filled in on the sheet for mail merge."""

    def cells(title: str) -> str:
        return column_range(MERGE_SHEET, MERGE_COLUMNS, title, len(rows))

    of_effect = {
        "": "",
        "standby": f'{cells("Standby")},"yes",',
    }.get(effect, f'{cells("Effect")},"{effect}",')
    _formula(sheet, line, 6, f'=COUNTIFS({of_effect}{cells("Told on")},">0")', 0, formats)
    _formula(sheet, line, 7, f'=COUNTIFS({of_effect}{cells("No access")},"yes")', 0, formats)


def _total_in_doubt(sheet: Any, line: int, plan: Plan, rank: int, formats: CellFormats) -> None:
    own = {row.id: row for row in option_of_rank(plan, rank).in_doubt}.values()
    meters = sum(row.meters for row in own)
    sheet.write_string(line, 0, DOUBT_SHEET, formats.text)
    sheet.write_number(line, 1, len({row.address for row in own}), formats.number)
    sheet.write_number(line, 2, len(own), formats.number)
    sheet.write_number(line, 3, meters, formats.number)
    sheet.write_number(line, 4, sum(bool(row.priority) for row in own), formats.number)
    sheet.write_number(line, 5, meters, formats.number)
    sheet.write_string(
        line,
        _MEANING,
        "not off by the plan; would lose gas if a doubtful record is wrong: prove it first",
        formats.text,
    )


def _meters_by_plan(plan: Plan, rows: Sequence[NoticeRow], rank: int) -> dict[str, int]:
    customers = option_of_rank(plan, rank).customers
    counted = {e: sum(c.meters for c in customers if c.effect == e) for e in ("off", "kept")}
    # The plan names standby customers without their meters.
    return counted | {"standby": sum(row.meters for row in rows if row.standby)}


def _formula(sheet: Any, line: int, column: int, formula: str, value: int, formats: CellFormats) -> None:
    sheet.write_formula(line, column, formula, formats.number, value)
