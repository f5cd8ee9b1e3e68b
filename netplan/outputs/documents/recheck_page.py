"""The page of a recheck as PDF, to go on top of the pack."""

from __future__ import annotations

from typing import Any, Final

from netplan.outputs.documents.typeset import typeset
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.recheck_words import recheck_words
from netplan.planfile.model import Plan
from netplan.planfile.recheck_answer import RecheckAnswer

__all__ = ["recheck_pdf"]

MOST_ROWS: Final = {"changes": 8, "customers": 16, "readings": 6, "states": 6, "notes": 3}
"""Rows of each list that are set, so that two pages hold them; all are in the file beside (own)."""
MOST_LINES: Final = 3
"""Reasons of one subject that are set (own)."""


def recheck_pdf(answer: RecheckAnswer, plan: Plan, file_name: str, *, units: Figures = METRIC) -> bytes:
    """Return the page of a recheck as PDF.

    Parameters
    ----------
    answer : RecheckAnswer
    plan : Plan
    file_name : str
        Of the JSON file that holds all of it.
    units : Figures
        How figures are written.
    """
    words = recheck_words(answer, plan, units)
    lists = {
        "changes": words.changes,
        "customers": words.customers,
        "readings": words.readings,
        "states": words.states,
        "notes": words.notes,
    }
    data: dict[str, Any] = {name: rows[: MOST_ROWS[name]] for name, rows in lists.items()}
    data["more"] = {
        name: f"… and {len(rows) - MOST_ROWS[name]} more in {file_name}"
        if len(rows) > MOST_ROWS[name]
        else ""
        for name, rows in lists.items()
    }
    data |= {
        "paper": units.paper,
        "revision": answer.revision,
        "superseded": f"superseded by {answer.superseded_by}" if answer.superseded_by else "",
        "title": words.title,
        "holds": answer.holds,
        "verdict": words.verdict,
        "facts": words.facts,
        "against": [_group(*one, file_name) for one in words.against],
        "corrections": [_group(*one, file_name) for one in words.corrections],
        "more-changes": words.more_changes,
        "unknown": words.unknown,
        "file": file_name,
        "caution": answer.caution,
    }
    return typeset("recheck.typ", data)


def _group(subject: str, lines: tuple[str, ...], file_name: str) -> dict[str, Any]:
    return {"subject": subject, "lines": _some(lines, file_name)}


def _some(lines: tuple[str, ...], file_name: str) -> list[str]:
    more = len(lines) - MOST_LINES
    return [*lines[:MOST_LINES], *([f"… and {more} more in {file_name}"] if more > 0 else [])]
