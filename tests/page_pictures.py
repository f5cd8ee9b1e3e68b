"""Pictures of the planning page for its documentation, made in a real browser on the sample.

    python -m tests.page_pictures [FOLDER]

Writes ``page-planner.png``, ``page-notices.png``, ``page-engineer.png``, ``page-emergency.png`` and
``page-telephone.png`` to the folder, docs/ without one, and says how large each is.
"""

from __future__ import annotations

import os
import sys
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from PIL import Image

from netplan.cli.sample import sample_network
from tests.support.browser import chromium
from tests.support.served_page import WAIT_MS, serving

DOCS: Final = Path(__file__).resolve().parent.parent / "docs"
COLOURS: Final = 256
SETTLE_MS: Final = 600
"""So long the map is given to draw what came last [ms]."""
WORK: Final = (("main", "M0131"), ("from", "13"), ("to", "17"))


def _picture(page: Any, folder: Path, name: str) -> str:
    page.mouse.move(2, 2)
    page.wait_for_timeout(SETTLE_MS)
    picture = (
        Image.open(BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    )
    file = folder / f"page-{name}.png"
    picture.save(file, optimize=True)
    return f"{file}: {file.stat().st_size // 1000} kB"


def _worked_out(page: Any) -> None:
    page.wait_for_selector("#state:has-text('all of it worked out')", timeout=WAIT_MS)


def _plan(page: Any, folder: Path) -> list[str]:
    """Type a main and its chainages, pin the cheapest option and look at another."""
    page.click("#add-work")
    page.wait_for_selector("#work-rows input", timeout=WAIT_MS)
    for field, value in WORK:
        page.fill(f'#work-rows input[aria-label="{field} of length 1"]', value)
        page.dispatch_event(f'#work-rows input[aria-label="{field} of length 1"]', "change")
    _worked_out(page)
    page.click("#pin")
    page.wait_for_selector("#pinned li", timeout=WAIT_MS)
    page.click('#options [role="tab"] >> nth=1')
    page.click("#show-answer")
    made = [_picture(page, folder, "planner")]
    page.evaluate("document.getElementById('off-heading').scrollIntoView()")
    made.append(_picture(page, folder, "notices"))
    page.evaluate("document.getElementById('figures-part').scrollTop = 1000")
    page.evaluate("document.getElementById('stops-heading').scrollIntoView()")
    made.append(_picture(page, folder, "engineer"))
    page.evaluate("document.getElementById('figures-part').scrollTop = 0")
    return made


def _emergency(page: Any, folder: Path) -> list[str]:
    """Say that a main was hit, and wait for its pressures."""
    page.click("#emergency-open")
    page.fill("#hit-main", "M0132")
    page.fill("#hit-at", "40")
    page.click("#hit-ask")
    page.wait_for_selector("#rings table", timeout=WAIT_MS)
    page.wait_for_selector("#not-solved", state="hidden", timeout=WAIT_MS)
    page.evaluate("document.getElementById('hit').scrollIntoView()")
    made = [_picture(page, folder, "emergency")]
    page.click("#emergency-close")
    return made


def main(folder: Path) -> None:
    """Make all pictures."""
    network = os.path.relpath(sample_network())
    with (
        TemporaryDirectory() as scratch,
        serving(network, Path(scratch)) as served,
        chromium() as browser,
    ):
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        page.goto(served.url, timeout=WAIT_MS)
        page.wait_for_selector('body[data-ready="yes"]', timeout=WAIT_MS)
        made = _plan(page, folder) + _emergency(page, folder)
        page.set_viewport_size({"width": 390, "height": 844})
        page.click("#show-answer")
        made.append(_picture(page, folder, "telephone"))
    print("\n".join(made))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS)
