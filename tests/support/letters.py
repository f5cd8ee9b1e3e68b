"""Letters with an invented sender: the shipped words have none, and no letter goes out without."""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Final

from netplan.outputs.documents.letter_choice import ChosenWords, choose_words
from netplan.outputs.documents.letter_words import read_words
from netplan.outputs.documents.letters import letters_pdf
from netplan.outputs.notice_list import NoticeRow
from netplan.planfile.model import Plan

__all__ = ["WORDS", "made_letters", "spelt_words", "words_for"]

WORDS: Final = Path(__file__).parent / "words"
"""Folder of words with an invented sender."""


def words_for(rows: Sequence[NoticeRow], language: str = "en", folder: Path | None = WORDS) -> ChosenWords:
    """Return the words of the letters for some rows."""
    return choose_words([row.language for row in rows], read_words(folder), language)


def made_letters(
    plan: Plan, rows: Sequence[NoticeRow], language: str = "en", folder: Path | None = WORDS
) -> bytes:
    """Return the letters for some rows as PDF."""
    return letters_pdf(plan, rows, words_for(rows, language, folder))


def spelt_words(signs: str) -> str:
    """Return the shipped English words spelt with other signs, names in braces as they are: a words file.

    Parameters
    ----------
    signs : str
        Signs that the letters a to z are replaced by, over and over.
    """
    text = resources.files("netplan.outputs").joinpath("templates/words.en.toml").read_text("utf-8")
    other = {letter: signs[place % len(signs)] for place, letter in enumerate("abcdefghijklmnopqrstuvwxyz")}

    def spelt(quoted: re.Match[str]) -> str:
        parts = re.split(r"(\{[a-z_]+\})", quoted.group(0))
        return "".join(
            part if part.startswith("{") else "".join(other.get(sign.lower(), sign) for sign in part)
            for part in parts
        )

    body = "\n".join(line for line in text.splitlines() if not line.startswith(("#", "lang")))
    return re.sub(r'"[^"\n]*"', spelt, body)
