"""The program answers an emergency: the real command, in this process, and what it wrote."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from netplan.cli import main

__all__ = ["Answered", "ask", "rules_text"]

Row = dict[str, Any]


@dataclass(frozen=True)
class Answered:
    """What came of a command: its exit code, what it said, and emergency.json where it is written."""

    code: int
    said: str
    data: Row


def ask(
    source: Path,
    out: Path,
    words: Iterable[str],
    *,
    rules: Path | None = None,
    cache: Path | None = None,
    pressures: bool = False,
) -> Answered:
    """Run ``gas-netplan emergency`` and return what it answered; without pressures unless they are wanted."""
    command = ["emergency", str(source), *words, "--out", str(out)]
    command += [] if pressures else ["--no-pressures"]
    command += [] if rules is None else ["--rules", str(rules)]
    command += [] if cache is None else ["--cache", str(cache)]
    said = io.StringIO()
    with (
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(said),
        warnings.catch_warnings(action="ignore"),
    ):
        code = _exit_code(command)
    path = out / "emergency.json"
    data: Row = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return Answered(code, said.getvalue(), data)


def _exit_code(command: list[str]) -> int:
    kept = sys.argv
    sys.argv = ["gas-netplan", *command]
    try:
        main()
    except SystemExit as left:
        return left.code if isinstance(left.code, int) else 1
    finally:
        sys.argv = kept
    return 0


def rules_text(tables: Mapping[str, Mapping[str, Any]]) -> str:
    """Return rules as TOML: tables of plain values and of inline tables."""

    def value(one: Any) -> str:
        if isinstance(one, Mapping):
            return "{ " + ", ".join(f"{key} = {value(held)}" for key, held in one.items()) + " }"
        return str(one).lower() if isinstance(one, bool) else repr(one)

    return os.linesep.join(
        os.linesep.join([f"[{name}]", *(f"{key} = {value(held)}" for key, held in table.items())])
        for name, table in tables.items()
    )
