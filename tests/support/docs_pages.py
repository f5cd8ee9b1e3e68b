"""Pages of the documentation as tests read them: fenced blocks, commands and options named in them."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import typer
from typer.main import get_command

from netplan.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
_BLOCK = re.compile(r"^<!-- run: (\w+)(?: exit: (\d))? -->\n```\w*\n(.*?)^```$", re.M | re.S)
_PROMPTS = ("gas-netplan ",)


@dataclass(frozen=True)
class Block:
    """A block to be run as it stands: in which story, and how its last command must end."""

    page: str
    story: str
    exit_code: int
    lines: tuple[str, ...]


def pages() -> list[Path]:
    """Return every page people read."""
    front = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "sample_network" / "README.md"]
    return [*front, *sorted(DOCS.rglob("*.md"))]


def blocks(page: str) -> list[Block]:
    """Return the marked blocks of a page, in order."""
    text = (DOCS / page).read_text(encoding="utf-8")
    return [
        Block(page, match[1], int(match[2] or 0), tuple(match[3].strip().splitlines()))
        for match in _BLOCK.finditer(text)
    ]


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
