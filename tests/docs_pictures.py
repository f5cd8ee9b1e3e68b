"""Pictures of a plan folder for the first page of the documentation, made from the sample's plan.

    python -m tests.docs_pictures [FOLDER]

Writes ``plan-map.png``, ``plan-telephone.png`` (the page of the work's day) and ``plan-pack.png`` (pages of the work
pack side by side; needs Debian's ``poppler-utils``) to the folder, docs/ without one.
"""

from __future__ import annotations

import subprocess
import sys
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from PIL import Image
from pypdf import PdfReader

from netplan.cli.sample import sample_network
from tests.support.browser import chromium
from tests.support.command_line import run_command

DOCS: Final = Path(__file__).resolve().parent.parent / "docs"
COLOURS: Final = 256
SETTLE_MS: Final = 1500
"""So long a map is given to draw [ms]."""
PACK_PAGES: Final = ("WORK PACK", "Step list", "Plan map")
"""What the pages shown begin with."""
PACK_DPI: Final = 64
MORNING: Final = "2027-03-09T07:05"
WORK: Final = (
    *("--main", "M0142", "--from", "158", "--to", "162"),
    *("--start", "2027-03-09T07:00", "--hours", "9", "--air-temp", "4"),
)


def _saved(picture: Image.Image, path: Path) -> str:
    picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    return f"{path}: {path.stat().st_size // 1000} kB"


def _screenshot(browser: Any, page: Path, ready: str, width: int, height: int) -> Image.Image:
    """Return a page as it looks on the morning of the work."""
    visit = browser.new_context(viewport={"width": width, "height": height}, offline=True).new_page()
    visit.clock.set_fixed_time(MORNING)
    visit.goto(page.as_uri())
    visit.wait_for_selector(ready)
    visit.wait_for_timeout(SETTLE_MS)
    return Image.open(BytesIO(visit.screenshot()))


def _pack(pdf: Path, scratch: Path) -> Image.Image:
    """Return some pages of the work pack side by side."""
    texts = [page.extract_text() for page in PdfReader(pdf).pages]
    numbers = [
        next(k for k, text in enumerate(texts, 1) if text.lstrip().startswith(heading))
        for heading in PACK_PAGES
    ]
    pages = []
    for number in numbers:
        stem = scratch / f"page-{number}"
        command = ["pdftoppm", "-png", "-singlefile", "-r", str(PACK_DPI)]
        subprocess.run([*command, "-f", str(number), str(pdf), str(stem)], check=True)  # noqa: S603
        pages.append(Image.open(stem.with_suffix(".png")).convert("RGB"))
    gap = 12
    width = sum(page.width for page in pages) + gap * (len(pages) + 1)
    sheet = Image.new("RGB", (width, max(page.height for page in pages) + 2 * gap), "#b8b8b8")
    left = gap
    for page in pages:
        sheet.paste(page, (left, gap))
        left += page.width + gap
    return sheet


def main(folder: Path) -> None:
    """Make all pictures."""
    with TemporaryDirectory() as scratch, chromium() as browser:
        plan = Path(scratch) / "plan"
        assert run_command("plan", sample_network(), *WORK, "--out", plan) == 0
        made = [
            _saved(_screenshot(browser, plan / "map.html", "#stop-list", 1280, 800), folder / "plan-map.png"),
            _saved(
                _screenshot(browser, plan / "work_day.html", "body", 390, 844), folder / "plan-telephone.png"
            ),
            _saved(_pack(plan / "work_pack.pdf", Path(scratch)), folder / "plan-pack.png"),
        ]
    print("\n".join(made))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS)
