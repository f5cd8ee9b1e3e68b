"""Follow `docs/how-to-own-data.md` word by word: its commands, with the names of an export in place of its own."""

from __future__ import annotations

import json
import shlex
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.core.errors import NetplanError
from tests.first_hour import EXPORTS
from tests.first_hour.answered import answered, asked_lines
from tests.first_hour.export import Export
from tests.first_hour.town import WORK
from tests.support.docs_pages import DOCS

__all__ = ["Hour", "Step", "first_hour", "page_commands"]

PAGE: Final = "how-to-own-data.md"


@dataclass(frozen=True)
class Step:
    """A command: how it ended, what it printed, and how long it took [s]."""

    exit_code: int
    output: str
    seconds: float


@dataclass(frozen=True)
class Hour:
    """The first hour with an export.

    Parameters
    ----------
    export : Export
        What was on disk.
    home : Path
        Folder with all that was made.
    draft : str
        The draft as the program wrote it.
    asked : int
        Its lines with a question mark.
    edits : tuple of int
        Lines that a person edits before the first check, and after it.
    steps : dict of Step
        ``draft``, ``check the draft``, ``check``, ``check again``, ``plan``.
    findings : dict
        Findings of each check, as its JSON holds them.
    """

    export: Export
    home: Path
    draft: str
    asked: int
    edits: tuple[int, int]
    steps: dict[str, Step]
    findings: dict[str, list[dict[str, Any]]]


def page_commands() -> dict[str, list[str]]:
    """Return the commands of the steps of the first hour by name, in words."""
    text = (DOCS / PAGE).read_text(encoding="utf-8").partition("## The first hour\n")[2].partition("\n## ")[0]
    lines = [line.strip() for line in text.splitlines() if line.strip().startswith("gas-netplan ")]
    return {words[1]: words[1:] for words in map(shlex.split, lines)}


def first_hour(name: str, seed: int, home: Path) -> Hour:
    """Write an export and take it from raw files to a plan as the page says."""
    home.mkdir(parents=True, exist_ok=True)
    raw = home / "raw"
    raw.mkdir()
    export = EXPORTS[name](seed, raw)
    commands, mapping = page_commands(), home / "mapping.toml"
    steps = {"draft": _run(commands["map-columns"], export, home)}
    draft = mapping.read_text(encoding="utf-8")
    findings = {}

    def check(step: str) -> None:
        steps[step] = _run(commands["check"], export, home)
        findings[step] = json.loads((home / "findings.json").read_text(encoding="utf-8"))

    check("check the draft")
    first = answered(draft, export.answers)
    mapping.write_text(first.text, encoding="utf-8")
    check("check")
    mended = answered(draft, export.answers, mend=True)
    mapping.write_text(mended.text, encoding="utf-8")
    check("check again")
    steps["plan"] = _run(commands["plan"], export, home)
    kept = Counter(first.text.splitlines())
    edits = (first.edits, (Counter(mended.text.splitlines()) - kept).total())
    return Hour(export, home, draft, asked_lines(draft), edits, steps, findings)


def _run(words: list[str], export: Export, home: Path) -> Step:
    """Run a command of the page with the names of an export."""
    main, low, high = WORK
    names = {
        "DATA": str(export.place),
        "mapping.toml": str(home / "mapping.toml"),
        "findings.json": str(home / "findings.json"),
        "findings.gpkg": str(home / "findings.gpkg"),
        "M0142": export.ids["mains"][main],
        "158": str(low),
        "162": str(high),
        "plan-a": str(home / "plan-a"),
    }
    started = time.perf_counter()
    result = CliRunner().invoke(app, [names.get(word, word) for word in words])
    seconds = time.perf_counter() - started
    if isinstance(result.exception, NetplanError):
        return Step(result.exception.exit_code, f"{result.output}\n{result.exception}", seconds)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Step(result.exit_code, result.output, seconds)
