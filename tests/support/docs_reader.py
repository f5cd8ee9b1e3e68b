"""A newcomer in an empty folder who saves each file and runs each line of a page as it stands."""

from __future__ import annotations

import io
import shlex
import shutil
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

from netplan.cli import main
from tests.support.docs_pages import DOCS, Block, SavedFile, Screen, blocks

__all__ = ["COLUMNS", "SAMPLE_PAGES", "Reader"]

SAMPLE_PAGES = (
    "start-planner.md",
    "start-notices.md",
    "start-engineer.md",
    "how-to-size-a-bypass.md",
    "how-to-letters.md",
    "how-to-explain.md",
    "how-to-force-a-stop.md",
    "how-to-as-built.md",
    "how-to-emergency.md",
    "how-to-recheck.md",
    "how-to-revisions.md",
    "how-to-notices.md",
    "how-to-desktop-gis.md",
)
"""Pages on the sample town, in the order in which they are read."""
COLUMNS = 80
ANY_SHELL = frozenset("$<>|&;`*?#\\'")
"""What differs between shells: no line of a page holds any of it."""


@dataclass
class Reader:
    """An empty folder with the installed command in reach, and what the pages followed in it printed."""

    home: Path
    printed: dict[str, str] = field(default_factory=dict)
    screens: dict[str, list[tuple[Screen, str]]] = field(default_factory=dict)

    def follow(self, page: str) -> None:
        """Do what a page says, and keep what it printed beside what the page shows of it.

        Raises
        ------
        AssertionError
            When a line needs one certain shell, or ends otherwise than the page says.
        """
        last = ""
        for block in blocks(page):
            match block:
                case SavedFile():
                    path = self.home / block.path
                    path.parent.mkdir(exist_ok=True)
                    path.write_text(block.text, encoding="utf-8")
                case Screen():
                    self.screens.setdefault(page, []).append((block, block.of(last)))
                case Block():
                    last = self._run(block)
                    self.printed[page] = self.printed.get(page, "") + last

    def copy_export(self) -> None:
        """Copy the export of the walk-through as its page says."""
        shutil.copytree(DOCS / "data" / "export", self.home / "export")

    def _run(self, block: Block) -> str:
        code, out, err = 0, io.StringIO(), io.StringIO()
        for line in block.lines:
            assert line.startswith("gas-netplan "), f"{block.page}: {line}"
            assert not set(line) & ANY_SHELL, f"{block.page}: {line}"
            assert code == 0, f"{block.page}: the line before {line} ends with {code}"
            code = self._call(shlex.split(line), out, err)
        assert code == block.exit_code, f"{block.page}: {block.lines}\n{out.getvalue()}\n{err.getvalue()}"
        assert "Traceback" not in err.getvalue()
        return out.getvalue()

    def _call(self, words: list[str], out: io.StringIO, err: io.StringIO) -> int:
        """Call our command as its entry point does and return its exit code."""
        with (
            redirect_stdout(out),
            redirect_stderr(err),
            mock.patch.dict("os.environ", {"COLUMNS": str(COLUMNS)}),
            mock.patch.object(sys, "argv", words),
            chdir(self.home),
        ):
            try:
                main()
            except SystemExit as left:
                return int(left.code or 0)
        return 0
