"""How long the map takes: making the page for a network of 50,000 pieces, and opening it in a browser."""

from __future__ import annotations

import shutil
from dataclasses import fields, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from netplan.network.text_column import TextColumn
from netplan.outputs.layers import plan_layers
from netplan.outputs.map import plan_map
from netplan.planfile import PieceState, StatePipes
from tests.support.hamlet import ORIGIN
from tests.support.plans import hamlet_result

BLOCKS = 160


def _grid() -> tuple[Any, Any]:
    """Return the ends of about 50,000 mains in a grid round the hamlet, (n, 2) each [m]."""
    rng = np.random.default_rng(11)
    x, y = np.meshgrid(np.arange(BLOCKS) * 45.0, np.arange(BLOCKS) * 45.0, indexing="ij")
    places = np.stack([x, y], axis=-1) + rng.normal(0, 6, (BLOCKS, BLOCKS, 2)) + ORIGIN - 3000
    first = np.concatenate([places[:-1].reshape(-1, 2), places[:, :-1].reshape(-1, 2)])
    last = np.concatenate([places[1:].reshape(-1, 2), places[:, 1:].reshape(-1, 2)])
    return first, last


def _more(pipes: StatePipes, first: Any, last: Any) -> StatePipes:
    """Return the pieces with a live main along each of further lines, otherwise like the first live main."""
    count = len(first)
    like = np.flatnonzero(pipes.is_main & (pipes.state == PieceState.LIVE) & (pipes.length_m > 0))[0]
    changed: dict[str, Any] = {
        "pipe_id": TextColumn([*pipes.pipe_id, *(f"G{k:06}" for k in range(count))]),
        "line_start": np.concatenate(
            [pipes.line_start, pipes.line_start[-1] + 2 * np.arange(1, count + 1, dtype=np.int64)]
        ),
        "line_xy_m": np.concatenate([pipes.line_xy_m, np.stack([first, last], axis=1).reshape(-1, 2)]),
    }
    for field in fields(pipes):
        if field.name in changed:
            continue
        column = attrgetter(field.name)(pipes)
        if isinstance(column, TextColumn):
            changed[field.name] = TextColumn([*column, *[column[like]] * count])
        else:
            changed[field.name] = np.concatenate([column, np.repeat(column[like : like + 1], count)])
    return replace(pipes, **changed)


@pytest.fixture(scope="module")
def given() -> tuple[Any, Any, Any]:
    """Return plan, layers and states of the hamlet in the middle of 50,880 further mains."""
    result, grid = hamlet_result(), _grid()
    states = [replace(state, pipes=_more(state.pipes, *grid)) for state in result.states]
    return result.plan, plan_layers(result), states


def test_making_the_page(benchmark: Any, given: tuple[Any, Any, Any]) -> None:
    page = benchmark.pedantic(plan_map, args=given, rounds=1)
    assert len(page) > 2_000_000, "the mains are on it"
    assert len(page) < 7_000_000


@pytest.mark.browser
def test_opening_the_page(benchmark: Any, given: tuple[Any, Any, Any], tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("Chromium is not installed")
    path = tmp_path / "map.html"
    path.write_text(plan_map(*given), encoding="utf-8")
    with sync_api.sync_playwright() as play:
        running = play.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--headless", "--disable-gpu"]
        )
        page = running.new_page(viewport={"width": 1440, "height": 900})

        def open_it() -> None:
            page.goto(path.as_uri())
            page.wait_for_selector("#layers input")
            page.screenshot(path=tmp_path / "map.png")

        benchmark.pedantic(open_it, rounds=2)
        running.close()
