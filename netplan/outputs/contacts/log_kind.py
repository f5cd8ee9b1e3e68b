"""Which kind a returned log is, told by what it holds.

Loads nothing large: a file of another kind is refused at once.
"""

from __future__ import annotations

from pathlib import Path

from netplan.outputs.contacts.returned_list import has_contact_columns
from netplan.outputs.contacts.spreadsheet_rows import Sheet, bytes_of, is_spreadsheet, sheets_of

__all__ = ["returned_sheets"]


def returned_sheets(path: Path) -> tuple[Sheet, ...] | None:
    """Return the sheets of a returned notice list; None for a log of another kind.

    A spreadsheet is one whatever it holds; a text is one where it has the columns of a notice list.

    Parameters
    ----------
    path : Path

    Raises
    ------
    BadInputError
        When it cannot be read, or is a spreadsheet that cannot be opened.
    """
    if not path.is_file():  # a pipe can be read once
        return None
    held = bytes_of(path)
    if is_spreadsheet(held):
        return sheets_of(held, str(path))
    if held.lstrip()[:1] in (b"{", b"[", b'"', b""):
        return None
    sheets = sheets_of(held, str(path))
    return sheets if has_contact_columns(sheets) else None
