"""A notice list that came back filled in, as a contact log: what is wrong is said with sheet and cell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from netplan.core.errors import BadInputError, quoted
from netplan.outputs.contacts.contact_cells import day_in, is_ticked, text_of_cell
from netplan.outputs.contacts.spreadsheet_rows import Sheet
from netplan.planfile.contact_log import ContactEntry

__all__ = ["CONTACT_COLUMNS", "REVISION_COLUMN", "ListContext", "has_contact_columns", "returned_entries"]

CONTACT_COLUMNS: Final = ("Told on", "Told by", "How", "No access")
"""Columns that the notice team fills in."""
POINT_COLUMN: Final = "Meter point"
REVISION_COLUMN: Final = "Plan"
"""Column with the revision of the plan that a list is of."""

_OTHER_NAMES: Final = {"customer_id": "meter point"}
_HEAD_ROWS: Final = 25
"""Rows within which a sheet's head is looked for (own)."""


@dataclass(frozen=True, slots=True)
class ListContext:
    """What a returned list is checked against.

    Parameters
    ----------
    meter_points : frozenset of str
        Those of the plan.
    revision : str
        Code of the plan; empty where it is not checked.
    work_day : date or None
        Day of the work: nobody is told after it.
    where : str
        The file, for messages.
    """

    meter_points: frozenset[str]
    revision: str
    work_day: date | None
    where: str


def has_contact_columns(sheets: Sequence[Sheet]) -> bool:
    """Whether any sheet has the column of meter points and one that the notice team fills in."""
    return any(_head_of(sheet) is not None for sheet in sheets)


def returned_entries(sheets: Sequence[Sheet], context: ListContext) -> tuple[ContactEntry, ...]:
    """Return what the rows of a returned list say; rows of one meter point that say the same once.

    Parameters
    ----------
    sheets : sequence of Sheet
    context : ListContext

    Raises
    ------
    BadInputError
        When no sheet has the columns, a meter point or the plan is another one, or a cell makes no sense.
    """
    heads = [(sheet, head) for sheet in sheets if (head := _head_of(sheet)) is not None]
    if not heads:
        raise BadInputError(
            f"{context.where}: no sheet has the columns {POINT_COLUMN!r} and {CONTACT_COLUMNS[0]!r}; "
            "give the filled-in notices.xlsx, or a CSV of one of its sheets"
        )
    entries = [entry for sheet, head in heads for entry in _entries(sheet, head, context)]
    return tuple(_each_once(entries))


def _each_once(entries: Sequence[ContactEntry]) -> Iterator[ContactEntry]:
    """Yield the entries without those that only say again, or nothing where another row says something."""
    spoken = {entry.meter_point for entry in entries if not entry.is_blank}
    seen = set()
    for entry in entries:
        if entry.is_blank and entry.meter_point in spoken:
            continue
        key = entry.model_dump_json(exclude={"where"})
        if key not in seen:
            seen.add(key)
            yield entry


def _plain(value: Any) -> str:
    text = " ".join(text_of_cell(value).replace("_", " ").split()).casefold()
    return _OTHER_NAMES.get(text.replace(" ", "_"), text)


def _head_of(sheet: Sheet) -> tuple[int, dict[str, int]] | None:
    """Return the row of the head, from 0, and the column of each name; None without the columns."""
    for number, row in enumerate(sheet.rows[:_HEAD_ROWS]):
        names: dict[str, int] = {}
        for column, cell in enumerate(row):
            names.setdefault(_plain(cell), column)
        if _plain(POINT_COLUMN) in names and any(_plain(name) in names for name in CONTACT_COLUMNS):
            return number, names
    return None


def _entries(
    sheet: Sheet, head: tuple[int, Mapping[str, int]], context: ListContext
) -> Iterator[ContactEntry]:
    first, names = head
    missing = [name for name in CONTACT_COLUMNS if _plain(name) not in names]
    if missing:
        raise BadInputError(
            f"{context.where}: {_sheet_words(sheet)}has no column {missing[0]!r}; "
            "put it back as it was in notices.xlsx"
        )
    for number, row in enumerate(sheet.rows[first + 1 :], first + 2):
        reader = _RowReader(sheet, row, number, names, context)
        if any(cell is not None for cell in row):
            entry = reader.entry()
            if entry is not None:
                yield entry


