"""The notebooks: stored without outputs, run from a clean kernel, outputs checked (own)."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MOST_BYTES = 400_000

SAID = {
    "planner": (
        "lowest burden on the recorded data",
        "meters_off",
        "S1: valve, M0142",
        "the order costs",
        "map.html",
    ),
    "notice_team": ("isolated", "stranded", "on_by", "care_home", "letters.pdf there"),
    "bypass_engineer": ("velocity:B1", "Result", "holds", "bore mm"),
    "open_town": ("1053 mains, 1506 customers", "meters_off", "Gas lost: line content and purge"),
}
PICTURES = {"planner": 1, "notice_team": 1, "bypass_engineer": 2, "open_town": 1}


def _read(path: Path) -> Any:
    return nbformat.reads(path.read_text(encoding="utf-8"), as_version=4)  # type: ignore[no-untyped-call]


def test_every_notebook_is_known() -> None:
    assert {path.stem for path in NOTEBOOKS} == SAID.keys() == PICTURES.keys()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_are_stored_without_outputs(path: Path) -> None:
    book = _read(path)
    for cell in book.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
    assert "Planning figures only" in book.cells[0].source
    assert len([cell for cell in book.cells if cell.cell_type == "code"]) <= 10


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of the kernel's own libraries
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_run_from_a_clean_kernel(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from nbclient import NotebookClient

    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(ROOT), os.environ.get("PYTHONPATH", ""))))
    monkeypatch.setenv("MPLBACKEND", "module://matplotlib_inline.backend_inline")
    book = _read(path)
    NotebookClient(
        book, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
    ).execute()
    text, pictures = "", 0
    for output in _outputs(book):
        assert output.output_type != "error"
        data = output.get("data", {})
        pictures += "image/png" in data
        text += output.get("text", "") + "".join(
            str(data.get(kind, "")) for kind in ("text/plain", "text/html")
        )
    plain = re.sub(r"\s+", " ", text)
    for words in SAID[path.stem]:
        assert words in plain, words
    assert pictures == PICTURES[path.stem]
    assert len(json.dumps(book)) < MOST_BYTES


def _outputs(book: Any) -> list[Any]:
    return [output for cell in book.cells if cell.cell_type == "code" for output in cell.outputs]
