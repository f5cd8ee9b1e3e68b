"""What the site is built from beside its pages: reference from the code's own tables, menus, cautions."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from mkdocs.structure.files import File, Files

sys.path.insert(0, str(Path(__file__).resolve().parent))

import generated
import measured

DOCS = Path(__file__).resolve().parent.parent
NO_CAUTION = ("reference/", "benchmarks/", "install.md", "library.md", "cautions.md", "checks.md", "planted-faults.md")
CAUTION = (
    '!!! danger "Planning figures only"\n'
    "    No permit, no approved procedure, no substitute for the operator's rules, local codes and\n"
    "    licensed, competent people. Work on gas mains can kill. See [Cautions]({link}).\n\n"
)


def on_config(config: Any) -> Any:
    """Fill the menus whose pages come and go."""
    for entry in config.nav:
        if isinstance(entry, dict):
            for title, pattern in (("How to", "how-to-*.md"), ("Measured", "benchmarks/*.md")):
                if title in entry:
                    entry[title] = [p.relative_to(DOCS).as_posix() for p in sorted(DOCS.glob(pattern))]
    return config


def on_files(files: Files, *, config: Any) -> Files:
    """Add the pages made from the code's own tables."""
    for name, make in generated.PAGES.items():
        files.append(File.generated(config, name, content=make()))
    files.append(File.generated(config, "checks.md", content=measured.checks_page()))
    return files


def on_page_markdown(markdown: str, *, page: Any, **_: Any) -> str:
    """Put the caution on every page that holds figures or advice."""
    source = page.file.src_uri
    if source.startswith(NO_CAUTION) or source in NO_CAUTION:
        return markdown
    up = "../" * source.count("/")
    head, _, rest = markdown.lstrip().partition("\n")
    return f"{head}\n\n{CAUTION.format(link=up + 'cautions.md')}{rest}"
