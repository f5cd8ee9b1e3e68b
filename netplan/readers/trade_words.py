"""Words of the trade in several languages, and how alike a name is to them."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from typing import Final

__all__ = ["copy_word", "likeness", "meaning", "pipe_kind", "plain", "state_word", "tokens", "utility_word"]

_SPELT: Final = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "oe", "æ": "ae", "œ": "oe"})
_HUMP: Final = re.compile(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_SHORT: Final = 3
"""Words up to this length only count as a whole token: 'id' is in 'width' too."""

_COMPOUND: Final = 5
"""Letters from which a word for another utility counts as part of a compound too."""

_EXACT, _TOKEN, _PART = 100.0, 60.0, 20.0


@lru_cache(maxsize=20_000)
def tokens(name: str) -> tuple[str, ...]:
    """Return the words of a name in plain letters: ``LeitNr_Ä`` gives leit, nr, ae."""
    parted = _HUMP.sub(" ", unicodedata.normalize("NFC", name[:200]))
    spelt = parted.casefold().translate(_SPELT)
    bare = "".join(sign for sign in unicodedata.normalize("NFKD", spelt) if not unicodedata.combining(sign))
    return tuple(re.findall(r"[a-z]+|\d+", bare))


def plain(name: str) -> str:
    """Return a name as one word in plain letters and digits."""
    return "".join(tokens(name))


def likeness(kind: str, target: str, name: str) -> float:
    """Return how alike a name is to what the trade calls a layer or column; 0 for not at all."""
    own, whole = tokens(name), plain(name)
    best = 0.0
    for word in _words().get((kind, target), ()):
        joined = word.replace(" ", "")
        if joined == whole:
            best = max(best, _EXACT + len(joined))
        elif _stands_in(word.split(), own) or (kind == "layer" and _stands_in(_one(word.split()), _one(own))):
            best = max(best, _TOKEN + len(joined))
        elif len(joined) > _SHORT and (joined in whole or (len(whole) > _SHORT and joined.startswith(whole))):
            best = max(best, _PART + min(len(joined), len(whole)))
    return best


def meaning(column: str, word: str) -> str | None:
    """Return the contract's word for a word of the source, or None where it is not certain."""
    return _meanings().get((column, plain(word)))


def pipe_kind(word: str) -> str | None:
    """Return mains or services for a word that says which a pipe is."""
    return _meanings().get(("pipe", plain(word)))


def utility_word(name: str) -> str:
    """Return the word of a name that says another utility than gas, such as water; empty for none."""
    words = _words()["other", "utility"]
    # A long word may be a part of a compound, as in Waterleiding. A short one may not: Reseau ends so.
    parts = (
        w for w in words if len(w) >= _COMPOUND for t in tokens(name) if t.startswith(w) or t.endswith(w)
    )
    return next((token for token in tokens(name) if token in words), next(parts, ""))


def copy_word(name: str) -> str:
    """Return the word of a name that says an old copy of something; empty for none."""
    return next((token for token in tokens(name) if token in _words()["other", "copy"]), "")


def state_word(name: str) -> str:
    """Return the word of a name that says pipes without gas, abandoned or not yet laid; empty for none."""
    return next(
        (token for token in tokens(name) if meaning("status", token) in ("abandoned", "proposed")), ""
    )


def _one(words: Sequence[str]) -> list[str]:
    """Return words without the s of their plural."""
    return [word.removesuffix("s") if len(word) > _SHORT else word for word in words]


def _stands_in(word: Sequence[str], own: Sequence[str]) -> bool:
    return any(list(own[at : at + len(word)]) == list(word) for at in range(len(own) - len(word) + 1))


@lru_cache(maxsize=1)
def _words() -> dict[tuple[str, str], tuple[str, ...]]:
    place = resources.files("netplan.readers").joinpath("trade_words.csv")
    rows = csv.DictReader(place.read_text(encoding="utf-8").splitlines())
    return {(row["kind"], row["target"]): tuple(row["words"].split(";")) for row in rows}


@lru_cache(maxsize=1)
def _meanings() -> dict[tuple[str, str], str]:
    found: dict[tuple[str, str], str] = {}
    for (kind, target), words in _words().items():
        if kind == "word":
            column, _, meant = target.partition(":")
            for word in (*words, meant):
                found.setdefault((column, plain(word)), meant)
    return found
