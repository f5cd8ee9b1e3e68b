"""The documentation: built strictly without any network, and no sentence that a command contradicts (own)."""

from __future__ import annotations

import ast
import itertools
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from netplan.core.sources import sources
from netplan.network.contract import layer_specs
from netplan.planfile.plan_json import plan_schema
from netplan.rules import default_rules_text
from tests.compared import KNOWN, read_snapshot
from tests.support.axe_checks import barriers
from tests.support.browser import chromium, opened
from tests.support.docs_pages import DOCS, ROOT, known, named_commands, named_options, pages

OTHERS = {"--benchmark-only", "--benchmark-timer", "--check", "--help", "--version"}
"""Options of other programs, and those that every command has."""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site") / "site"
    quiet = os.environ | {"NO_MKDOCS_2_WARNING": "1", "PYTHONWARNINGS": "ignore"}
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "-d", str(out)]
    done = subprocess.run(command, cwd=ROOT, env=quiet, capture_output=True, text=True, check=False)  # noqa: S603
    assert done.returncode == 0, done.stdout + done.stderr
    return out


def _text(page: Path) -> str:
    return re.sub(r"<[^>]+>", " ", page.read_text(encoding="utf-8"))


def test_nothing_is_loaded_from_elsewhere(site: Path) -> None:
    loads = re.compile(
        r"<(?:script|img|iframe|source)[^>]+src=[\"']?(?:https?:)?//[^\"'> ]+"
        r"|<link[^>]+href=[\"']?(?:https?:)?//[^\"'> ]+"
    )
    seen = 0
    for page in sorted(site.rglob("*.html")):
        assert not loads.search(page.read_text(encoding="utf-8")), page.name
        seen += 1
    assert seen >= 25
    for sheet in sorted(site.rglob("*.css")):
        assert not re.search(r"url\([\"']?(?:https?:)?//", sheet.read_text(encoding="utf-8")), sheet.name


def test_reference_pages_hold_the_codes_own_tables(site: Path) -> None:
    data = _text(site / "reference" / "data.html")
    for name, spec in layer_specs().items():
        assert name in data
        for column in spec.columns:
            assert re.search(rf"\b{column.name}\b", data), (name, column.name)
    rules = _text(site / "reference" / "rules.html")
    keys = re.findall(r"^(\w+) = ", default_rules_text(), re.M)
    assert len(keys) > 60
    assert [key for key in keys if not re.search(rf"\b{key}\b", rules)] == []
    plan = _text(site / "reference" / "plan.html")
    every = [plan_schema(), *plan_schema()["$defs"].values()]
    assert [key for of in every for key in of.get("properties", {}) if key not in plan] == []
    listed = _text(site / "reference" / "sources.html")
    assert [key for key in sources() if key not in listed] == []
    commands = _text(site / "reference" / "commands.html")
    for name, options in known().items():
        assert re.search(rf"gas-netplan {name}\b", commands), name
        assert [option for option in options if option not in commands] == []


def test_pages_with_figures_carry_the_caution(site: Path) -> None:
    parts = [sorted(site.glob(name)) for name in ("start-*.html", "how-to-*.html", "method/*.html")]
    assert all(parts)
    for page in itertools.chain(*parts):
        assert "Planning figures only" in _text(page), page.name


def test_the_library_page_shows_signatures_and_units(site: Path) -> None:
    text = _text(site / "library.html")
    for words in ("plan_work", "bypass_for_weather", "explain_figure", "mbar gauge", "NoPlanError"):
        assert words in text


def test_every_command_and_option_that_a_page_names_is_there() -> None:
    seen = 0
    for page in pages():
        for words in named_commands(page.read_text(encoding="utf-8")):
            seen += 1
            name = words[1]
            if name.startswith("--"):
                assert name in OTHERS, (page.name, words)
                continue
            assert name in known(), (page.name, words)
            options = {word.partition("=")[0] for word in words[2:] if word.startswith("--")}
            assert options <= known()[name] | OTHERS, (page.name, words)
    assert seen > 30


