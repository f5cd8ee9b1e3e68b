"""notices.xlsx: one sheet for each effect, and totals that must agree with the plan."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import xlsxwriter

from netplan.outputs.notice_list import EFFECTS, NoticeRow
from netplan.planfile.model import InDoubt, Plan
from netplan.planfile.plan_json import option_of_rank
from netplan.planfile.revision import revision_code

__all__ = ["DOUBT_SHEET", "SHEETS", "write_notices_xlsx"]

SHEETS: Final = {"off": "Off", "kept": "Kept", "standby": "Standby"}
"""Sheet of each effect."""

DOUBT_SHEET: Final = "In doubt"
"""Sheet of those who would lose gas if a doubtful record were otherwise: never among the effects."""

_EXPLAINED: Final = {
    "off": "no gas until relit",
    "kept": "fed all the time, by a bypass or an opened valve",
    "standby": "goes off only if a planned stop fails and its fallback is used; kept ones are among them",
}
_COLUMNS: Final = (
    ("Priority", "priority", 13),
    ("Address no.", "address_no", 9),
    ("Address", "address", 34),
    ("Street", "street", 24),
    ("Number", "number", 9),
    ("Postcode", "postcode", 11),
    ("Category", "category", 12),
    ("Meters", "meters", 8),
    ("Off from", "off_from", 16),
    ("On by", "on_by", 16),
    ("Kept by", "kept_by", 10),
    ("Cause", "cause", 15),
    ("Notice by", "notice_by", 12),
    ("Language", "language", 10),
    ("Meter point", "customer_id", 14),
    ("Standby", "standby", 9),
    ("Relit as no.", "relit", 9),
)
_DOUBT_COLUMNS: Final = (
    ("Priority", "priority", 13),
    ("Address", "address", 34),
    ("Meters", "meters", 8),
    ("Layer of the record", "layer", 13),
    ("Record", "record_id", 16),
    ("Why in doubt", "why", 70),
    ("Meter point", "id", 14),
)
_TIMES: Final = frozenset({"off_from", "on_by"})
_METERS_COLUMN: Final = "H"
_PRIORITY_COLUMN: Final = "A"
_POINT_COLUMN: Final = "O"
_MADE: Final = datetime(2000, 1, 1)


@dataclass(frozen=True, slots=True)
class CellFormats:
    """The few cell formats of the book."""

    head: Any
    text: Any
    number: Any
    strong: Any
    wrap: Any


_OPTIONS: Final = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}


def write_notices_xlsx(path: Path, plan: Plan, rows: Sequence[NoticeRow], rank: int = 1) -> None:
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
    """
    # In memory first: an archive that a full disk breaks off would complain once more as it is thrown away.
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, _OPTIONS) as book:
        book.set_properties({"title": "Notice list", "created": _MADE})
        formats = _formats(book)
        totals = book.add_worksheet("Totals")
        for effect in EFFECTS:
            _list(book.add_worksheet(SHEETS[effect]), _listed(rows, effect), plan, formats)
        _doubts(book.add_worksheet(DOUBT_SHEET), option_of_rank(plan, rank).in_doubt, plan, formats)
        _totals(totals, plan, rows, rank, formats)
    path.write_bytes(made.getvalue())


def _listed(rows: Sequence[NoticeRow], effect: str) -> list[NoticeRow]:
    """Return the rows of a sheet: a kept customer on standby stands on both."""
    if effect == "standby":
        return [row for row in rows if row.standby]
    return [row for row in rows if row.effect == effect]


def _formats(book: Any) -> CellFormats:
    line = {"bottom": 4, "valign": "top"}
    return CellFormats(
        head=book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        text=book.add_format({**line, "num_format": "@", "text_wrap": True}),
        number=book.add_format({**line, "num_format": "0"}),
        strong=book.add_format({"bold": True, "font_size": 14}),
        wrap=book.add_format({"text_wrap": True, "valign": "top"}),
    )


def _list(sheet: Any, rows: Sequence[NoticeRow], plan: Plan, formats: CellFormats) -> None:
    _table(sheet, rows, _COLUMNS, plan, formats)


def _doubts(sheet: Any, rows: Sequence[InDoubt], plan: Plan, formats: CellFormats) -> None:
    """Write a row for each customer and doubtful record."""
    _table(sheet, rows, _DOUBT_COLUMNS, plan, formats)


