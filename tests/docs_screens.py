"""Terminal screens of the documentation, written anew from what the commands print.

``python -m tests.docs_screens``: follows the pages on the sample town in an empty folder and puts what their
commands print at 80 columns into the blocks marked ``screen``. `tests/own/test_docs_walkthrough.py` fails where
a page shows something else.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from tests.support.docs_pages import DOCS, with_screens
from tests.support.docs_reader import SAMPLE_PAGES, Reader


def main() -> None:
    """Write the screens of all pages."""
    with TemporaryDirectory() as home:
        reader = Reader(Path(home))
        for page in SAMPLE_PAGES:
            reader.follow(page)
        for page, screens in reader.screens.items():
            text = with_screens(page, [shown for _, shown in screens])
            (DOCS / page).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
