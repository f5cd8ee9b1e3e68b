"""The words of the letters, one file a language: checked, laid over the shipped ones, found by tag."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError, quoted
from netplan.core.language_tags import language_key, lookup
from netplan.core.text_files import text_of, toml_of

__all__ = [
    "SENDER_KEYS",
    "KnownWords",
    "LetterWords",
    "direction_of",
    "read_words",
]

Table = dict[str, Any]

SENDER_KEYS: Final = ("sender", "phone", "emergency")
"""Entries under [sender] without which no letter goes out: who writes, and whom to ring."""

PAPERS: Final = ("", "a4", "us-letter")
"""Sizes of paper that letters can be set on; the empty one goes by the units."""
_MODEL: Final = "en"
"""Shipped words whose sections and keys every complete words file has."""
_NAME: Final = re.compile(r"\{([a-z_]+)\}")
_BLANK: Final = re.compile(r"\s*(\[.*\])?\s*")
"""Nothing, or what stands in brackets to be replaced."""
_FILE: Final = re.compile(r"words\.([^.]*)\.toml", re.IGNORECASE)
_TAG: Final = re.compile(r"[a-z]{2,3}(-[a-z0-9]{1,8})*")
_MOST_BYTES: Final = 300_000
_ALWAYS: Final = (
    *("date", "from", "to", "to_date", "hours", "notice_by", "address_no", "effect", "count"),
    *("day", "month", "year", "hour", "clock_hour", "am_pm", "minute", *SENDER_KEYS),
)
"""Names in braces that are filled in."""


class LetterWords:
    """The words of one language.

    Parameters
    ----------
    tag : str
        Language tag in small letters, such as ``de`` or ``de-at``.
    table : mapping
        The words by section and key.
    """

    def __init__(self, tag: str, table: Mapping[str, Any]) -> None:
        self.tag = tag
        self._table = table

    def raw(self, section: str, name: str) -> Any:
        """Return an entry as it stands.

        Raises
        ------
        KeyError
            When there is none: a checked file has all that the shipped English one has.
        """
        return self._table[section][name]

    def text(self, section: str, name: str, values: Mapping[str, str]) -> str:
        """Return an entry with the names in braces filled in; unknown names stay as they are."""
        return self.fill(str(self.raw(section, name)), values)

    def fill(self, text: str, values: Mapping[str, str]) -> str:
        """Return a text with the names in braces filled in, once: what is filled in is not read again."""
        known = {**{k: str(v) for k, v in self._table["sender"].items()}, **values}
        return _NAME.sub(lambda match: known.get(match.group(1), match.group(0)), text)

    def date(self, moment: str | None) -> str:
        """Return the day of an ISO 8601 time as people of this language write it."""
        if not moment:
            return str(self.raw("dates", "no_date"))
        when = datetime.fromisoformat(moment)
        month = str(self.raw("dates", "months")[when.month - 1])
        return self.text("dates", "date", {"day": str(when.day), "month": month, "year": str(when.year)})

    def time(self, moment: str | None, otherwise: str) -> str:
        """Return the time of day; `otherwise` names the entry for a plan without a date."""
        if not moment:
            return str(self.raw("dates", otherwise))
        when = datetime.fromisoformat(moment)
        values = {
            "hour": f"{when.hour:02d}",
            "clock_hour": str((when.hour + 11) % 12 + 1),
            "am_pm": str(self.raw("dates", "am" if when.hour < 12 else "pm")),
            "minute": f"{when.minute:02d}",
        }
        return self.text("dates", "time", values)

    @property
    def paper(self) -> str:
        """Size of paper by the typesetter's name; empty where the units of the plan say it."""
        return str(self.raw("dates", "paper"))

    @cached_property
    def setting(self) -> dict[str, str]:
        """How text of this language is set: ``lang``, the primary subtag, and ``direction``.

        The direction is ``rtl`` where most signs of the words are written from right to left, else ``ltr``.
        """
        return {"lang": self.tag.partition("-")[0], "direction": direction_of(_texts(self._table)) or "ltr"}

    @property
    def numbers(self) -> tuple[str, ...]:
        """The telephone numbers of the sender."""
        own = self._table["sender"]
        return tuple(number for key in SENDER_KEYS[1:] if (number := str(own[key]).strip()))

    def lacking(self) -> tuple[str, ...]:
        """Return which of `SENDER_KEYS` say nothing."""
        own = self._table["sender"]
        return tuple(key for key in SENDER_KEYS if _BLANK.fullmatch(str(own[key])))

    def with_sender_of(self, other: LetterWords) -> LetterWords:
        """Return these words, with the sender's entries of other words where these say nothing."""
        taken = {key: other.raw("sender", key) for key in self.lacking()}
        return LetterWords(self.tag, {**self._table, "sender": {**self._table["sender"], **taken}})