def _table(
    sheet: Any,
    rows: Sequence[NoticeRow | InDoubt],
    columns: Sequence[tuple[str, str, int]],
    plan: Plan,
    formats: CellFormats,
) -> None:
    for column, (title, _, width) in enumerate(columns):
        sheet.write_string(0, column, title, formats.head)
        sheet.set_column(column, column, width)
    for line, row in enumerate(rows, 1):
        for column, (_, name, _) in enumerate(columns):
            value = getattr(row, name)
            if isinstance(value, int):
                sheet.write_number(line, column, value, formats.number)
            else:
                text = value.replace("T", " ") if name in _TIMES else value
                sheet.write_string(line, column, text, formats.text)
    if rows:
        sheet.autofilter(0, 0, len(rows), len(columns) - 1)
    sheet.freeze_panes(1, 0)
    _paper(sheet, plan)


def _paper(sheet: Any, plan: Plan) -> None:
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    # An ampersand starts a code in a footer; 255 characters is all that a footer may hold.
    caution = plan.caution.replace("&", "&&")
    sheet.set_footer(f"&L&8{caution[:200]}&R&8&A, revision {revision_code(plan)}, page &P of &N")


def _totals(sheet: Any, plan: Plan, rows: Sequence[NoticeRow], rank: int, formats: CellFormats) -> None:
    sheet.set_column(0, 0, 12)
    sheet.set_column(1, 5, 14)
    sheet.set_column(6, 6, 60)
    sheet.write_string(0, 0, f"Notice list, option {rank}, revision {revision_code(plan)}", formats.strong)
    work = ", ".join(f"{w.main_id} {w.from_m:.1f} m to {w.to_m:.1f} m" for w in plan.work)
    start = (plan.conditions.start or "any working day").replace("T", " ")
    sheet.write_string(1, 0, f"Work on {work}; {start}, {plan.conditions.hours:g} h")
    sheet.merge_range(2, 0, 2, 6, "", formats.wrap)
    sheet.write_string(2, 0, plan.caution, formats.wrap)
    sheet.set_row(2, 34)
    for column, title in enumerate(
        ("Effect", "Addresses", "Meter points", "Meters", "Priority", "Meters by plan", "Meaning")
    ):
        sheet.write_string(4, column, title, formats.head)
    by_plan = _meters_by_plan(plan, rows, rank)
    for line, effect in enumerate(EFFECTS, 5):
        own = _listed(rows, effect)
        tab = SHEETS[effect]
        sheet.write_string(line, 0, tab, formats.text)
        sheet.write_number(line, 1, len({row.address_no for row in own}), formats.number)
        _formula(sheet, line, 2, f"=COUNTA({tab}!{_POINT_COLUMN}:{_POINT_COLUMN})-1", len(own), formats)
        meters = sum(row.meters for row in own)
        _formula(sheet, line, 3, f"=SUM({tab}!{_METERS_COLUMN}:{_METERS_COLUMN})", meters, formats)
        priority = sum(bool(row.priority) for row in own)
        count = f'=COUNTIF({tab}!{_PRIORITY_COLUMN}2:{_PRIORITY_COLUMN}{len(own) + 2},"?*")'
        _formula(sheet, line, 4, count, priority, formats)
        sheet.write_number(line, 5, by_plan[effect], formats.number)
        sheet.write_string(line, 6, _EXPLAINED[effect], formats.text)
    _total_in_doubt(sheet, 5 + len(EFFECTS), plan, rank, formats)
    _paper(sheet, plan)


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
        6,
        "not off by the plan; would lose gas if a doubtful record were otherwise: prove it first",
        formats.text,
    )


def _meters_by_plan(plan: Plan, rows: Sequence[NoticeRow], rank: int) -> dict[str, int]:
    customers = option_of_rank(plan, rank).customers
    counted = {e: sum(c.meters for c in customers if c.effect == e) for e in ("off", "kept")}
    # The plan names standby customers without their meters.
    return counted | {"standby": sum(row.meters for row in rows if row.standby)}


def _formula(sheet: Any, line: int, column: int, formula: str, value: int, formats: CellFormats) -> None:
    sheet.write_formula(line, column, formula, formats.number, value)
