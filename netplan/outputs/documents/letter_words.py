"""The words of the letters, one file a language, and filling in what a plan says."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from netplan.core.errors import BadInputError, quoted
from netplan.core.text_files import text_of, toml_of

__all__ = ["LetterWords", "read_words", "shipped_words"]

_SECTIONS = ("sender", "dates", "common", "off", "kept", "standby")
_NAME = re.compile(r"\{([a-z_]+)\}")


class LetterWords:
    """The words of one language.

    Parameters
    ----------
    table : mapping
        The parsed words file.
    where : str
        What it was read from, for messages.

    Raises
    ------
    BadInputError
        When a section is missing.
    """

    def __init__(self, table: Mapping[str, Any], where: str) -> None:
        missing = [name for name in _SECTIONS if not isinstance(table.get(name), dict)]
        if missing or not isinstance(table.get("lang"), str):
            raise BadInputError(
                f"{where}: lacks [{(missing or ['lang'])[0]}]; start from a copy of the shipped file"
            )
        self._table = table
        self._where = where
        self.lang = str(table["lang"])

    def has(self, section: str) -> bool:
        """Return whether there is a section."""
        return isinstance(self._table.get(section), dict)

    def raw(self, section: str, name: str) -> Any:
        """Return an entry as it stands.

        Raises
        ------
        BadInputError
            When there is none.
        """
        try:
            return self._table[section][name]
        except KeyError:
            raise BadInputError(f"{self._where}: [{section}] lacks {quoted(name)}; add it") from None

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
        return self.text("dates", "time", {"hour": f"{when.hour:02d}", "minute": f"{when.minute:02d}"})


_MOST_BYTES: Final = 300_000
_FILE: Final = re.compile(r"words\.([a-z]{2})\.toml")


@lru_cache(maxsize=1)
def shipped_words() -> dict[str, LetterWords]:
    """Return the words that come with the package, by language."""
    folder = resources.files("netplan.outputs").joinpath("templates")
    found = {}
    for item in sorted(folder.iterdir(), key=lambda entry: entry.name):
        match = _FILE.fullmatch(item.name)
        if match:
            found[match.group(1)] = LetterWords(tomllib.loads(item.read_text(encoding="utf-8")), item.name)
    return found


def read_words(folder: Path | None) -> dict[str, LetterWords]:
    """Return the shipped words with those of a folder of ``words.xx.toml`` files over them.

    Raises
    ------
    BadInputError
        When the folder holds no such file, or one cannot be read or lacks a section.
    """
    words = dict(shipped_words())
    if folder is None:
        return words
    found = sorted(path for path in folder.glob("words.*.toml") if _FILE.fullmatch(path.name))
    if not found:
        raise BadInputError(f"{folder}: holds no words.xx.toml; give the folder of your words")
    for path in found:
        try:
            table = toml_of(text_of(path, _MOST_BYTES, plain=True))
        except (OSError, ValueError) as error:
            raise BadInputError(f"{path}: cannot be read ({error}); correct it") from None
        words[path.name.split(".")[1]] = LetterWords(table, path.name)
    return words