def direction_of(texts: Iterable[str]) -> str:
    """Return ``rtl`` where most letters are written from right to left, else ``ltr``; empty for no letter."""
    ways = Counter(unicodedata.bidirectional(sign) for text in texts for sign in text)
    right = ways["R"] + ways["AL"]
    return "" if not right + ways["L"] else "rtl" if right > ways["L"] else "ltr"


@dataclass(frozen=True, slots=True)
class KnownWords:
    """The words there are.

    Parameters
    ----------
    words : mapping of str to LetterWords
        By language tag in small letters.
    broken : mapping of str to str
        What is wrong with a file of a language, in a line: it stops a run that needs that language.
    remarks : tuple of str
        What else is to be said of the folder, a line each.
    """

    words: Mapping[str, LetterWords]
    broken: Mapping[str, str]
    remarks: tuple[str, ...] = ()

    def tag_of(self, language: str) -> str | None:
        """Return the tag whose words a language gets; None for none."""
        return lookup(language, self.words.keys() | self.broken.keys())

    def of_tag(self, tag: str) -> LetterWords:
        """Return the words of a tag.

        Raises
        ------
        BadInputError
            When its file is broken.
        """
        if tag in self.broken:
            raise BadInputError(self.broken[tag])
        return self.words[tag]


@lru_cache(maxsize=1)
def _shipped() -> dict[str, Table]:
    folder = resources.files("netplan.outputs").joinpath("templates")
    found = {}
    for item in sorted(folder.iterdir(), key=lambda entry: entry.name):
        match = _FILE.fullmatch(item.name)
        if match:
            found[match.group(1)] = tomllib.loads(item.read_text(encoding="utf-8"))
    return found


def read_words(folder: Path | None) -> KnownWords:
    """Return the shipped words with those of a folder of ``words.<tag>.toml`` files over them.

    A file goes over the words of its language, or of the nearest more general one, section by section and key
    by key; one of a language without any must be complete.

    Raises
    ------
    BadInputError
        When the folder is none, or holds no such file.
    """
    shipped = {language_key(tag): table for tag, table in _shipped().items()}
    tables = {tag: table for tag, table in shipped.items() if "-" not in tag}
    if folder is None:
        _add_regions(tables, shipped, {})
        return KnownWords({tag: LetterWords(tag, table) for tag, table in tables.items()}, {})
    if not folder.is_dir():
        raise BadInputError(f"--words: {folder} is no folder; give the folder of your words.<tag>.toml")
    named = sorted(path for path in folder.iterdir() if _FILE.fullmatch(path.name))
    if not named:
        raise BadInputError(
            f"--words: {folder} holds no words.<tag>.toml, such as words.{_MODEL}.toml; "
            "give the folder of your words"
        )
    files: dict[str, list[Path]] = {}
    remarks = []
    for path in named:
        tag = language_key(path.name.split(".")[1])
        if _TAG.fullmatch(tag):
            files.setdefault(tag, []).append(path)
        else:
            remarks.append(f"{path}: not read; name it by a language tag, such as words.{_MODEL}.toml")
    broken = _add_regions(tables, shipped, files)
    words = {tag: LetterWords(tag, table) for tag, table in tables.items() if tag not in broken}
    return KnownWords(words, broken, tuple(remarks))