@dataclass(frozen=True, slots=True)
class _RowReader:
    """Reads the cells of one row."""

    sheet: Sheet
    row: tuple[Any, ...]
    number: int
    names: Mapping[str, int]
    context: ListContext

    def cell(self, name: str) -> Any:
        column = self.names.get(_plain(name), len(self.row))
        return self.row[column] if column < len(self.row) else None

    def place(self, name: str) -> str:
        column = _letters(self.names[_plain(name)])
        return f"{_sheet_words(self.sheet)}cell {column}{self.number}"

    def refuse(self, name: str, what: str, remedy: str) -> BadInputError:
        return BadInputError(f"{self.context.where}: {self.place(name)}: {what}; {remedy}")

    def entry(self) -> ContactEntry | None:
        texts = [text_of_cell(self.cell(name)) for name in CONTACT_COLUMNS]
        point = self._point(spoken=any(texts))
        if point is None:
            return None
        self._check_revision()
        told_on = self._day()
        ticked = is_ticked(texts[3])
        if told_on is None and not ticked and texts[1]:
            raise self.refuse(
                CONTACT_COLUMNS[0],
                f"{point} was told by {quoted(texts[1])}, and no day stands here",
                "write the day, such as 2027-03-09",
            )
        return ContactEntry(
            meter_point=point,
            told_on=None if told_on is None else told_on.isoformat(),
            told_by=texts[1],
            how=texts[2],
            no_access=ticked,
            no_access_note=texts[3] if ticked else "",
            where=self.place(POINT_COLUMN).replace("cell ", ""),
        )

    def _point(self, *, spoken: bool) -> str | None:
        """Return the meter point; None for a row of another kind, such as totals, that says nothing."""
        value = self.cell(POINT_COLUMN)
        text = str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)
        text = "" if value is None else text
        # notices.csv keeps a text that looks like a formula behind an apostrophe.
        for known in (text, text.strip(), text.strip().removeprefix("'")):
            if known in self.context.meter_points:
                return known
        if text.strip() and self._is_let_go():
            return text
        if not text.strip():
            if not spoken:
                return None
            raise self.refuse(POINT_COLUMN, "no meter point stands here", "give the row its meter point")
        raise self.refuse(
            POINT_COLUMN,
            f"the plan has no meter point {quoted(text)}",
            "give the list of this plan, with its meter points as they were",
        )

    def _is_let_go(self) -> bool:
        """Whether the row is of a difference, of one whom this plan leaves alone: it may not know them."""
        said = {text_of_cell(self.cell(name)) for name in ("Effect now", "effect")}
        ours = (
            bool(self.context.revision) and text_of_cell(self.cell(REVISION_COLUMN)) == self.context.revision
        )
        return ours and "not affected" in said

    def _check_revision(self) -> None:
        wanted, said = self.context.revision, text_of_cell(self.cell(REVISION_COLUMN))
        if wanted and said and said != wanted:
            raise self.refuse(
                REVISION_COLUMN,
                f"the list is of plan {quoted(said)}, the one in the folder is {wanted}",
                "give the folder that the list is of",
            )

    def _day(self) -> date | None:
        name = CONTACT_COLUMNS[0]
        value = self.cell(name)
        try:
            found = day_in(value, self.sheet.day_zero)
        except ValueError as error:
            raise self.refuse(
                name, f"{quoted(text_of_cell(value))} {error}", "write the day, such as 2027-03-09"
            ) from None
        latest = self.context.work_day
        if found is not None and latest is not None and found > latest:
            raise self.refuse(name, f"{found} is after the day of the work, {latest}", "correct the day")
        return found


def _sheet_words(sheet: Sheet) -> str:
    return f"sheet {sheet.name}, " if sheet.name else ""


def _letters(column: int) -> str:
    """Return the letters of a column, from 0."""
    text = ""
    number = column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text
