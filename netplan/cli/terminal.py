"""The terminal: what people read on it, and what is being done while it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, Final

from rich.console import Console, ConsoleOptions
from rich.segment import Segment

from netplan.cli.exit_codes import visible

__all__ = ["PlainConsole", "console", "progress"]

_BAR_WIDTH: Final = 8
"""Width of the bar: words and bound of a candidate stand beside it in 80 columns (own) [characters]."""


class PlainConsole(Console):
    """A console on which text from the data stays text: nothing in it moves, colours or turns the screen."""

    def render(self, renderable: Any, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield the segments of something printed, with control characters shown by their number."""
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
            else:
                yield Segment(visible(segment.text), segment.style)


def console() -> Console:
    """Return a console for what people read on screen."""
    return PlainConsole(highlight=False)


@contextmanager
def progress(terminal: Console) -> Iterator[Callable[[str], None]]:
    """Show what is being done, for how long, and how far a search is; the bar is gone when it is done.

    Nothing is shown where the output is no terminal.
    """
    if not terminal.is_terminal:
        yield lambda _: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from netplan.core.search_progress import SearchProgress

    bar = Progress(
        TimeElapsedColumn(),
        BarColumn(bar_width=_BAR_WIDTH),
        TextColumn("{task.description}", markup=False),
        console=terminal,
        transient=True,
    )
    task = bar.add_task("starting", total=None)

    def tell(words: str) -> None:
        share = words.share if isinstance(words, SearchProgress) else None
        total = None if share is None else 1.0
        bar.update(task, description=visible(words), total=total, completed=share or 0.0)

    with bar:
        yield tell