def _add_regions(
    tables: dict[str, Table], shipped: Mapping[str, Table], files: Mapping[str, list[Path]]
) -> dict[str, str]:
    """Lay files, and shipped words of a region, over the more general ones; return what is wrong, by tag.

    The more general first: words.de-AT.toml goes over words.de.toml. Shipped words of a region hold only
    what differs, and lie under a file of the same tag.
    """
    broken: dict[str, str] = {}
    regions = {tag for tag in shipped if "-" in tag}
    for tag in sorted(regions | files.keys(), key=lambda one: (one.count("-"), one)):
        if tag in regions:
            tables[tag] = _over(tables[tag.partition("-")[0]], shipped[tag])
        if tag not in files:
            continue
        try:
            tables[tag] = _checked(files[tag], tables[base] if (base := lookup(tag, tables)) else None)
        except BadInputError as error:
            broken[tag] = str(error)
    return broken


def _over(under: Table, own: Table) -> Table:
    return {
        section: {**entries, **own.get(section, {})} if isinstance(entries, dict) else entries
        for section, entries in under.items()
    }


def _checked(paths: list[Path], base: Table | None) -> Table:
    """Return the words of a file over others of its language."""
    if len(paths) > 1:
        raise BadInputError(f"{paths[1]}: is of the same language as {paths[0].name}; leave one of them")
    (path,) = paths
    try:
        own = toml_of(text_of(path, _MOST_BYTES, plain=True))
    except (OSError, ValueError) as error:
        raise BadInputError(f"{path}: cannot be read ({error}); correct it") from None
    model = _shipped()[_MODEL]
    for where, value, wanted in _entries(own, model):
        _check(path, where, value, wanted)
    tag = language_key(path.name.split(".")[1])
    if language_key(own.get("lang", tag)).partition("-")[0] != tag.partition("-")[0]:
        raise BadInputError(f"{path}: says lang = {quoted(own['lang'])}; the name of the file says {tag}")
    return _laid_over(path, own, base, model)


def _entries(own: Table, model: Table) -> Iterator[tuple[str, Any, Any]]:
    """Yield what a file holds: its place, the value, and that of the model, None for one that has none."""
    for section, entries in own.items():
        wanted = model.get(section)
        if not isinstance(entries, dict) or not isinstance(wanted, dict):
            yield section, entries, wanted
            continue
        for key, value in entries.items():
            yield f"[{section}] {key}", value, wanted.get(key)


def _check(path: Path, where: str, value: Any, wanted: Any) -> None:
    if wanted is None:
        raise BadInputError(f"{path}: {where[:60]} is not known; write it as in the shipped words")
    is_list = isinstance(wanted, list)
    if type(value) is not type(wanted) or (is_list and not all(isinstance(line, str) for line in value)):
        kind = "a list of texts" if is_list else "a section" if isinstance(wanted, dict) else "a text"
        raise BadInputError(f"{path}: {where} is not {kind}; write it as in the shipped words")
    if where == "[dates] months" and len(value) != len(wanted):
        raise BadInputError(f"{path}: {where} has {len(value)} names; give {len(wanted)}")
    if where == "[dates] paper" and value not in PAPERS:
        raise BadInputError(f"{path}: {where} is {quoted(value)}; write a4, us-letter or nothing")
    for line in value if is_list else [value]:
        unknown = next((name for name in _NAME.findall(line) if name not in _names()), None)
        if unknown is not None:
            raise BadInputError(
                f"{path}: {where} has {{{unknown}}}, which nothing is filled in for; "
                "keep the names in braces of the shipped words"
            )


def _laid_over(path: Path, own: Table, base: Table | None, model: Table) -> Table:
    found: Table = {}
    for section, entries in model.items():
        if not isinstance(entries, dict):
            continue
        given = own.get(section, {})
        found[section] = {**(base[section] if base else {}), **given}
        missing = next((key for key in entries if key not in found[section]), None)
        if missing is not None and section != "sender":
            raise BadInputError(
                f"{path}: lacks {quoted(missing)} under [{section}]; no words of its language are there to "
                "stand in, so start from a copy of a shipped file"
            )
        found[section] = {**dict.fromkeys(entries, ""), **found[section]}
    return found


@lru_cache(maxsize=1)
def _names() -> frozenset[str]:
    """Return the names in braces that a words file may have."""
    shipped = (_NAME.findall(text) for table in _shipped().values() for text in _texts(table))
    return frozenset(_ALWAYS).union(*shipped)


def _texts(table: Mapping[str, Any]) -> Iterator[str]:
    for value in table.values():
        if isinstance(value, str):
            yield value
        else:
            yield from _texts(value) if isinstance(value, dict) else value
