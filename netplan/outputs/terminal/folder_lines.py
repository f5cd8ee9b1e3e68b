"""Where a plan folder is and what each of its files is for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

__all__ = ["folder_lines"]

_FILES: Final = {
    "map.html": "map of all options: open it in a browser",
    "work_pack.pdf": "for the crew: stops, steps, readings, bypass sheets",
    "work_day.html": "for the day of the work, on a phone or tablet",
    "tally_sheet.pdf": "for the doors: meters shut and relit",
    "notices.xlsx": "who is to be told, and when: for the notice team",
    "notices.csv": "the same list for other programs",
    "letters.pdf": "letters to those who lose gas",
    "call_sheet_restricted.pdf": "calls to priority customers: keep it restricted",
    "plan.gpkg": "layers for a desktop GIS",
    "plan.json": "the whole plan: what every other command reads",
    "keep-out.geojson": "where no stop was allowed",
}


def folder_lines(folder: Path) -> Iterator[str]:
    """Yield where a plan folder is, and what each file in it is for.

    Parameters
    ----------
    folder : Path
    """
    yield f"Folder: {folder.resolve()}"
    there = [(name, words) for name, words in _FILES.items() if (folder / name).is_file()]
    beside = max((len(name) for name, _ in there), default=0) + 2
    yield from (f"  {name.ljust(beside)}{words}" for name, words in there)
