"""The files of a recheck in the folder of its plan: a page and its JSON, new ones each time."""

from __future__ import annotations

import json
from itertools import count
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.outputs.atomic_writes import write_file, write_numbered_file
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.model import Plan
from netplan.planfile.recheck_answer import RecheckAnswer

__all__ = ["RECHECK_STEM", "recheck_to_json", "write_recheck"]

RECHECK_STEM: Final = "recheck_"
"""How the names of its files begin; a number follows."""


def recheck_to_json(answer: RecheckAnswer) -> str:
    """Return the file of a recheck as text: keys in a fixed order, one trailing newline."""
    data = answer.model_dump(mode="json", by_alias=True)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False, sort_keys=False) + "\n"


def write_recheck(
    folder: Path, answer: RecheckAnswer, plan: Plan, *, units: Figures = METRIC, papers: bool = True
) -> tuple[Path, ...]:
    """Write a recheck into the folder of its plan under the next free number; nothing there is changed.

    Parameters
    ----------
    folder : Path
    answer : RecheckAnswer
    plan : Plan
    units : Figures
        How figures are written on the page.
    papers : bool
        Whether the page is set as PDF.

    Returns
    -------
    tuple of Path
        The page, where one was set, then the JSON file.

    Raises
    ------
    BadInputError
        When they cannot be written.
    """
    number = next(n for n in count(1) if not (folder / f"{RECHECK_STEM}{n}.json").exists())
    page = folder / f"{RECHECK_STEM}{number}.pdf"
    if papers and (page.exists() or page.is_symlink()):
        raise BadInputError(f"{page}: is there without its JSON file; move it away and check again")
    written = write_numbered_file(folder, RECHECK_STEM, ".json", recheck_to_json(answer))
    if not papers:
        return (written,)
    from netplan.outputs.documents.recheck_page import recheck_pdf

    page = written.with_suffix(".pdf")
    pdf = recheck_pdf(answer, plan, written.name, units=units)
    write_file(page, lambda path: path.write_bytes(pdf))
    return page, written
