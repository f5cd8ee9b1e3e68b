"""A real browser without any network, and what an open page asked for and complained about."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

__all__ = ["Visit", "chromium", "opened"]

_ARGUMENTS = (
    *("--no-sandbox", "--headless", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


@dataclass
class Visit:
    """An open page, and what it asked for and complained about."""

    page: Any
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@contextmanager
def chromium(*more: str) -> Iterator[Any]:
    """Run Chromium, with further arguments; skip the test where there is none, but not in CI."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None or find_spec("playwright") is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium or playwright is missing, and in CI these tests must run")
        pytest.skip("Chromium or playwright is not installed")
    sync_api = import_module("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        running = play.chromium.launch(executable_path=program, args=[*_ARGUMENTS, *more])
        yield running
        running.close()


@contextmanager
def opened(browser: Any, path: Path, ready: str, *, width: int = 1440, height: int = 900) -> Iterator[Visit]:
    """Open a file offline and wait until something is on the page."""
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True)
    page = context.new_page()
    seen = Visit(page)
    page.on("request", lambda request: seen.asked.append(request.url))
    page.on("console", lambda message: seen.complaints.append(message.text))
    page.on("pageerror", lambda error: seen.complaints.append(str(error)))
    page.goto(path.as_uri())
    page.wait_for_selector(ready, state="attached")
    yield seen
    context.close()
