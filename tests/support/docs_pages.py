"""Pages of the documentation as tests read them: fenced blocks, commands and options named in them."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import typer
from typer.main import get_command

from netplan.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
_BLOCK = re.compile(
    r"^<!-- (?P<kind>run|file|screen): (?P<what>.*?)(?: exit: (?P<code>\d))? -->\n```\w*\n(?P<text>.*?)^```$",
    re.M | re.S,
)
_PROMPTS = ("gas-netplan ",)


@dataclass(frozen=True)
class Block:
    """Lines to be run as they stand: in which story, and how the last command must end."""

    page: str
    story: str
    exit_code: int
    lines: tuple[str, ...]


@dataclass(frozen=True)
class SavedFile:
    """A file that the reader is asked to save."""

    page: str
    path: str
    text: str


@dataclass(frozen=True)
class Screen:
    """What the block before it prints, from the line that holds one text to the line that holds another."""

    page: str
    start: str
    end: str
    text: str

    def of(self, printed: str) -> str:
        """Return these lines of what was printed, without blanks at their ends."""
        lines = [line.rstrip() for line in printed.splitlines()]
        first = next(k for k, line in enumerate(lines) if self.start in line)
        last = next(k for k, line in enumerate(lines) if k >= first and self.end in line)
        return "\n".join(lines[first : last + 1]) + "\n"


def pages() -> list[Path]:
    """Return every page people read."""
    front = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "sample_network" / "README.md"]
    return [*front, *sorted(DOCS.rglob("*.md"))]


def blocks(page: str) -> list[Block | SavedFile | Screen]:
    """Return the marked blocks of a page, in order."""
    found: list[Block | SavedFile | Screen] = []
    for match in _BLOCK.finditer((DOCS / page).read_text(encoding="utf-8")):
        what, text = match["what"], match["text"]
        if match["kind"] == "run":
            found.append(Block(page, what, int(match["code"] or 0), tuple(text.strip().splitlines())))
        elif match["kind"] == "file":
            found.append(SavedFile(page, what, text))
        else:
            start, end = what.split(" … ")
            found.append(Screen(page, start, end, text))
    return found


def with_screens(page: str, texts: Iterable[str]) -> str:
    """Return the text of a page with other texts in its screens, in order."""
    others = iter(texts)

    def filled(match: re.Match[str]) -> str:
        whole = match[0]
        if match["kind"] != "screen":
            return whole
        return whole[: match.start("text") - match.start()] + next(others) + "```"

    return _BLOCK.sub(filled, (DOCS / page).read_text(encoding="utf-8"))


def named_commands(text: str) -> list[list[str]]:
    """Return every command line that a page names, in words."""
    found = []
    spans = re.findall(r"`(gas-netplan [^`\n]+)`", text)
    lines = [line.strip() for line in text.splitlines()]
    for line in [*spans, *(line for line in lines if line.startswith(_PROMPTS))]:
        plain = re.sub(r"\s+#.*$", "", line).split(" > ")[0].split(" | ")[0].split(" && ")[0]
        try:
            found.append(shlex.split(plain.replace("…", "")))
        except ValueError:
            found.append(plain.split())
    return found


def named_options(text: str) -> set[str]:
    """Return every option written as code."""
    return set(re.findall(r"`(--[a-z][a-z-]+)", text))


@cache
def known() -> dict[str, frozenset[str]]:
    """Return the options of every command."""
    group = get_command(app)
    context = typer.Context(group)
    options = {}
    for name in group.list_commands(context):  # type: ignore[attr-defined]
        command = group.get_command(context, name)  # type: ignore[attr-defined]
        options[name] = frozenset(o for part in command.params for o in part.opts if o.startswith("--"))
    return options