def test_every_option_written_as_code_is_one_of_some_command() -> None:
    every, seen = set().union(*known().values()) | OTHERS, 0
    for page in pages():
        if page.name == "DEVELOPERS.md":
            continue
        named = named_options(page.read_text(encoding="utf-8"))
        assert named <= every, page.name
        seen += len(named)
    assert seen > 50


def test_every_source_key_that_a_page_names_exists() -> None:
    seen = set()
    for page in sorted((DOCS / "method").glob("*.md")):
        for group in re.findall(
            r"\(((?:`\w+`(?:, )?)+)(?:, from memory)?\)", page.read_text(encoding="utf-8")
        ):
            seen |= set(re.findall(r"`(\w+)`", group))
    assert len(seen) > 10
    rules = set(re.findall(r"^(\w+) = ", default_rules_text(), re.M))
    assert {key for key in seen if key not in sources() and key not in rules} == set()


def test_every_page_is_in_the_menu() -> None:
    menu = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
    found = sorted(DOCS.rglob("*.md"))
    assert len(found) > 30
    for page in found:
        name = page.relative_to(DOCS).as_posix()
        assert name in menu or name.startswith(("how-to-", "benchmarks/", "_build/")), name


def test_the_record_of_checks_knows_every_file_that_compares() -> None:
    """The figures themselves are run again by ``python -m tests.compared --check``."""
    rows = read_snapshot()
    assert len(rows) > 80
    assert {row["how"] for row in rows} <= set(KNOWN)
    for row in rows:
        assert float(row["difference"]) <= float(row["tolerance"]) + 1e-15, row["quantity"]
    on_record = {(row["file"], row["quantity"]) for row in rows}
    asked = set()
    for path in sorted((ROOT / "tests" / "outside").glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "compared":
                first = node.args[0]
                assert isinstance(first, ast.Constant), f"{path.name}: name the quantity in words"
                asked.add((path.name, first.value))
    assert asked == on_record


def test_a_comparison_that_fails_is_told_and_one_that_holds_is_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.compared import RECORD, compared, differences

    with pytest.raises(AssertionError, match=r"1 apart, 0\.5 allowed"):
        compared("x", 1.0, 2.0, source="s", how="arithmetic", abs=0.5)
    with pytest.raises(AssertionError):
        compared("x", float("nan"), 2.0, source="s", how="arithmetic", abs=0.5)
    monkeypatch.setenv(RECORD, str(tmp_path / "rows"))
    compared("x", [1.0, 2.4], [1.0, 2.0], source="s", how="arithmetic", abs=0.5)
    assert '"x", "", 2.4, 2.0' in (tmp_path / "rows").read_text()
    kept = read_snapshot()
    moved = [{**kept[0], "ours": str(float(kept[0]["ours"]) + float(kept[0]["tolerance"]) + 1.0)}, *kept[1:]]
    assert differences(kept, kept) == []
    assert len(differences(kept, moved)) == 1
    assert len(differences(kept, kept[1:])) == 1


@pytest.mark.browser
def test_search_finds_pages_of_a_site_opened_as_files(site: Path) -> None:
    with chromium() as browser, opened(browser, site / "index.html", "input[name=query]") as visit:
        visit.page.focus("input[name=query]")
        visit.page.locator("input[name=query]").press_sequentially("squeeze-off")
        visit.page.wait_for_selector(".md-search-result__item a", timeout=20_000)
        found = visit.page.eval_on_selector_all(
            ".md-search-result__item a", "links => links.map(a => a.href)"
        )
        assert any("method/" in link for link in found), found
        assert visit.complaints == []
        assert visit.asked
        assert all(address.startswith("file:") for address in visit.asked), visit.asked


SHAPES = ("index", "install", "how-to-own-data")
"""Pages of every shape; all of them with ``NETPLAN_EVERY=1``."""


@pytest.mark.browser
def test_pages_shut_nobody_out(site: Path) -> None:
    every = [page for page in sorted(site.rglob("*.html")) if page.name != "404.html"]
    chosen = every if os.environ.get("NETPLAN_EVERY") else [site / f"{name}.html" for name in SHAPES]
    assert len(chosen) >= len(SHAPES)
    with chromium() as browser:
        for path in chosen:
            with opened(browser, path, ".md-content") as visit:
                assert barriers(visit.page) == [], path.name
