"""A newcomer with the pages alone: every marked block runs word for word, in order, in an empty folder (own)."""

from __future__ import annotations

import io
import os
import shlex
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from string import Template

import pytest

from netplan.cli import main
from netplan.cli.sample import sample_network
from netplan.planfile.plan_json import read_plan
from tests.support.docs_pages import DOCS, Block, blocks

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
    "how-to-units.md",
)


@dataclass(frozen=True)
class Desk:
    """An empty folder with the installed command in reach."""

    home: Path

    def run(self, block: Block) -> str:
        """Run a block as it stands and return what it printed.

        Lines that only call our command with plain words run in this process, where everything is loaded once;
        a block with anything more goes to the shell, which finds the installed command.
        """
        names = {"TOWN": str(sample_network()), "EXPORT": str(DOCS / "data" / "export"), "COLUMNS": "120"}
        in_words = [_words(line, names) for line in block.lines]
        if all(in_words):
            code, out, err = 0, io.StringIO(), io.StringIO()
            for words in in_words:
                if code == 0:
                    code = _call(words, self.home, out, err)
            printed, complained = out.getvalue(), err.getvalue()
        else:
            path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
            command = ["bash", "-c", "set -eu\n" + "\n".join(block.lines) + "\n"]
            done = subprocess.run(  # noqa: S603
                command,
                cwd=self.home,
                env=os.environ | names | {"PATH": path},
                capture_output=True,
                text=True,
                check=False,
            )
            code, printed, complained = done.returncode, done.stdout, done.stderr
        assert code == block.exit_code, f"{block.page}: {block.lines}\n{printed}\n{complained}"
        assert "Traceback" not in complained
        return printed


def _words(line: str, names: dict[str, str]) -> list[str]:
    """Return the words of a line that calls our command and needs no shell; none of any other line."""
    if not line.startswith("gas-netplan ") or set(line) & set("<>|&;`*?#\\'"):
        return []
    return [Template(word).substitute(names) for word in shlex.split(line)]


def _call(words: list[str], home: Path, out: io.StringIO, err: io.StringIO) -> int:
    """Call our command as its entry point does and return its exit code."""
    with pytest.MonkeyPatch.context() as patched, redirect_stdout(out), redirect_stderr(err):
        patched.chdir(home)
        patched.setenv("COLUMNS", "120")
        patched.setattr(sys, "argv", words)
        with pytest.raises(SystemExit) as ended:
            main()
    return int(ended.value.code or 0)


@pytest.fixture(scope="module")
def context(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return Desk(tmp_path_factory.mktemp("newcomer"))


@pytest.mark.slow
def test_the_pages_on_the_sample_run_word_for_word(context: Desk) -> None:
    said: dict[str, str] = {}
    for page in SAMPLE_PAGES:
        told = blocks(page)
        assert told, page
        assert {block.story for block in told} == {"sample"}
        said[page] = "".join(context.run(block) for block in told)
    home = context.home
    assert len(read_plan(home / "plan-a").options) == 5
    for name in ("map.html", "work_pack.pdf", "notices.xlsx", "tally_sheet.pdf"):
        assert (home / "plan-a" / name).stat().st_size > 1000, name
    assert not (home / "plan-a" / "letters.pdf").exists(), "the shipped words have no sender"
    assert (home / "plan-a" / "call_sheet_restricted.pdf").is_file()
    assert not (home / "plan-none").exists()
    for name in ("emergency.html", "emergency.pdf", "emergency.json"):
        assert (home / "hit-a" / name).stat().st_size > 1000, name
    for name in ("papers-2", "letters-de"):
        assert (home / name / "letters.pdf").is_file()
        # The page says that the restricted sheet is not made again.
        assert not (home / name / "call_sheet_restricted.pdf").exists()
    assert sorted(path.suffix for path in (home / "pictures").iterdir())
    first, second = (
        {(s.main_id, s.chainage_m) for s in read_plan(home / name).options[0].stops if s.kind != "valve"}
        for name in ("plan-first", "plan-second")
    )
    assert first
    assert not first & second
    # What the pages claim of these stops.
    a, b = (read_plan(home / name).options[0] for name in ("plan-a", "plan-b"))
    near = {(s.main_id, round(s.chainage_m, 1)) for s in a.stops}
    assert ("M0147", 1.1) in near
    assert ("M0147", 1.1) not in {(s.main_id, round(s.chainage_m, 1)) for s in b.stops}
    forced = read_plan(home / "plan-forced").options[0]
    assert any(s.main_id == "M0142" and abs(s.chainage_m - 170.0) < 3.0 for s in forced.stops)
    assert "Result" in said["start-engineer.md"]
    assert "burden" in said["how-to-explain.md"]


def test_a_mapped_export_is_planned_word_for_word(context: Desk) -> None:
    told = blocks("walkthrough.md")
    assert [block.story for block in told] == ["export"] * 4
    for block in told:
        context.run(block)
    draft = (context.home / "draft.toml").read_text(encoding="utf-8")
    # What the page says the draft leaves open.
    assert "?" in draft
    plan = read_plan(context.home / "plan-ring")
    best = plan.options[0]
    assert len(best.stops) == 2
    assert {stop.main_id for stop in best.stops} == {"L3"}
    off = [customer for customer in best.customers if customer.effect == "off"]
    assert 1 <= len(off) < 10
    assert plan.conditions.start == "2027-03-09T07:00"


def test_the_export_is_what_its_script_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib.util

    spec = importlib.util.spec_from_file_location("make_export", DOCS / "_build" / "make_export.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "OUT", tmp_path)
    module.main()
    kept = {path.name: path.read_bytes() for path in (DOCS / "data" / "export").iterdir()}
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == kept
