"""What was not read of a network, or read under another name, on the screen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rich.console import Console
from rich.text import Text

from netplan.core.findings import READING_CODES, Noticed

__all__ = ["print_unread"]

_SHOWN: Final = 8
_LONGEST_NOTE: Final = 300


def print_unread(findings: Iterable[Noticed], console: Console) -> None:
    """Print the findings about what was not read, or read under another name; nothing where there are none.

    Parameters
    ----------
    findings : iterable of Noticed
        Findings of a network or of a plan, in their order; others are left out.
    console : rich.console.Console
    """
    rows = [row for row in findings if row.code in READING_CODES]
    if not rows:
        return
    text = Text("Not read, or read under another name", style="bold")
    for line in _lines(rows):
        text.append(f"\n  · {line}", style="")
    console.print(text)


def _lines(rows: list[Noticed]) -> list[str]:
    """Return warnings about what was not read, a line each, and the notes in a line for each kind."""
    grave = [row for row in rows if row.severity != "note"]
    lines = [f"{row.severity}: {row.layer or 'network'}: {row.what}" for row in grave[:_SHOWN]]
    if len(grave) > _SHOWN:
        lines.append(f"… and {len(grave) - _SHOWN} more warnings (gas-netplan check)")
    notes: dict[str, list[str]] = {}
    for row in rows:
        if row.severity == "note":
            notes.setdefault(row.code, []).append(f"{row.layer}: {row.what}".removeprefix(": "))
    for said in notes.values():
        line = "; ".join(said)
        lines.append(
            line if len(line) <= _LONGEST_NOTE else f"{line[:_LONGEST_NOTE]}… (all: gas-netplan check)"
        )
    return lines
