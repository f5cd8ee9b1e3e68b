"""Words in the priority column of the customers: codes of a reason, words for none, and words not known."""

from __future__ import annotations

import csv
import re
from functools import lru_cache
from importlib import resources
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog, listed
from netplan.network.normalise import NormalisedTable
from netplan.network.text_column import TextColumn

__all__ = ["priority_reading", "priority_words", "read_priorities"]

_MOST_WORDS: Final = 20
"""Words that get a finding each; the rest are counted in one more (own)."""
_MOST_LETTERS: Final = 40
_MEND: Final = "write a code such as hospital or care_home, or leave it empty"


@lru_cache(maxsize=1)
def priority_words() -> dict[str, str]:
    """Return the known words: each stands for a ``reason``, for ``none``, or names ``no reason``."""
    text = resources.files("netplan.network").joinpath("priority_words.csv").read_text(encoding="utf-8")
    return {row["word"]: row["reading"] for row in csv.DictReader(text.splitlines())}


def read_priorities(customers: NormalisedTable, notes: FindingLog) -> None:
    """Empty the priority of customers whose word says that they have none, and notice every doubtful word.

    A word that is not known stays, and so does a plain yes: whoever has one counts as a priority customer.
    Codes in another spelling become the code.
    """
    _notice_notes_alone(customers, notes)
    text = customers.text["priority"].arrow
    found = pc.unique(text).to_pylist()
    words = sorted(word for word in found if word and priority_words().get(word) != "reason")
    if not words:
        return
    readings = {word: priority_reading(word) for word in words}
    for reading in ("none", "no reason", "unknown", "reason"):
        chosen = [word for word in words if readings[word][0] == reading]
        for word in chosen[:_MOST_WORDS]:
            _notice(customers, word, readings[word], notes)
        if len(chosen) > _MOST_WORDS:
            more = len(chosen) - _MOST_WORDS
            _add(reading, f"the same holds for {more:,} more words of priority", notes)
    customers.text["priority"] = _replaced(text, {word: code for word, (_, code) in readings.items()})


def _notice_notes_alone(customers: NormalisedTable, notes: FindingLog) -> None:
    """Notice customers with a note on their priority but none on record; what the note says stays unsaid."""
    alone = pc.and_(
        pc.equal(customers.text["priority"].arrow, ""),
        pc.not_equal(customers.text["priority_note"].arrow, ""),
    )
    rows = np.flatnonzero(alone.to_numpy(zero_copy_only=False))
    if len(rows):
        notes.add(
            "note-without-priority",
            "customers",
            "",
            Severity.WARNING,
            f"priority is empty for customers with a priority_note ({len(rows):,}), "
            f"who count as none: {listed(customers.text['id'].take(rows))}",
            "write the code of the priority, or delete the note",
        )


def priority_reading(word: str) -> tuple[str, str]:
    """Return how a word is read, and what stands for it from there on.

    Returns
    -------
    tuple of str
        ``reason``, ``none``, ``no reason`` or ``unknown``; and the code, empty for none, else the word.
    """
    folded = re.sub(r"[\s_-]+", "_", word.casefold()).strip("_. ")
    reading = priority_words().get(folded, "unknown") if folded else "none"
    return reading, {"none": "", "reason": folded}.get(reading, word)


def _notice(customers: NormalisedTable, word: str, reading: tuple[str, str], notes: FindingLog) -> None:
    same = pc.equal(customers.text["priority"].arrow, pa.scalar(word, pa.string()))
    rows = np.flatnonzero(same.to_numpy(zero_copy_only=False))
    ids = customers.text["id"]
    who = f"{len(rows):,} customer{'' if len(rows) == 1 else 's'}"
    names = listed(ids.take(rows))
    short = repr(word[:_MOST_LETTERS])
    words = {
        "none": f"priority {short} is taken as none for {who}: {names}",
        "no reason": f"priority {short} names no reason; {who} count as priority customers: {names}",
        "unknown": f"priority {short} is not known; {who} count as priority customers: {names}",
        "reason": f"priority {short} is read as {reading[1]} for {who}",
    }
    _add(reading[0], words[reading[0]], notes)


def _add(reading: str, what: str, notes: FindingLog) -> None:
    if reading == "none":
        notes.add("priority-none", "customers", "", Severity.NOTE, what, "leave it empty where there is none")
    elif reading == "reason":
        notes.add("priority-spelling", "customers", "", Severity.NOTE, what, "write the code itself")
    else:
        notes.add("unknown-priority", "customers", "", Severity.WARNING, what, _MEND)


def _replaced(text: Any, by: dict[str, str]) -> TextColumn:
    at = pc.index_in(text, value_set=pa.array(list(by), pa.string()))
    return TextColumn(pc.if_else(pc.is_null(at), text, pa.array(list(by.values()), pa.string()).take(at)))
