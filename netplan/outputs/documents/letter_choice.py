"""Which words each language gets, and what is to be said where words, a sender or a language are missing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from netplan.core.errors import BadInputError, quoted
from netplan.core.language_tags import language_key
from netplan.outputs.documents.letter_words import SENDER_KEYS, KnownWords, LetterWords

__all__ = ["ChosenWords", "choose_words"]

_MOST_NAMED: Final = 8
"""Languages without words that are named one by one (own)."""


@dataclass(frozen=True, slots=True)
class ChosenWords:
    """The words of some letters.

    Parameters
    ----------
    by_language : mapping of str to LetterWords
        By `language_key` of the recorded language.
    default : LetterWords
        Words where no language is recorded, or none of the recorded one is there.
    lacking : str
        Why no letters can be made, in a line; empty where they can.
    remarks : tuple of str
        What the notice team must know of languages and words, a line each.
    """

    by_language: Mapping[str, LetterWords]
    default: LetterWords
    lacking: str
    remarks: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """All that is to be said, a line each."""
        return (*self.remarks, self.lacking) if self.lacking else self.remarks

    def of(self, language: str) -> LetterWords:
        """Return the words of a recorded language."""
        return self.by_language.get(language_key(language), self.default)


def choose_words(languages: Sequence[str], known: KnownWords, language: str) -> ChosenWords:
    """Choose the words of letters by the language recorded for each customer.

    Where words name no sender, those of the default language stand in for it, else those of any language.

    Parameters
    ----------
    languages : sequence of str
        As recorded, one for each customer; empty for none.
    known : KnownWords
    language : str
        The default language.

    Raises
    ------
    BadInputError
        When there are no words of the default language, or a words file that is needed is broken.
    """
    default_tag = known.tag_of(language)
    if default_tag is None:
        raise BadInputError(f"--language: there are no words for {quoted(language)}; use another one")
    senders = [words for _, words in sorted(known.words.items())]
    default = _with_sender(known.of_tag(default_tag), senders)
    tags = {language_key(one): known.tag_of(one) for one in languages}
    used = sorted({tag for tag in tags.values() if tag is not None})
    words = {tag: _with_sender(known.of_tag(tag), [default, *senders]) for tag in used}
    in_use = [*words.values(), *([default] if None in tags.values() or not tags else [])]
    spare = [f"{line} (no letter needs it)" for tag, line in known.broken.items() if tag not in words]
    return ChosenWords(
        by_language={key: words[tag] for key, tag in tags.items() if tag is not None},
        default=default,
        lacking=_lacking(in_use, default),
        remarks=(*_missing(languages, tags, default), *spare, *known.remarks),
    )


def _with_sender(words: LetterWords, others: Sequence[LetterWords]) -> LetterWords:
    for other in others:
        words = words.with_sender_of(other) if words.lacking() else words
    return words


def _lacking(in_use: Sequence[LetterWords], default: LetterWords) -> str:
    keys = [key for key in SENDER_KEYS if any(key in words.lacking() for words in in_use)]
    if not keys:
        return ""
    lines = ", ".join(f'{key} = "…"' for key in keys)
    return (
        f"letters.pdf is not made: the words name no {', '.join(keys)}; write words.{default.tag}.toml with "
        f"{lines} under [sender], and name its folder with --words"
    )


def _missing(languages: Sequence[str], tags: Mapping[str, str | None], default: LetterWords) -> list[str]:
    """Return a line for each language that there are no words for, with its number of customers."""
    written = {language_key(one): one.strip() for one in reversed(languages)}
    counts = Counter(key for one in languages if (key := language_key(one)) and tags[key] is None)
    in_order = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    named = [
        f"language {quoted(written[key])}: no words for it, so the letters of {_customers(count)} are in "
        f"{default.tag}; put words.<tag>.toml of it into the folder of --words, or correct the record"
        for key, count in in_order[:_MOST_NAMED]
    ]
    rest = in_order[_MOST_NAMED:]
    if rest:
        people = _customers(sum(count for _, count in rest))
        named.append(f"{len(rest)} more languages have no words: letters of {people} are in {default.tag}")
    return named


def _customers(count: int) -> str:
    return f"{count:,} customer{'' if count == 1 else 's'}"
