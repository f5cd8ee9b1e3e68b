"""The planted faults, and where each is anchored in the code."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Final

__all__ = ["ROOT", "Fault", "PlantError", "Planted", "areas", "faults", "package_texts", "plant"]

ROOT: Final = Path(__file__).resolve().parents[2]
TABLES: Final = Path(__file__).resolve().parent / "faults"
SUFFIXES: Final = frozenset({".py", ".toml", ".csv", ".js", ".css", ".html", ".typ"})
KEYS: Final = frozenset({"id", "what", "anchor", "planted", "tests"})

_TOKEN: Final = re.compile(r"\w+|[^\w\s]")


class PlantError(Exception):
    """A fault that cannot be planted as its row says."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One small fault of the program.

    Parameters
    ----------
    id : str
        Its name, for the command.
    area : str
        Part of the program that it concerns; the name of the table it stands in.
    what : str
        What it breaks, in words.
    anchor : str
        Text of the code that it replaces. It stands once in the whole package, wherever that is: spaces
        and line breaks do not matter.
    planted : str
        What is put there instead.
    tests : tuple of str
        Tests to run, those of the area first, as pytest names them.
    """

    id: str
    area: str
    what: str
    anchor: str
    planted: str
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Planted:
    """A file of the package with a fault in it: its path below the root, its text before and after."""

    path: Path
    before: str
    after: str


@lru_cache(maxsize=1)
def faults() -> tuple[Fault, ...]:
    """Return every fault, by area and then as its table lists them."""
    return tuple(fault for table in sorted(TABLES.glob("*.toml")) for fault in _of_table(table))


def areas() -> tuple[str, ...]:
    """Return the areas that have faults."""
    return tuple(dict.fromkeys(fault.area for fault in faults()))


def _of_table(table: Path) -> Iterator[Fault]:
    for row in tomllib.loads(table.read_text(encoding="utf-8"))["fault"]:
        if set(row) != KEYS:
            raise PlantError(f"{table.name}: {row.get('id')}: keys are {', '.join(sorted(KEYS))}")
        yield Fault(row["id"], table.stem, row["what"], row["anchor"], row["planted"], tuple(row["tests"]))


def package_texts(root: Path = ROOT) -> dict[Path, str]:
    """Return the text of every file of the package that a fault may stand in, by its path below `root`."""
    return {
        path.relative_to(root): path.read_text(encoding="utf-8")
        for path in sorted((root / "netplan").rglob("*"))
        if path.suffix in SUFFIXES and path.is_file()
    }


def plant(fault: Fault, texts: dict[Path, str]) -> Planted:
    """Return the file that a fault changes.

    Raises
    ------
    PlantError
        When the anchor stands nowhere in the package, or more than once, or nothing would change.
    """
    pattern, longest = _pattern(fault.anchor), max(_TOKEN.findall(fault.anchor), key=len)
    found = [
        (path, match) for path, text in texts.items() if longest in text for match in pattern.finditer(text)
    ]
    if len(found) != 1:
        where = ", ".join(str(path) for path, _ in found) or "no file"
        raise PlantError(
            f"fault {fault.id}: its anchor stands {len(found)} times in the package ({where}); "
            "it has to stand there once: correct the anchor, or write another fault of this kind"
        )
    path, match = found[0]
    before = texts[path]
    after = before[: match.start()] + fault.planted.strip() + before[match.end() :]
    if _TOKEN.findall(fault.planted) == _TOKEN.findall(fault.anchor):
        raise PlantError(f"fault {fault.id}: it changes nothing")
    return Planted(path, before, after)


def _pattern(anchor: str) -> re.Pattern[str]:
    """Return what finds a piece of code whatever its spaces and line breaks."""
    tokens = _TOKEN.findall(anchor)
    parts = [re.escape(tokens[0])]
    for one, other in pairwise(tokens):
        apart = one[-1].isidentifier() or one[-1].isdigit()
        apart &= other[0].isidentifier() or other[0].isdigit()
        parts.append((r"\s+" if apart else r"\s*") + re.escape(other))
    first = r"(?<!\w)" if re.match(r"\w", tokens[0]) else ""
    last = r"(?!\w)" if re.match(r"\w", tokens[-1]) else ""
    return re.compile(first + "".join(parts) + last)
